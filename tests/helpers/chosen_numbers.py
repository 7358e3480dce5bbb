"""Register of the numbers that the core is built on: measured, published or chosen, each with its words.

    PYTHONPATH=tests python -m helpers.chosen_numbers            print the table of docs/numbers.md
    PYTHONPATH=tests python -m helpers.chosen_numbers --write    put it there

Whoever changes such a number changes the register with it, so that no limit moves unseen.
"""

from __future__ import annotations

import ast
import io
import sys
import tokenize
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from helpers import marks

PACKAGE = Path(__file__).parents[2] / "pitchcheck"
PLACES = (
    "pitch", "fit", "physics", "plan", "diagnosis", "compare", "jobs", "hearing", "guide",
    "judgement.py", "survey.py", "tuning.py", "units.py", "course.py",
)  # fmt: skip


@dataclass(frozen=True)
class Number:
    """One of them: where it stands, its value as written, and its words."""

    file: str
    name: str
    value: str
    words: str

    @property
    def row(self) -> str:
        return f"| `{self.name}` | `{self.value}` | {self.words} |"


def numbers() -> list[Number]:
    """All of them, file by file in order of their lines."""
    found: list[Number] = []
    for place in PLACES:
        path = PACKAGE / place
        for file in sorted(path.rglob("*.py")) if path.is_dir() else [path]:
            found += _of_file(file)
    return found


def _of_file(file: Path) -> Iterator[Number]:
    source = file.read_text(encoding="utf-8")
    tree = ast.parse(source)
    comments = {
        token.start[0]: token.string.lstrip("# ").strip()
        for token in tokenize.generate_tokens(io.StringIO(source).readline)
        if token.type == tokenize.COMMENT
    }
    name = file.relative_to(PACKAGE).as_posix()
    for node in tree.body:
        if isinstance(node, ast.ClassDef):
            for field in node.body:
                yield from _of_statement(field, comments, name, prefix=f"{node.name}.")
        else:
            yield from _of_statement(node, comments, name)


def _of_statement(
    node: ast.stmt, comments: dict[int, str], file: str, *, prefix: str = ""
) -> Iterator[Number]:
    if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
        return
    target = node.targets[0] if isinstance(node, ast.Assign) else node.target
    if not any(_is_number(n) for n in ast.walk(node.value)) or "|" in ast.unparse(node.value):
        return
    lines = range(node.lineno, (node.end_lineno or node.lineno) + 1)
    words = " ".join(comments[line] for line in lines if line in comments)
    yield Number(file, prefix + ast.unparse(target), ast.unparse(node.value), words.replace("|", "/"))


def _is_number(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and type(node.value) in (int, float)


def table() -> str:
    """Text between the marks: a heading and a table a file."""
    parts, file = [], ""
    for number in numbers():
        if number.file != file:
            file = number.file
            parts += ["", f"### `{file}`", "", "| name | value | what it is |", "| --- | --- | --- |"]
        parts.append(number.row)
    return "\n".join(parts) + "\n\n"


if __name__ == "__main__":
    if "--write" in sys.argv[1:]:
        marks.write("numbers.md", "numbers", table())
    else:
        print(table())
