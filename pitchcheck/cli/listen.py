"""``pitchcheck listen FOLDER``."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pitchcheck.cli.job.options import (
    ON_PAPER,
    FinalOption,
    JobsOption,
    RemovedOption,
    file_into,
    filed_words,
    find,
)
from pitchcheck.cli.new import AimOption, LevelOption
from pitchcheck.cli.output import path_given, progress_bar, say, show_measurement, tell
from pitchcheck.cli.signals import ending_signals
from pitchcheck.course import Thoroughness
from pitchcheck.errors import BadValue, NothingMeasured, WrongCall

if TYPE_CHECKING:
    from pitchcheck.takes import Position
    from pitchcheck.workflow.listen.run import Listened

FolderArgument = Annotated[
    Path | None,
    typer.Argument(
        parser=path_given,
        metavar="[FOLDER]",
        help="Session folder: a new one, or one that was begun and goes on.",
    ),
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
    Thoroughness | None, typer.Option(help="How much is to be played on every string; base if not said.")
]
StringsOption = Annotated[
    str | None, typer.Option(metavar="NUMBERS", help='Only these strings, like "1,6"; 1 nearest the floor.')
]
InputOption = Annotated[
    str | None, typer.Option("--input", metavar="NAME", help="Input: part of its name, or its number.")
]
RateOption = Annotated[float | None, typer.Option(metavar="HZ", help="Samples per second.")]
ChannelOption = Annotated[int, typer.Option(min=1, help="Channel of the input that carries the instrument.")]
TonesOption = Annotated[bool, typer.Option("--tones/--no-tones", help="Short tones for taken and for again.")]
JobOption = Annotated[
    str | None,
    typer.Option("--job", metavar="JOB", help="At the end file the session into this job as a pass."),
]
PlainOption = Annotated[bool, typer.Option("--plain", help="Plain lines instead of a screen.")]


def listen(
    folder: FolderArgument = None,
    kind: KindOption = None,
    scale: ScaleOption = None,
    thoroughness: ThoroughOption = None,
    strings: StringsOption = None,
    aim: AimOption = None,
    level_frets: LevelOption = False,
    input_name: InputOption = None,
    rate: RateOption = None,
    channel: ChannelOption = 1,
    tones: TonesOption = True,
    plain: PlainOption = False,
    job: JobOption = None,
    removed: RemovedOption = None,
    final: FinalOption = False,
    jobs: JobsOption = None,
) -> None:
    """Lead through the takes at the microphone, keep each, measure.

    Example: pitchcheck listen bench/today --kind acoustic --thoroughness quick
    """
    from pitchcheck.units import length_mm
    from pitchcheck.workflow.listen.start import check_course, start_session

    _check_filing(job, removed=removed, final=final, jobs=jobs)
    folder, kind = _asked_for(folder, kind)
    start = start_session(
        folder,
        kind=kind,
        scale_mm=None if scale is None else length_mm(scale),
        thoroughness=thoroughness or Thoroughness.BASE,
        strings=None if strings is None else string_numbers(strings),
        aim=aim,
        level_frets=level_frets,
    )
    asked = thoroughness is not None or strings is not None
    if asked and not start.made:
        check_course(folder, start.planned)
    for line in start.words:
        say(line)
    done, status = sit(
        folder,
        planned=start.planned,
        replan=asked,
        source=Source(input_name, rate, channel),
        tones=tones,
        plain=plain,
    )
    later = f'Then: pitchcheck job add "{job}" "{folder}"'
    finish(done, status, job=job, later=later, removed=removed, final=final, jobs=jobs)


def _check_filing(job: str | None, *, removed: list[str] | None, final: bool, jobs: Path | None) -> None:
    """Refuse what cannot be filed into a job before anything is played."""
    from pitchcheck.workflow.jobs.add_pass import parse_removed

    if job is None:
        if removed or final or jobs:
            raise WrongCall("--removed, --final and --jobs belong to --job. Name the job, or leave them out.")
        return
    find(job, jobs)
    for text in removed or ():
        parse_removed(text)


def _asked_for(folder: Path | None, kind: str | None) -> tuple[Path, str | None]:
    """Return folder and kind; whoever sits at a terminal is asked for what is missing."""
    from pitchcheck.workflow.listen.start import asks_kind

    someone = sys.stdin.isatty()
    if folder is None:
        if not someone:
            raise WrongCall("The session folder is missing. Name it: pitchcheck listen FOLDER --kind KIND")
        folder = Path(_ask("Folder for this session, like bench/today"))
    if kind is None and someone and asks_kind(folder):
        kind = _ask("Kind of instrument (electric, acoustic, classical, bass, tenor ukulele, mandolin)")
    return folder, kind


@dataclass(frozen=True)
class Source:
    """Which input is listened to, as it was asked for."""

    name: str | None
    rate_hz: float | None
    channel: int


def sit(
    folder: Path, *, planned: Sequence[Position], replan: bool, source: Source, tones: bool, plain: bool
) -> tuple[Listened, int]:
    """Lead through the takes of a folder; return what came of it, and the exit status of a signal or 0."""
    from rich.console import Console

    from pitchcheck.cli.keys import keyboard
    from pitchcheck.report.screen.live import LiveScreen
    from pitchcheck.report.screen.plain import PlainScreen
    from pitchcheck.workflow.listen.input import microphone
    from pitchcheck.workflow.listen.input import tones as sounded
    from pitchcheck.workflow.listen.run import listen_folder

    console = Console(file=sys.stdout, highlight=False)
    live = console.is_terminal and not plain
    with ExitStack() as stack:
        ending = stack.enter_context(ending_signals())
        keys = stack.enter_context(keyboard())
        screen: LiveScreen | PlainScreen
        screen = stack.enter_context(LiveScreen(console)) if live else PlainScreen(tell)
        done = listen_folder(
            folder,
            source=microphone(device=source.name, rate_hz=source.rate_hz, channel=source.channel),
            screen=screen,
            keys=keys,
            planned=planned,
            replan=replan,
            tones=sounded(tones),
        )
    return done, ending.status or 0


def finish(
    done: Listened,
    status: int,
    *,
    job: str | None,
    later: str,
    removed: list[str] | None = None,
    final: bool = False,
    jobs: Path | None = None,
) -> None:
    """File a sitting that was played to its end into a job, say what came of it, and end.

    ``status`` is that of the signal that broke it off, or 0; ``later`` says how to file a sitting that lacks
    takes once they are played.
    """
    if job is None or status or done.problems:
        _end(done)
    elif done.missing or not done.taken:
        _end(done, [f"Not filed yet, as takes are missing. {later}"])
    else:
        _end(done, _file(done, job, removed=removed, final=final, jobs=jobs), filed=True)
    if status:
        raise typer.Exit(status)


def _file(
    done: Listened, job: str, *, removed: list[str] | None, final: bool, jobs: Path | None
) -> list[str]:
    """File a session into a job; return what is to be said of it."""
    with progress_bar() as progress:
        added = file_into(
            job,
            done.folder,
            kind="final" if final else None,
            removed=removed,
            heard=done.measurement,
            jobs=jobs,
            progress=progress,
        )
    return filed_words(added)


def _end(done: Listened, words: Sequence[str] = (), *, filed: bool = False) -> None:
    """Say how to go on, and print last what was measured; ``filed`` says that it lies in a job now."""
    said = [*done.notices, *words]
    if done.stopped:
        said.append("Stopped.")
    if done.taken < done.asked:
        said.append(
            f'{done.taken} of {done.asked} takes are kept. To go on: pitchcheck listen "{done.folder}"'
        )
    again = f'pitchcheck measure "{done.folder}" --report FILE.html'
    if done.measurement is not None:
        more = ON_PAPER if filed else f"Findings, takes, cautions, pictures: {again}"
        show_measurement(done.measurement, said=said, more=more)
    else:
        said += [f"To measure: {again}"] if done.taken else []
        for line in said:
            say(line)
    if done.problems:
        raise NothingMeasured("No string could be measured.", done.problems)


def _ask(question: str) -> str:
    """Ask for what was not given."""
    return str(typer.prompt(question)).strip()


def string_numbers(text: str) -> list[int]:
    """Return string numbers from "1,6"."""
    parts = [part.strip() for part in text.split(",")]
    if not all(part.isascii() and part.isdigit() and len(part) < 4 for part in parts):
        raise BadValue(
            f'--strings is {text[:80]!r}; it must be numbers with commas between, like "1,6". Correct it.'
        )
    return [int(part) for part in parts]
