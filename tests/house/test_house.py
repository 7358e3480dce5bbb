"""The house rules that a machine can check: what lies where, how long, and what no file may say."""

from __future__ import annotations

import ast
import doctest
import importlib
import re
import subprocess
from pathlib import Path

import pytest

from helpers.imports import ROOT, Module, modules

LONGEST = 500  # lines of a Python file, tests too: where one looks for a second idea
LARGEST_KIB = 1500  # of any file under git, fixtures included

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "pitchcheck",
    "tests",
    "fixtures",
    "docs",
}

# Home folders and scratch places of one machine, and package registries by address.
MACHINE_PATHS = re.compile(
    r"(?<![\w.~-])/(?:home|Users|root|work|srv|mnt)/\w|[A-Z]:\\Users\\|/tmp/\w"
    r"|files\.pythonhosted|pypi\.org/simple|registry\.npmjs"
)
MAY_NAME_PATHS = {"tests/house/test_house.py"}
SCRATCH_WORD = re.compile(r"\b(?:TODO|FIXME|XXX)\b")
TEXT = {".py", ".md", ".toml", ".html", ".css", ".js", ".csv", ".json", ".sh", ".yaml", ".j2", ""}


def tracked() -> list[Path]:
    """Files under git; where there is no git (an unpacked archive), every file that is not a dot-file."""
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, text=True
        ).stdout.split("\0")
    except (OSError, subprocess.CalledProcessError):
        return [p for p in ROOT.rglob("*") if p.is_file() and not _hidden(p.relative_to(ROOT))]
    return [ROOT / name for name in listed if name and (ROOT / name).is_file()]


def _hidden(path: Path) -> bool:
    return any(part.startswith(".") or part in {"build", "dist", "__pycache__"} for part in path.parts)


def has_examples(module: Module) -> bool:
    """Whether any docstring of the module holds an example to run."""
    kinds = (ast.Module, ast.FunctionDef, ast.ClassDef)
    return ">>> " in module.source and any(
        ">>> " in (ast.get_docstring(node) or "") for node in module.nodes if isinstance(node, kinds)
    )


def under_git() -> bool:
    """Whether git knows this folder; an unpacked archive may hold anything beside the project."""
    try:
        return subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, check=False).returncode == 0
    except OSError:
        return False


@pytest.mark.skipif(not under_git(), reason="no git here: beside the project's own files anything may lie")
def test_the_top_level_holds_only_what_it_should() -> None:
    names = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in names if not name.startswith(".")} <= TOP_LEVEL


def test_no_python_file_is_too_long() -> None:
    lengths = {
        str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines())
        for path in tracked()
        if path.suffix == ".py"
    }
    assert {name: length for name, length in lengths.items() if length > LONGEST} == {}


def test_no_file_is_too_large() -> None:
    assert [str(p.relative_to(ROOT)) for p in tracked() if p.stat().st_size > LARGEST_KIB * 1024] == []


def test_no_file_names_a_machine_or_a_scratch_mark() -> None:
    found = []
    for path in tracked():
        name = path.relative_to(ROOT).as_posix()
        if path.suffix not in TEXT or name in MAY_NAME_PATHS:
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
            if MACHINE_PATHS.search(line) or SCRATCH_WORD.search(line):
                found.append(f"{name}:{number}: {line.strip()[:80]}")
    assert found == []


@pytest.mark.parametrize(
    "line", ["see /home/ann/x", "at /tmp/run1", "C:\\Users\\ann", "https://pypi.org/simple", "(/srv/a"]
)
def test_a_machine_path_is_seen(line: str) -> None:
    assert MACHINE_PATHS.search(line)


@pytest.mark.parametrize(
    "line", ["a/tmp2", "docs/home/x.md", "https://host.example/home/x", "tmp_path / 'a'"]
)
def test_other_paths_are_not_taken_for_one(line: str) -> None:
    assert not MACHINE_PATHS.search(line)


def test_every_module_says_in_one_whole_sentence_what_it_is() -> None:
    first = {m.name: (ast.get_docstring(m.tree) or "").partition("\n")[0] for m in modules()}
    assert {name: line for name, line in first.items() if not line.endswith((".", ":", "?"))} == {}


def test_every_module_postpones_its_annotations() -> None:
    line = "from __future__ import annotations\n"
    assert [m.name for m in modules() if not m.is_package and f"\n{line}" not in f"\n{m.source}"] == []


@pytest.mark.parametrize("name", [m.name for m in modules() if has_examples(m)])
def test_examples_in_docstrings_are_true(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    assert result.attempted > 0
    assert result.failed == 0


def test_the_citation_names_this_version() -> None:
    from pitchcheck import __version__

    lines = (ROOT / "docs" / "CITATION.cff").read_text(encoding="utf-8").splitlines()
    assert f"version: {__version__}" in lines  # Citation File Format 1.2.0: "version" of the software


def test_the_helpers_show_their_use() -> None:
    assert {m.name for m in modules() if has_examples(m)} >= {"pitchcheck.units", "pitchcheck.tuning"}
