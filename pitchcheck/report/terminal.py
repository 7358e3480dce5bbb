"""The bench sheet drawn on a terminal: a table, then what to do; no colour carries a meaning."""

from __future__ import annotations

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from pitchcheck.report.bench_sheet import BenchView

INDENT = 2  # columns before the lines of a section


def print_sheet(view: BenchView, console: Console) -> None:
    """Print a sheet.

    Parameters
    ----------
    view : BenchView
    console : rich.console.Console
        Where it goes; its width decides where lines are broken.
    """
    console.print(Text(view.title, style="bold"))
    console.print(Text(view.headline, style="bold"))
    for sentence in view.summary:
        console.print(Text(sentence))
    console.print(_table(view))
    for section in view.sections:
        console.print()
        console.print(Text(section.title, style="bold"))
        for line in section.lines:
            deeper = len(line) - len(line.lstrip(" "))
            console.print(Padding(Text(line.strip()), (0, 0, 0, INDENT + deeper)))


def _table(view: BenchView) -> Table:
    """Return the table of slots."""
    table = Table(show_lines=True, show_edge=False, pad_edge=False, header_style="")
    for head in view.heads:
        table.add_column(Text(head), overflow="fold", justify="left")
    for row in view.rows:
        table.add_row(*(Text(cell) for cell in row))
    return table
