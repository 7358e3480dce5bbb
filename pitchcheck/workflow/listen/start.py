"""The folder of a session at the microphone: made when it is new, with the course it begins with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.errors import BadValue
from pitchcheck.instrument import Board
from pitchcheck.session.new_folder import settings_of_kind, write_new
from pitchcheck.session.settings import SETTINGS, read_settings
from pitchcheck.takes import Position

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

    Raises
    ------
    BadValue
        If the kind is missing or not known, the scale length not believable, or a string not there.
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
        write_new(folder, {SETTINGS: settings_of_kind(kind, scale_mm=scale_mm)})
    instrument = read_settings(folder).settings.instrument
    numbers = [spec.number for spec in instrument.strings]
    unknown = [number for number in strings or () if number not in numbers]
    if unknown:
        raise BadValue(
            f"string {unknown[0]} is not one of this instrument's strings "
            f"({', '.join(map(str, numbers))}). Correct --strings."
        )
    press = instrument.board is not Board.SCALLOPED
    chosen = tuple(dict.fromkeys(strings)) if strings else tuple(numbers)
    return Start(
        survey_positions(chosen, thoroughness=thoroughness, press=press), made, () if press else (NO_PRESSES,)
    )
