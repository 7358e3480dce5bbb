"""Folders for tests of the recorder: short takes, and what a folder holds."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.instrument import Instrument
from pitchcheck.recorder.recorder import Recorder
from pitchcheck.session.folder import read_session
from pitchcheck.session.settings import read_settings
from pitchcheck.takes import Position
from pitchcheck.workflow.new import new_folder

RATE_HZ = 48_000.0
COURSE = survey_positions([1, 2], thoroughness=Thoroughness.QUICK)  # twelve takes


def new_session(folder: Path) -> Instrument:
    """Make a folder that holds only settings; return its instrument."""
    new_folder(folder, kind="electric")
    (folder / "takes.csv").unlink()
    return read_settings(folder).settings.instrument


def open_recorder(folder: Path, course: tuple[Position, ...] = COURSE, *, replan: bool = False) -> Recorder:
    """Open the recorder of a folder."""
    instrument = read_settings(folder).settings.instrument
    return Recorder(folder, instrument=instrument, planned=course, replan=replan)


def tone(number: int, *, seconds: float = 0.2) -> Clip:
    """Sound that tells which take it is: its first sample is its number, in steps of 24 bits."""
    samples = np.full(round(seconds * RATE_HZ), 0.25)
    samples[::2] = -0.25
    samples[0] = number / 2**23
    return Clip(samples, RATE_HZ)


def number_of(path: Path) -> int:
    """Return the number that ``tone`` put into a file."""
    import soundfile

    samples, _ = soundfile.read(path)
    return round(float(samples[0]) * 2**23)


def store(recorder: Recorder, number: int, place: int) -> Path:
    """Store the take of a place."""
    return recorder.store(number, place=place, position=recorder.places[place].position, clip=tone(number))


def listed(folder: Path) -> list[tuple[str, Position]]:
    """Rows of the folder as ``measure`` would read them."""
    return [(row.file, row.position) for row in read_session(folder).takes]


def states(recorder: Recorder) -> str:
    """Return the states of all places, one letter each: t(aken), s(kipped), . for to play."""
    return "".join({"taken": "t", "skipped": "s"}.get(p.state.value, ".") for p in recorder.places)


def set_aside_names(folder: Path) -> set[str]:
    """Names of the files that were set aside."""
    there = folder / "set-aside"
    return {path.name for path in there.iterdir()} if there.is_dir() else set()
