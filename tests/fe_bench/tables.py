"""Remakes the tables of docs/accuracy.md and docs/accuracy-job.md that come from the finite-element bench.

    python -m tests.fe_bench.tables plain stress job      all of them; a quarter of an hour on two cores
    python -m tests.fe_bench.tables short                 the short form, a minute
    python -m tests.fe_bench.tables short --check         exit 1 if the document says something else

Each table stands between marks that carry its name. Seeds from 1000 on, which nobody tunes on.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from . import job, single
from .following import ADAPTIVE
from .kinds import FIVE, KINDS
from .stress import SETS

DOCS = Path(__file__).parents[2] / "docs"
START = 1000
PLAIN = {"full": 6, "thorough": 3, ADAPTIVE: 6, "fretted": 3}  # instruments of each kind
STRESS = 2
JOBS = 2
SHORT = 1
ALL_KINDS = (*FIVE, "mandolin")


def plain(workers: int) -> list[str]:
    """Level instruments, by course and kind."""
    rows = list(single.HEAD)
    for takes, count in PLAIN.items():
        work = single.cases("plain", kinds=ALL_KINDS, count=count, start=START, course=takes)
        found = single.run_all(work, workers)
        rows += [single.row(f"{takes}, {k}", [s for s in found if s.case.kind == k]) for k in ALL_KINDS]
    for hand in ("clumsy", "home"):
        for takes in ("full", ADAPTIVE):
            work = single.cases("plain", kinds=FIVE, count=STRESS, start=START, course=takes, hand=hand)
            rows.append(single.row(f"{takes}, {hand} hand", single.run_all(work, workers)))
    return rows


def stress(workers: int) -> list[str]:
    """What nobody modelled: all strings, then the outer ones without leaves and with."""

    def outer(found: list[single.Score]) -> list[single.Score]:
        last = {kind: len(KINDS[kind].wires) for kind in FIVE}
        return [s for s in found if s.number in (1, last[s.case.kind])]

    rows = list(single.HEAD)
    for name in SETS:
        scores = [
            single.run_all(
                single.cases(name, kinds=FIVE, count=STRESS, start=START, course=takes, leaves=leaves),
                workers,
            )
            for takes, leaves in (("full", False), ("full", True), (ADAPTIVE, True))
        ]
        rows.append(single.row(f"{name}; full", scores[0]))
        rows.append(single.row(f"{name}; adaptive", scores[2]))
        rows.append(single.row(f"{name}; full, outer strings", outer(scores[0])))
        rows.append(single.row(f"{name}; full and leaves, outer strings", outer(scores[1])))
    return rows


def jobs(workers: int) -> list[str]:
    """Whole jobs by course, hand, leaf reading and aim."""
    rows = list(job.HEAD)
    words = {"": [], "string": ["a leaf reading a pass"], "line": ["the same, no arch over the nut"]}
    for takes, hand, gauge, aim in (
        ("full", "careful", "", ""),
        ("short", "careful", "", ""),
        (ADAPTIVE, "careful", "", ""),
        (ADAPTIVE, "careful", "", "new nut"),
        (ADAPTIVE, "careful", "string", ""),
        (ADAPTIVE, "careful", "line", ""),
        ("full", "clumsy", "", ""),
        (ADAPTIVE, "clumsy", "", ""),
        (ADAPTIVE, "clumsy", "string", ""),
        (ADAPTIVE, "clumsy", "line", ""),
    ):
        work = [job.JobCase(kind, START + i, takes, hand, gauge, aim) for i in range(JOBS) for kind in FIVE]
        label = ", ".join([takes, f"{hand} hand", *([aim] if aim else []), *words[gauge]])
        rows.append(job.row(label, job.run_all(work, workers)))
    return rows


def short(workers: int) -> list[str]:
    """A few instruments of every sort: what CI makes again."""
    rows = list(single.HEAD)
    for name in ("plain", "uneven board", "press not down"):
        work = single.cases(name, kinds=FIVE, count=SHORT, start=START, course="full")
        rows.append(single.row(f"{name}, full", single.run_all(work, workers)))
    return rows


def short_job(workers: int) -> list[str]:
    """A few jobs: what CI makes again."""
    work = [job.JobCase(kind, START + i) for i in range(SHORT) for kind in FIVE]
    return [*job.HEAD, job.row(f"{ADAPTIVE}, careful hand", job.run_all(work, workers))]


TABLES: dict[str, tuple[str, Callable[[int], list[str]]]] = {
    "plain": ("accuracy.md", plain),
    "stress": ("accuracy.md", stress),
    "job": ("accuracy-job.md", jobs),
    "short": ("accuracy.md", short),
    "short-job": ("accuracy-job.md", short_job),
}


def cut(name: str, text: str) -> tuple[str, str, str]:
    """A document before, between and after the marks of a table."""
    start, end = f"<!-- fe_bench {name} -->\n", f"<!-- /fe_bench {name} -->"
    before, rest = text.split(start)
    old, after = rest.split(end)
    return before + start, old, end + after


def agree(old: str, new: str) -> bool:
    """Whether two tables say the same but for one unit in the last place of a number."""
    number = re.compile(r"-?\d+(?:\.\d+)?")
    if number.sub("#", old.replace("+", "")) != number.sub("#", new.replace("+", "")):
        return False
    for a, b in zip(number.findall(old), number.findall(new), strict=True):
        places = max(len(a.partition(".")[2]), len(b.partition(".")[2]))
        if abs(float(a) - float(b)) > 1.01 * 10**-places:
            return False
    return True


def main(arguments: Sequence[str] | None = None) -> int:
    """Write tables, or check them."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("table", nargs="+", choices=list(TABLES))
    parser.add_argument("--check", action="store_true")
    parser.add_argument("--workers", type=int, default=2)
    chosen = parser.parse_args(arguments)
    status = 0
    for name in chosen.table:
        file, make = TABLES[name]
        path = DOCS / file
        new = "\n".join(make(chosen.workers)) + "\n"
        text = path.read_text(encoding="utf-8")
        before, old, after = cut(name, text)
        if not chosen.check:
            path.write_text(before + new + after, encoding="utf-8")
        elif not agree(old, new):
            print(f"docs/{file}, {name}: the document says\n{old}\nthe code says\n{new}")
            status = 1
    return status


if __name__ == "__main__":
    sys.exit(main())
