"""The README's commands are the ones CI runs, links lead somewhere, and equations named in the code exist."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from helpers import marks
from helpers.imports import PACKAGE, ROOT

HOSTED = (ROOT / ".github").glob("*.md")  # where code hosts look
DOCUMENTS = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *HOSTED, *(ROOT / "docs").rglob("*.md")])
LINK = re.compile(r"\[[^\]]+\]\(([^)#\s]+)(?:#[^)]*)?\)")
COMMAND = re.compile(r"^python3 -m venv .*$", re.MULTILINE)
EQUATION = re.compile(r"\([Ee]quations? (\d+)|[Ee]quations? (\d+)(?: to (\d+))?")
NUMBERED = re.compile(r"\((\d+)\)$", re.MULTILINE)
QUOTED_HEADING = re.compile(r'docs/method\.md, "([^"]+)"')


def text(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def test_the_readme_gives_exactly_two_commands_and_ci_runs_both() -> None:
    commands = COMMAND.findall(text(ROOT / "README.md"))
    assert len(commands) == 2
    assert "pitchcheck demo" in commands[0]
    assert commands[1].endswith("pytest")
    script = text(ROOT / ".ci" / "run").splitlines()
    assert [c for c in commands if c not in script] == []


def test_the_tests_run_before_anything_else_is_installed_for_python() -> None:
    commands = COMMAND.findall(text(ROOT / ".ci" / "run"))
    assert commands[0].endswith("pytest")


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(document: Path) -> None:
    own = [link for link in LINK.findall(text(document)) if "://" not in link]
    assert [link for link in own if not (document.parent / link).exists()] == []


def test_every_document_is_in_the_index() -> None:
    index = text(ROOT / "docs" / "index.md")
    names = {p.name for p in (ROOT / "docs").glob("*.md")} - {"index.md"}
    assert {name for name in names if name not in index} == set()


def test_equations_and_sections_named_in_the_code_exist() -> None:
    numbers = {int(n) for n in NUMBERED.findall(text(ROOT / "docs" / "model.md"))}
    headings = re.findall(r"^## (.+)$", text(ROOT / "docs" / "method.md"), re.MULTILINE)
    assert numbers == set(range(1, max(numbers) + 1))
    missing = []
    for path in (ROOT / PACKAGE).rglob("*.py"):
        source = text(path)
        named = {int(n) for match in EQUATION.findall(source) for n in match if n}
        missing += [f"{path.name}: equation {n}" for n in named - numbers]
        quoted = QUOTED_HEADING.findall(source)
        missing += [f"{path.name}: {q}" for q in quoted if not any(h.startswith(q) for h in headings)]
    assert missing == []


@pytest.mark.parametrize(
    ("course", "row"), [("base", "adaptive"), ("full", "full"), ("thorough", "thorough")]
)
def test_getting_started_promises_what_was_measured(course: str, row: str) -> None:
    """Half the width of the intervals on steel guitars, to the hundredth that is shown."""
    (told,) = re.findall(rf"^\| `{course}`.*± ([\d.]+) mm", text(ROOT / "docs" / "getting-started.md"), re.M)
    measured = marks.rows("accuracy.md", "fe_bench plain")
    for kind in ("electric", "acoustic"):
        half_mm = float(measured[f"{row}, {kind}"][5]) / 2
        assert abs(float(told) - half_mm) < 0.0101, kind
