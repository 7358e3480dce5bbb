"""``pitchcheck listen FOLDER``."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pitchcheck.cli.output import say
from pitchcheck.errors import BadValue, NothingMeasured
from pitchcheck.protocol import Thoroughness

if TYPE_CHECKING:
    from pitchcheck.workflow.listen import Listened

FolderArgument = Annotated[
    Path | None, typer.Argument(help="Session folder: a new one, or one that was begun and goes on.")
]
KindOption = Annotated[
    str | None,
    typer.Option(
        help='For a new folder: electric, acoustic, classical, bass, "tenor ukulele" or mandolin.',
    ),
]
ScaleOption = Annotated[
    str | None, typer.Option(metavar="LENGTH", help='For a new folder: scale length, like "648 mm".')
]
ThoroughOption = Annotated[
    Thoroughness | None, typer.Option(help="How much is to be played on every string; full if not said.")
]
StringsOption = Annotated[
    str | None, typer.Option(metavar="NUMBERS", help='Only these strings, like "1,6"; 1 nearest the floor.')
]
InputOption = Annotated[
    str | None, typer.Option("--input", metavar="NAME", help="Input: part of its name, or its number.")
]
RateOption = Annotated[float | None, typer.Option(metavar="HZ", help="Samples per second.")]
ChannelOption = Annotated[int, typer.Option(min=1, help="Channel of the input that carries the instrument.")]
TonesOption = Annotated[bool, typer.Option("--tones", help="Short tones for accepted and for again.")]
PlainOption = Annotated[bool, typer.Option("--plain", help="Plain lines instead of a screen.")]


def listen(
    folder: FolderArgument = None,
    kind: KindOption = None,
    scale: ScaleOption = None,
    thoroughness: ThoroughOption = None,
    strings: StringsOption = None,
    input_name: InputOption = None,
    rate: RateOption = None,
    channel: ChannelOption = 1,
    tones: TonesOption = False,
    plain: PlainOption = False,
) -> None:
    """Lead through the takes at the microphone, keep each in the folder, and measure.

    Example: pitchcheck listen bench/today --kind acoustic --thoroughness quick
    """
    from pitchcheck.units import length_mm
    from pitchcheck.workflow.listen_start import asks_kind, start_session

    folder = folder or Path(_ask("Folder for this session, like bench/today", "a session folder"))
    if kind is None and asks_kind(folder):
        kind = _ask(
            "Kind of instrument (electric, acoustic, classical, bass, tenor ukulele, mandolin)", "--kind"
        )
    start = start_session(
        folder,
        kind=kind,
        scale_mm=None if scale is None else length_mm(scale),
        thoroughness=thoroughness or Thoroughness.FULL,
        strings=None if strings is None else _numbers(strings),
    )
    for line in start.words:
        say(line)

    from rich.console import Console

    from pitchcheck.cli.keys import keyboard
    from pitchcheck.report.bench_screen_live import LiveScreen
    from pitchcheck.report.bench_screen_plain import PlainScreen
    from pitchcheck.workflow.listen import listen_folder
    from pitchcheck.workflow.listen_input import microphone
    from pitchcheck.workflow.listen_input import tones as sounded

    console = Console(file=sys.stdout, highlight=False)
    live = console.is_terminal and not plain
    with ExitStack() as stack:
        keys = stack.enter_context(keyboard())
        screen: LiveScreen | PlainScreen
        screen = stack.enter_context(LiveScreen(console)) if live else PlainScreen(typer.echo)
        done = listen_folder(
            folder,
            source=microphone(device=input_name, rate_hz=rate, channel=channel),
            screen=screen,
            keys=keys,
            planned=start.planned,
            replan=thoroughness is not None or strings is not None,
            tones=sounded(tones),
        )
    _end(done, console)


def _end(done: Listened, console: object) -> None:
    """Print the table and how to go on."""
    from rich.console import Console

    assert isinstance(console, Console)
    for notice in done.notices:
        say(notice)
    if done.measurement is not None:
        from pitchcheck.report.terminal import print_sheet
        from pitchcheck.report.view import bench_view

        print_sheet(bench_view(done.measurement), console)
        console.print()
    if done.stopped:
        say("Stopped.")
    if done.taken < done.asked:
        say(f'{done.taken} of {done.asked} takes are kept. To go on: pitchcheck listen "{done.folder}"')
    if done.taken:
        say(f'To measure again: pitchcheck measure "{done.folder}" --report FILE.html')
    if done.problems:
        raise NothingMeasured("No string could be measured.", done.problems)


def _ask(question: str, what: str) -> str:
    """Ask for what was not given, where someone is there to answer."""
    if not sys.stdin.isatty():
        raise BadValue(f"{what} is missing. Give it: pitchcheck listen FOLDER --kind KIND")
    return str(typer.prompt(question)).strip()


def _numbers(text: str) -> list[int]:
    """Return string numbers from "1,6"."""
    parts = [part.strip() for part in text.split(",")]
    if not all(part.isascii() and part.isdigit() for part in parts):
        raise BadValue(
            f'--strings is {text!r}; it must be numbers with commas between, like "1,6". Correct it.'
        )
    return [int(part) for part in parts]
