"""``pitchcheck explain NAME``."""

from __future__ import annotations

from typing import Annotated

import typer

from pitchcheck.cli.output import tell
from pitchcheck.errors import WrongCall


def explain(
    name: Annotated[
        str | None, typer.Argument(help="As it stands under the message; without it, all.")
    ] = None,
) -> None:
    """Say more about a message: what it means and what to do.

    Example: pitchcheck explain bad-input
    """
    sections = read_sections()
    if name is None:
        for section in sections:
            tell(section)
        return
    if name not in sections:
        raise WrongCall(f"{name!r} is no message's name. They are: {', '.join(sections)}.")
    for line in sections[name]:
        tell(line)


def read_sections() -> dict[str, list[str]]:
    """Return the paragraphs of docs/messages.md by section, as lines without their breaks; tables by row."""
    sections: dict[str, list[str]] = {}
    for part in _text().split("\n## ")[1:]:
        title, _, body = part.partition("\n")
        lines: list[str] = []
        for words in body.split("\n\n"):
            if words.startswith("|"):
                lines += map(_row, words.splitlines()[2:])  # below its head and rule
            elif words.strip():
                lines.append(" ".join(words.split()))
        sections[title.strip()] = lines
    return sections


def _row(row: str) -> str:
    """Return a row of a table as a line: its first cell, then the rest."""
    return "  " + ": ".join(cell.strip() for cell in row.strip("| ").split(" | "))


def _text() -> str:
    """Return the document: of the installed package, or in a working copy the one it is made from."""
    from importlib.resources import files

    package = files("pitchcheck")
    installed = package.joinpath("messages.md")
    if installed.is_file():
        return installed.read_text(encoding="utf-8")
    from pathlib import Path

    return (Path(str(package)).parent / "docs" / "messages.md").read_text(encoding="utf-8")
