"""The folder of a session at the microphone: made when it is new, with the course it begins with."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.errors import BadValue
from pitchcheck.instrument import Aim, Board, Fretwork, Instrument, SessionSettings
from pitchcheck.recorder.course_file import COURSE, parse_course
from pitchcheck.session.folder import read_session
from pitchcheck.session.new_folder import settings_of_kind, with_choices, write_new
from pitchcheck.session.paths import inside
from pitchcheck.session.settings import SETTINGS, parse_settings, read_settings
from pitchcheck.takes import Position

SAME_SCALE_MM = 0.05  # two ways of writing one scale length differ by less
NO_PRESSES = (
    "No press test on a scalloped board: only how sharp the first frets are will be reported, not why."
)


@dataclass(frozen=True)
class Start:
    """What ``listen_folder`` begins with.

    ``made`` says that the folder's settings are new; ``words`` are to be told before listening.
    """

    planned: tuple[Position, ...]
    made: bool
    words: tuple[str, ...]


def asks_kind(folder: Path) -> bool:
    """Whether the kind of instrument must be said: the folder holds no settings yet."""
    return not (folder / SETTINGS).exists()


def start_session(
    folder: Path,
    *,
    kind: str | None = None,
    scale_mm: float | None = None,
    thoroughness: Thoroughness = Thoroughness.BASE,
    strings: Sequence[int] | None = None,
    aim: Aim | None = None,
    level_frets: bool = False,
) -> Start:
    """Make the settings of a new folder, or read those of one that is there.

    Parameters
    ----------
    folder : Path
        Made if needed.
    kind : str, optional
        Name of a preset; needed for a new folder only.
    scale_mm : float, optional
        Scale length of a new folder; the preset's usual one by default. [mm]
    thoroughness : Thoroughness
    strings : sequence of int, optional
        Strings to be played; all by default.
    aim : Aim, optional
        Of a new folder: what the slots are wanted for.
    level_frets : bool
        Of a new folder: levelled frets and a true board are declared.

    Raises
    ------
    BadValue
        If the kind is missing or not known, the scale length not believable, a string not there, or kind or
        scale are not those of a folder that is there.
    BadInput
        If the folder cannot be written.
    NothingMeasured
        If settings that are there cannot be used.
    """
    made = asks_kind(folder)
    if made:
        if kind is None:
            raise BadValue(
                f"{folder} holds no session yet, so its kind of instrument is needed. "
                "Add it, like --kind acoustic."
            )
        settings = settings_of_kind(kind, scale_mm=scale_mm)
        settings = with_choices(settings, aim=aim, level_frets=level_frets)
        instrument = parse_settings(settings, name=SETTINGS).settings.instrument
    else:
        there = read_settings(folder).settings
        instrument = there.instrument
        _check_applies(folder, instrument, kind=kind, scale_mm=scale_mm)
        _check_choices(folder, there, aim=aim, level_frets=level_frets)
    numbers = [spec.number for spec in instrument.strings]
    unknown = [number for number in strings or () if number not in numbers]
    if unknown:
        raise BadValue(
            f"string {unknown[0]} is not one of this instrument's strings "
            f"({', '.join(map(str, numbers))}). Correct --strings."
        )
    if made:
        write_new(folder, {SETTINGS: settings})
    press = instrument.board is not Board.SCALLOPED
    chosen = tuple(dict.fromkeys(strings)) if strings else tuple(numbers)
    return Start(
        survey_positions(chosen, thoroughness=thoroughness, press=press), made, () if press else (NO_PRESSES,)
    )


def _check_applies(folder: Path, instrument: Instrument, *, kind: str | None, scale_mm: float | None) -> None:
    """Refuse what a folder that is there would have to ignore."""
    if kind is not None and kind != instrument.kind and _kind_of(kind) != instrument.kind:
        raise BadValue(
            f"{folder} is there already, with kind {instrument.kind!r}, and --kind is {kind!r}. Leave --kind "
            f"out, correct {SETTINGS}, or name a new folder."
        )
    if scale_mm is not None and abs(scale_mm - instrument.scale_mm) > SAME_SCALE_MM:
        raise BadValue(
            f"{folder} is there already, with a scale of {instrument.scale_mm:g} mm, and --scale is "
            f"{scale_mm:g} mm. Leave --scale out, correct {SETTINGS}, or name a new folder."
        )


def _check_choices(folder: Path, there: SessionSettings, *, aim: Aim | None, level_frets: bool) -> None:
    """Refuse choices that a folder that is there would have to ignore."""
    wrong = []
    if aim is not None and there.target.aim is not aim:
        wrong.append(f'its aim is "{there.target.aim}", and --aim is "{aim}"')
    if level_frets and there.instrument.fretwork is not Fretwork.LEVEL:
        wrong.append("its frets are not declared level, and --level-frets is given")
    if wrong:
        raise BadValue(
            f"{folder} is there already: {'; '.join(wrong)}. Leave that out, correct {SETTINGS}, or name a "
            "new folder."
        )


def _kind_of(kind: str) -> str:
    """Return what the settings of a new folder would call a kind."""
    return parse_settings(settings_of_kind(kind), name=SETTINGS).settings.instrument.kind


def check_course(folder: Path, planned: Sequence[Position]) -> None:
    """Refuse a course that was asked for where another was begun: what was begun stays.

    Parameters
    ----------
    folder : Path
        With its settings.
    planned : sequence of Position
        What was asked for. A course that begins with it is the same, with what would tell more behind it.

    Raises
    ------
    BadValue
    """
    course = folder / COURSE
    if course.is_file():
        with suppress(OSError, ValueError):  # told when the folder is opened
            entries = parse_course(course.read_text(encoding="utf-8")).entries
            begun, taken = [e.position for e in entries], sum(e.taken for e in entries)
            _check_begun(folder, begun, taken, planned)
        return
    rows = read_session(folder).takes
    paths = (inside(folder, row.file) for row in rows)
    taken = sum(path is not None and path.is_file() for path in paths)
    _check_begun(folder, [row.position for row in rows], taken, planned)


def _check_begun(folder: Path, begun: list[Position], taken: int, planned: Sequence[Position]) -> None:
    """Refuse another course than the one that was begun."""
    if taken and begun[: len(planned)] != list(planned):
        raise BadValue(
            f"{folder} holds {taken} of {len(begun)} takes of another course, and a course that was begun "
            "stays. Leave --strings and --thoroughness out to go on with it, or name a new folder."
        )
