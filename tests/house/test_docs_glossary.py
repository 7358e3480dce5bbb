"""The glossary names things that exist, with their units; the examples of the library page run."""

from __future__ import annotations

import dataclasses
import doctest
import importlib
import re
from typing import Any

import pytest

import pitchcheck
from helpers.imports import ROOT

GLOSSARY = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in GLOSSARY.splitlines()
    if line.startswith("| ") and not line.startswith(("| word", "| ---"))
]
UNIT_SUFFIX = {"mm": "_mm", "N": "_n", "cent": "_cents"}  # a name that carries a unit carries this one


def _find(name: str) -> Any:
    """Return what a code name of the glossary stands for; raise where there is no such thing."""
    module, _, path = name.partition(":")
    found: Any = importlib.import_module(f"pitchcheck.{module}")
    for part in path.split(".") if path else ():
        fields = {f.name for f in dataclasses.fields(found)} if dataclasses.is_dataclass(found) else set()
        found = part if part in fields else getattr(found, part)
    return found


def test_the_glossary_is_not_empty() -> None:
    assert len(ROWS) > 35
    assert len({row[0] for row in ROWS}) == len(ROWS), "a word stands twice"


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_what_the_glossary_names_is_there(row: list[str]) -> None:
    name = row[-1].strip("`")
    assert _find(name) is not None
    assert row[-2], "a word without a definition"


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_units_of_the_glossary_are_those_of_the_names(row: list[str]) -> None:
    name = row[-1].strip("`")
    named = [suffix for suffix in UNIT_SUFFIX.values() if name.endswith(suffix)]
    unit = row[2] if len(row) == 5 else row[1]
    assert named in ([], [UNIT_SUFFIX.get(unit)])


def test_a_name_that_is_not_there_is_seen() -> None:
    with pytest.raises(AttributeError):
        _find("takes:Take.colour")


def test_the_examples_of_the_library_page_are_true(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    page = (ROOT / "docs" / "library.md").read_text(encoding="utf-8")
    code = "\n".join(re.findall(r"```python\n(.*?)```", page, re.DOTALL))
    test = doctest.DocTestParser().get_doctest(code, {}, "library", "docs/library.md", 0)
    result = doctest.DocTestRunner(verbose=False).run(test)
    assert result.attempted > 10
    assert result.failed == 0


def test_the_exported_names_are_all_there_and_documented() -> None:
    assert sorted(pitchcheck.__all__) == list(pitchcheck.__all__)
    for name in pitchcheck.__all__:
        assert getattr(pitchcheck, name).__doc__
    with pytest.raises(AttributeError):
        pitchcheck.nothing_of_the_kind  # noqa: B018
