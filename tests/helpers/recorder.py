"""Folders for tests of the recorder: short takes, and what a folder holds."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.guide.take_list import PlannedTake
from pitchcheck.instrument import Instrument
from pitchcheck.recorder.recorder import Recorder, WriteFailed
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


_REPLACED: dict[int, PlannedTake] = {}  # takes that gave way, by number


def store(
    recorder: Recorder, number: int, place: int, *, clip: Clip | None = None, hz: float = 330.0
) -> Path:
    """Accept and store the take of a place, as the guide and the session do."""
    takes = recorder.takes
    takes.next_number = number
    before = takes.accept(place, hz=hz)
    if before.number is not None:
        _REPLACED[before.number] = before
    try:
        return recorder.store(place, clip or tone(number), replaces=before if before.taken else None)
    except WriteFailed:
        takes.drop(place, before)
        raise


def take_back(recorder: Recorder, number: int) -> str | None:
    """Take back the last take, or one that another has replaced."""
    if number in _REPLACED:
        return recorder.take_back(_REPLACED.pop(number))
    back = recorder.takes.undo()
    assert back is not None
    assert back.entry.number == number
    return recorder.take_back(back.entry)


def listed(folder: Path) -> list[tuple[str, Position]]:
    """Rows of the folder as ``measure`` would read them."""
    return [(row.file, row.position) for row in read_session(folder).takes]


def states(recorder: Recorder) -> str:
    """Return the states of all places, one letter each: t(aken), s(kipped), . for to play."""
    return "".join({"taken": "t", "skipped": "s"}.get(e.state.value, ".") for e in recorder.takes.entries)


def set_aside_names(folder: Path) -> set[str]:
    """Names of the files that were set aside."""
    there = folder / "set-aside"
    return {path.name for path in there.iterdir()} if there.is_dir() else set()
