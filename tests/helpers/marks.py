"""Tables of the documents that a command writes between marks: ``<!-- name -->`` and ``<!-- /name -->``."""

from __future__ import annotations

import re
from pathlib import Path

DOCS = Path(__file__).parents[2] / "docs"


def cut(file: str, name: str) -> tuple[str, str, str]:
    """What stands before, between and after the marks."""
    start, end = f"<!-- {name} -->\n", f"<!-- /{name} -->"
    before, rest = (DOCS / file).read_text(encoding="utf-8").split(start)
    between, after = rest.split(end)
    return before + start, between, end + after


def write(file: str, name: str, text: str) -> None:
    """Put text between the marks."""
    before, _, after = cut(file, name)
    (DOCS / file).write_text(before + text + after, encoding="utf-8")


def rows(file: str, name: str) -> dict[str, list[str]]:
    """Cells of a table between marks by the first of each row; the head is left out."""
    lines = [line for line in cut(file, name)[1].splitlines() if line.startswith("|")][2:]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    return {one[0]: one[1:] for one in cells}


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
