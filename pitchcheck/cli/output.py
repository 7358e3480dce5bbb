"""Where output goes: results to standard output, messages and progress to standard error, pages to files."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from shutil import get_terminal_size
from textwrap import wrap
from typing import TYPE_CHECKING, Annotated, Any
from unicodedata import category

import typer

from pitchcheck.errors import BadInput, Problem
from pitchcheck.store.files import write_whole as write_file_whole
from pitchcheck.units import LengthUnit

if TYPE_CHECKING:
    from pitchcheck.measurement import Measurement
    from pitchcheck.workflow.progress import Progress

UNUSABLE = 2  # exit status: what was given cannot be used, or nothing was measured (the contract of --json)
REPORT_ENDINGS = (".html", ".htm")
NARROWEST = 40  # [columns] no terminal is treated as narrower

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
    _put(message, err=True)


def tell(message: str) -> None:
    """Print a line of the result to standard output, as ``say`` does to standard error."""
    _put(message, err=False)


def tell_json(content: Any) -> None:
    """Print records as JSON: moments in ISO 8601, paths as text."""
    typer.echo(json.dumps(content, indent=1, default=lambda one: getattr(one, "isoformat", one.__str__)()))


def path_given(text: str) -> Path:
    """Return a path from the command line; refuse an empty one, which would mean the current folder."""
    if not text:
        raise typer.BadParameter("it is empty. Name a folder; the one you are in is a full stop (.)")
    return Path(text)


def _put(message: str, *, err: bool) -> None:
    """Print words; on a terminal they are broken between words, elsewhere a sentence stays one line."""
    text = "".join(s if s in "\n\t" or category(s) not in _UNSAFE else "?" for s in message)
    stream = sys.stderr if err else sys.stdout
    typer.echo("\n".join(wrapped(text.split("\n"))) if stream.isatty() else text, err=err)


def wrapped(lines: Iterable[str]) -> Iterator[str]:
    """Yield lines broken at the terminal's width, hanging under their start; paths and sums stay whole."""
    width = max(get_terminal_size().columns, NARROWEST)
    for line in lines:
        start = len(line) - len(line.lstrip(" "))
        yield from broken(line, width, indent=" " * (start + 2)) or [""]


def broken(line: str, width: int, *, indent: str = "") -> list[str]:
    """Return a line broken between words only."""
    return wrap(line, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)


def show_measurement(
    measurement: Measurement,
    *,
    everything: bool = False,
    said: Sequence[str] = (),
    more: str | None = None,
    true_heights_mm: Mapping[int, float] | None = None,
) -> None:
    """Print a measurement: on request all of it, and last what fits one screen, the amounts at its foot.

    What is ``said`` with it goes to standard error first, and takes its lines from the screen; ``more`` says
    where the rest stands.
    """
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
    lines = LINES - sum(-(-len(part) // COLUMNS) for line in said for part in wrapped([line]))
    for line in end_screen(measurement, lines=lines, more=more, true_heights_mm=true_heights_mm):
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
