"""Results of a mutation run as text, and the faults that change nothing anybody could see."""

from __future__ import annotations

import functools
import json
import sys
import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers import marks

from .operators import Mutant

ROOT = Path(__file__).parents[2]
EQUIVALENT = Path(__file__).with_name("equivalent.toml")


def equivalents() -> list[dict[str, str]]:
    """Faults with ``file``, ``was``, ``why``; ``becomes`` unless whatever is made of it is meant.

    ``line`` is a part of the line where the same text stands elsewhere, too.
    """
    entries: list[dict[str, str]] = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8"))["equivalent"]
    return entries


def reason(mutant: Mutant, known: Sequence[Mapping[str, str]]) -> str | None:
    """Why it is equivalent, if it is."""
    for entry in known:
        same = mutant.path == f"pitchcheck/{entry['file']}" and mutant.was == entry["was"]
        same = same and entry.get("becomes", mutant.becomes) == mutant.becomes
        if same and entry.get("line", "") in _lines(mutant.path)[mutant.line - 1]:
            return entry["why"]
    return None


@functools.cache
def _lines(path: str) -> list[str]:
    return (ROOT / path).read_text(encoding="utf-8").splitlines()


def results(file: Path) -> dict[str, dict[str, Any]]:
    """The last result of every fault, by its name."""
    if not file.is_file():
        return {}
    rows = (json.loads(line) for line in file.read_text(encoding="utf-8").splitlines())
    return {row["name"]: row for row in rows}


def table(chosen: Sequence[Mutant], found: Mapping[str, Mapping[str, Any]]) -> str:
    """Rates by package, then every fault that lived, then those that were caught and by what."""
    tried = [m for m in chosen if m.name in found]
    caught = [m for m in tried if found[m.name]["caught"]]
    packages = Counter(m.path.split("/")[1].removesuffix(".py") for m in tried)
    good = Counter(m.path.split("/")[1].removesuffix(".py") for m in caught)
    lines = ["| package | faults | caught |", "| --- | --- | --- |"]
    lines += [f"| `{name}` | {count} | {good[name]} |" for name, count in sorted(packages.items())]
    lines += [f"| all | {len(tried)} | {len(caught)} ({len(caught) / max(1, len(tried)):.0%}) |", ""]
    lived = [m for m in tried if m not in caught]
    if lived:
        lines += ["Lived:", "", *(f"- `{_short(m)}`" for m in lived), ""]
    lines += ["Caught, and the first test that failed:", ""]
    lines += [f"- `{_short(m)}`: {_test(found[m.name]['by'])}" for m in caught]
    return "\n".join(lines) + "\n"


def _short(mutant: Mutant) -> str:
    was, becomes = (text if len(text) < 60 else text[:57] + "..." for text in (mutant.was, mutant.becomes))
    return f"{mutant.path.removeprefix('pitchcheck/')}:{mutant.line} {mutant.kind}: {was} -> {becomes}"


def _test(by: str) -> str:
    return by.splitlines()[0].removeprefix("tests/").split("[")[0].replace("::", " `", 1) + "`" * ("::" in by)


def write(text: str) -> None:
    """Put it between the marks of docs/mutations.md."""
    marks.write("mutations.md", "mutations", text)
