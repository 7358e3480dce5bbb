"""Where output goes: results to standard output, messages and progress to standard error, pages to files."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from unicodedata import category

import typer

from pitchcheck.errors import BadInput, Problem
from pitchcheck.store.files import write_whole as write_file_whole
from pitchcheck.units import LengthUnit

if TYPE_CHECKING:
    from pitchcheck.measurement import Measurement
    from pitchcheck.workflow.progress import Progress

REPORT_ENDINGS = (".html", ".htm")

UnitOption = Annotated[
    LengthUnit | None,
    typer.Option(
        "--unit",
        envvar="PITCHCHECK_UNIT",
        help="Show lengths in mm or thou; by default in what the scale length was given in.",
    ),
]
AllOption = Annotated[
    bool, typer.Option("--all", help="Show all findings, doubts, takes and cautions before the short end.")
]

_UNSAFE = {"Cc", "Cf", "Cs"}  # Unicode categories: control, format (writing direction), half of a pair


def say(message: str) -> None:
    """Print a message to standard error; names of files and folders in it can move no cursor."""
    typer.echo("".join(s if s in "\n\t" or category(s) not in _UNSAFE else "?" for s in message), err=True)


def show_measurement(
    measurement: Measurement,
    *,
    everything: bool = False,
    said: Sequence[str] = (),
    true_heights_mm: Mapping[int, float] | None = None,
) -> None:
    """Print a measurement: on request all of it, and last what fits one screen, the amounts at its foot.

    What is ``said`` with it goes to standard error first, and takes its lines from the screen.
    """
    from textwrap import wrap

    from rich.console import Console
    from rich.text import Text

    from pitchcheck.report.end_screen import COLUMNS, LINES, end_screen

    console = Console(file=sys.stdout, highlight=False)
    if everything:
        from pitchcheck.report.bench_sheet import bench_sheet
        from pitchcheck.report.terminal import print_sheet

        print_sheet(bench_sheet(measurement), console)
        console.print()
    for line in said:
        say(line)
    lines = LINES - sum(len(wrap(line, COLUMNS)) for line in said)
    for line in end_screen(measurement, lines=lines, true_heights_mm=true_heights_mm):
        console.print(Text(line), soft_wrap=True)


@contextmanager
def progress_bar() -> Iterator[Progress | None]:
    """Give a progress bar on standard error, or None where that is no terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress as Bar

    with Bar(console=Console(stderr=True), transient=True, auto_refresh=False) as bar:
        task = bar.add_task("reading the folder", total=None)

        def show(done: int, total: int, doing: str) -> None:
            bar.update(task, completed=done, total=total, description=doing)
            bar.refresh()

        bar.refresh()
        yield show


def check_report_path(path: Path) -> None:
    """Refuse a path for a report before any work is done.

    Raises
    ------
    BadInput
        If it is no HTML file's name, a folder, or in a folder that is not there.
    """
    if path.suffix.lower() not in REPORT_ENDINGS:
        limit, action = "a report is one HTML file", "Give it a name that ends in .html."
    elif path.is_dir():
        limit, action = "it is a folder", "Give the name of a file in it."
    elif not path.absolute().parent.is_dir():
        limit, action = "its folder does not exist", "Make the folder first."
    else:
        return
    raise BadInput(Problem(str(path), None, None, None, limit, action))


def write_whole(path: Path, text: str) -> None:
    """Write a file whole or not at all: a half-written one never takes the place of an older.

    Raises
    ------
    BadInput
        If it cannot be written.
    """
    try:
        write_file_whole(path.absolute(), text.encode("utf-8"))
    except OSError as error:
        limit = f"it cannot be written ({error.strerror or error})"
        raise BadInput(Problem(str(path), None, None, None, limit, "Choose another place.")) from error
