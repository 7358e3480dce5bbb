"""Sheets drawn on a terminal: a table, then what belongs to it; no colour carries a meaning."""

from __future__ import annotations

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from pitchcheck.report.records import Sheet

INDENT = 2  # columns before the lines of a section


def print_sheet(sheet: Sheet, console: Console) -> None:
    """Print a sheet; the console's width decides where lines are broken."""
    for heading in (sheet.title, sheet.headline):
        if heading:
            console.print(Text(heading, style="bold"))
    for sentence in sheet.summary:
        console.print(Text(sentence))
    table = Table(show_lines=True, show_edge=False, pad_edge=False, header_style="")
    for head in sheet.heads:
        table.add_column(Text(head), overflow="fold", justify="left")
    for row in sheet.rows:
        table.add_row(*(Text(cell) for cell in row))
    console.print(table)
    for section in sheet.sections:
        console.print()
        console.print(Text(section.title, style="bold"))
        for line in section.lines:
            deeper = len(line) - len(line.lstrip(" "))
            console.print(Padding(Text(line.strip()), (0, 0, 0, INDENT + deeper)))
