"""Messages that name a command or an option are said on the page in the words of the page."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

from helpers.imports import modules
from pitchcheck.bench.page_words import on_page

COMMANDS = "new|listen|bench|measure|again|gauge|demo|inputs|kinds|explain|job"
TERMINAL = re.compile(rf"--[a-z]|\bpitchcheck ({COMMANDS})\b|\bjob (verify|tidy|list|add|show)\b")
# Written for the terminal, for paper or into a file of settings: the page never shows them.
ELSEWHERE = {
    "report.end_screen",
    "report.take_sheet",
    "session.new_folder",
    "recorder.course_file",
    "workflow.many",
    "simulate.folder",
    "bench.page_words",
    "capture.source_watch",  # a command of the system
}
HOLE = "“6”"  # what stands for a value in a message


def told() -> Iterator[tuple[str, str]]:
    """Every text of the package, outside the command line, that names a command or an option."""
    for module in modules():
        name = module.name.removeprefix("pitchcheck.")
        if module.stage == "cli" or name in ELSEWHERE:
            continue
        inner = {id(node.value) for node in module.nodes if isinstance(node, ast.Expr)}  # docstrings
        inner |= {
            id(part) for node in module.nodes if isinstance(node, ast.JoinedStr) for part in node.values
        }
        for node in module.nodes:
            text = "" if id(node) in inner else _text(node)
            if TERMINAL.search(text):
                yield name, text


def _text(node: ast.AST) -> str:
    if isinstance(node, ast.JoinedStr):
        return "".join(_text(part) or HOLE for part in node.values)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


def test_no_command_and_no_option_is_left_on_the_page() -> None:
    messages = set(told())
    assert len(messages) > 15
    shown = sorted((name, on_page(text)) for name, text in messages)
    assert [(name, text) for name, text in shown if TERMINAL.search(text)] == []


def test_what_names_none_stays_as_it_is() -> None:
    words = "string 7 is none of this instrument's strings (1, 2). The neck -- and pitchcheck -- is fine."
    assert on_page(words) == words
