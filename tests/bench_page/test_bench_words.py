"""Messages that name a command or an option are said on the page in the words of the page."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import pitchcheck
from pitchcheck.bench.page_words import on_page

ROOT = Path(pitchcheck.__file__).parent
COMMANDS = "new|listen|bench|measure|again|gauge|demo|inputs|kinds|explain|job"
TERMINAL = re.compile(rf"--[a-z]|\bpitchcheck ({COMMANDS})\b|\bjob (verify|tidy|list|add|show)\b")
# Written for the terminal, for paper or into a file of settings: the page never shows them.
ELSEWHERE = {
    "report/end_screen.py",
    "report/take_sheet.py",
    "session/new_folder.py",
    "recorder/course_file.py",
    "workflow/many.py",
    "simulate/folder.py",
    "bench/page_words.py",
    "capture/source_watch.py",  # a command of the system
}
HOLE = "“6”"  # what stands for a value in a message


def told() -> Iterator[tuple[str, str]]:
    """Every text of the package, outside the command line, that names a command or an option."""
    for path in sorted(ROOT.rglob("*.py")):
        name = path.relative_to(ROOT).as_posix()
        if name.startswith("cli/") or name in ELSEWHERE:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        inner = {
            id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values
        }
        for node in ast.walk(tree):
            inner |= {id(node.value)} if isinstance(node, ast.Expr) else set()  # docstrings
            if id(node) in inner:
                continue
            text = _text(node)
            if TERMINAL.search(text):
                yield name, text


def _text(node: ast.AST) -> str:
    if isinstance(node, ast.JoinedStr):
        return "".join(_text(part) or HOLE for part in node.values)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


MESSAGES = sorted(set(told()))


def test_there_are_such_messages() -> None:
    assert len(MESSAGES) > 15


@pytest.mark.parametrize(("name", "text"), MESSAGES)
def test_no_command_and_no_option_is_left_on_the_page(name: str, text: str) -> None:
    assert TERMINAL.search(on_page(text)) is None, on_page(text)


def test_what_names_none_stays_as_it_is() -> None:
    words = "string 7 is none of this instrument's strings (1, 2). The neck -- and pitchcheck -- is fine."
    assert on_page(words) == words
