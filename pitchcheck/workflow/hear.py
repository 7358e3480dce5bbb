"""Rows of a session to takes: sound files read string by string, a few strings at once.

Conventions: takes come back in the order of their rows. A take that cannot be read stays in the list without
a pitch, with its doubt, and has a fault in the list of problems.
"""

from __future__ import annotations

import math
import multiprocessing
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from multiprocessing.context import BaseContext
from pathlib import Path

from pitchcheck.audio.coding import loss_sd_cents
from pitchcheck.audio.files import Unsound, read_clip
from pitchcheck.audio.recording import coding_of
from pitchcheck.clip import Clip
from pitchcheck.doubts import NotRead
from pitchcheck.errors import Problem
from pitchcheck.instrument import Instrument
from pitchcheck.physics.materials import string_constants
from pitchcheck.physics.stops import rough_press_cents
from pitchcheck.pitch.reading import Reading, Unreadable
from pitchcheck.session.folder import Session
from pitchcheck.session.notices import shorten
from pitchcheck.session.paths import inside
from pitchcheck.session.rows import TAKES, ReadingRow, TakeRow
from pitchcheck.survey import Survey
from pitchcheck.takes import Position, Stop, Take
from pitchcheck.tuning import SEMITONES_PER_OCTAVE
from pitchcheck.units import CENTS_PER_OCTAVE
from pitchcheck.workflow.kept_readings import KeptReadings, sum_of
from pitchcheck.workflow.progress import Progress

PRESS_HINT_CENTS = 25.0  # [cent] where a press is looked for: the middle of what the fixtures show (3 to 99)
SHORT_SCALE_CENTS = 60.0  # [cent] usual sharpness of a press from which it is looked for there
USUAL_SLOT_MM, USUAL_FRET_MM = 0.4, 1.0  # common practice, no source
FEWEST_FOR_A_POOL = 24  # takes; fewer are read sooner than a second process starts


@dataclass(frozen=True)
class Pass:
    """One folder, heard and compared."""

    session: Session
    takes: tuple[Take, ...]
    survey: Survey
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class StringWork:
    """The takes of one string, to be read together."""

    folder: Path
    rows: tuple[TakeRow, ...]
    expected_hz: tuple[float, ...]


@dataclass(frozen=True)
class Heard:
    """What came of a session's rows."""

    takes: tuple[Take, ...]
    problems: tuple[Problem, ...]


def expected_hz(position: Position, *, instrument: Instrument) -> float:
    """Pitch at which a take is looked for. [Hz]"""
    semitones = position.capo if position.fret is None else position.fret
    octaves = semitones / SEMITONES_PER_OCTAVE
    if position.stop is Stop.LEAF:  # it may sound as either note: look between them
        octaves -= position.semitones / 2 / SEMITONES_PER_OCTAVE
    if position.stop is Stop.PRESS:
        octaves += _press_hint_cents(position, instrument=instrument) / CENTS_PER_OCTAVE
    return float(instrument.string(position.string).nominal_hz * 2.0**octaves)


def _press_hint_cents(position: Position, *, instrument: Instrument) -> float:
    """How sharp a press is looked for. [cent]"""
    scale_mm = instrument.string_scale_mm(position.string)
    constants = string_constants(instrument.string(position.string), scale_mm=scale_mm)
    usual = rough_press_cents(
        constants.stretch_factor,
        scale_mm=scale_mm,
        slot_mm=USUAL_SLOT_MM,
        fret_mm=USUAL_FRET_MM,
        fret=position.semitones,
    )
    return PRESS_HINT_CENTS if usual < SHORT_SCALE_CENTS else usual


def takes_from_readings(rows: Sequence[ReadingRow]) -> tuple[Take, ...]:
    """Return takes whose pitch was read elsewhere; they keep their times where a string has them all."""
    times = {row.row: row.time_s for row in rows}
    when = _playing_times([(row.row, row.position, times[row.row]) for row in rows])
    return tuple(Take(row.row, None, row.position, row.hz, row.sd_cents, when[row.row]) for row in rows)


def hear_takes(
    session: Session, *, workers: int, progress: Progress | None = None, keep: bool = False
) -> Heard:
    """Read the sound of every take of a session; strings whose readings the folder keeps are not heard again.

    Parameters
    ----------
    session : Session
    workers : int >= 1
        Processes at work at once. 1 reads everything here.
    progress : Progress, optional
        Told after every string.
    keep : bool
        Keeps what was read in the folder. Only where the program writes into it anyway.
    """
    if not session.takes:
        return Heard((), ())
    numbers = dict.fromkeys(row.position.string for row in session.takes)
    work = [_work_for(session, number) for number in numbers]
    answers: dict[int, Reading | str] = {}
    faults: dict[int, Problem] = {}
    done = 0
    for part in _answers(session, work, workers=workers, keep=keep):
        for row, answer in part:
            if isinstance(answer, Problem):
                faults[row], answers[row] = answer, answer.limit
            else:
                answers[row] = answer
        done += len(part)
        if progress is not None:
            progress(done, len(session.takes), "listening to the takes")
    when = _file_times(session.takes)
    takes = tuple(
        replace(
            take_of(row.row, row.file, row.position, answers[row.row], when=when[row.row]),
            start_s=row.start_s,
            end_s=row.end_s,
        )
        for row in session.takes
    )
    return Heard(takes, tuple(faults[row] for row in sorted(faults)))


def _answers(
    session: Session, work: Sequence[StringWork], *, workers: int, keep: bool
) -> Iterable[list[tuple[int, Reading | Problem]]]:
    """Yield the answers string by string: those that the folder keeps, then those that are heard now."""
    kept = KeptReadings.of_folder(session.folder)
    left: dict[int, tuple[StringWork, str | None]] = {}  # by first row
    for part in work:
        asked = keep or kept.of_sum
        key = sum_of(part.folder, part.rows, part.expected_hz) if asked else None
        found = None if key is None else kept.find(key, part.rows)
        if found is None:
            left[part.rows[0].row] = (part, key)
        else:
            yield found
    takes = sum(len(part.rows) for part, _ in left.values())
    few = takes < FEWEST_FOR_A_POOL
    for answers in _read_all([part for part, _ in left.values()], workers=1 if few else workers):
        part, key = next(left[row] for row, _ in answers if row in left)
        if key is not None:
            kept.put(key, part.rows, answers)
        yield answers
    if keep:
        kept.save()


def read_string(work: StringWork) -> list[tuple[int, Reading | Problem]]:
    """Read the takes of one string; runs in a process of its own."""
    from pitchcheck.pitch.string_group import read_group

    answers: list[tuple[int, Reading | Problem]] = []
    clips: list[Clip] = []
    sounding: list[tuple[TakeRow, float]] = []
    for row, hz in zip(work.rows, work.expected_hz, strict=True):
        clip = _load(work.folder, row)
        if isinstance(clip, Problem):
            answers.append((row.row, clip))
        else:
            clips.append(clip)
            sounding.append((row, hz))
    readings = read_group(clips, expected_hz=[hz for _, hz in sounding]) if clips else ()
    for (row, _), reading in zip(sounding, readings, strict=True):
        if isinstance(reading, Unreadable):
            action = "Play it again, or cut the row out; this take was left out."
            reason = reading.reason.strip().rstrip(".")
            answers.append((row.row, Problem(TAKES, row.row, "file", shorten(row.file), reason, action)))
        else:
            answers.append((row.row, _with_loss(reading, work.folder / row.file)))
    return answers


def _with_loss(reading: Reading, path: Path) -> Reading:
    """Return a reading with what a lossy way of writing adds to its uncertainty."""
    loss = loss_sd_cents(coding_of(path))
    return replace(reading, sd_cents=math.hypot(reading.sd_cents, loss)) if loss else reading


def _load(folder: Path, row: TakeRow) -> Clip | Problem:
    """Return the sound of one row, or its fault."""
    name = shorten(row.file)
    path = inside(folder, row.file)
    if path is None:
        limit = "sound files must lie inside the session folder"
        return Problem(TAKES, row.row, "file", name, limit, "Copy the file into the folder.")
    try:
        return read_clip(path, start_s=row.start_s, end_s=row.end_s)
    except Unsound as fault:
        return Problem(TAKES, row.row, "file", name, fault.limit, fault.action)


def _read_all(work: Sequence[StringWork], *, workers: int) -> Iterable[list[tuple[int, Reading | Problem]]]:
    """Yield the answers string by string, as they are ready."""
    if workers < 2 or len(work) < 2:
        yield from map(read_string, work)
        return
    left = dict(enumerate(work))
    try:
        with ProcessPoolExecutor(min(workers, len(work)), mp_context=process_context()) as pool:
            futures = {pool.submit(read_string, part): i for i, part in left.items()}
            for future in as_completed(futures):
                part = future.result()
                del left[futures[future]]
                yield part
    except BrokenProcessPool:  # e.g. called from a script without a main guard: read the rest here
        yield from map(read_string, left.values())


def process_context() -> BaseContext:
    """Return the way to start processes: from a clean server if there is one, as threads may be running."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__, "pitchcheck.pitch.string_group", "soundfile"])
    return context


def _work_for(session: Session, number: int) -> StringWork:
    """Return the takes of one string as one piece of work."""
    rows = tuple(row for row in session.takes if row.position.string == number)
    hints = tuple(expected_hz(row.position, instrument=session.settings.instrument) for row in rows)
    return StringWork(session.folder, rows, hints)


def take_of(
    row: int, file: str | None, position: Position, answer: Reading | Unreadable | str, *, when: float
) -> Take:
    """Return the take of a row, with the pitch that was read or the reason why there is none."""
    if isinstance(answer, Unreadable):
        answer = answer.reason
    if isinstance(answer, str):
        return Take(row, file, position, None, None, when, doubts=(NotRead(answer),))
    return Take(
        row=row,
        file=file,
        position=position,
        hz=answer.hz,
        sd_cents=answer.sd_cents,
        when=when,
        inharmonicity=answer.inharmonicity,
        inharmonicity_sd=answer.inharmonicity_sd,
        doubts=answer.doubts,
    )


def _file_times(rows: Sequence[TakeRow]) -> dict[int, float]:
    """Return playing times: the start within the file where one file holds a string's takes."""
    files: dict[tuple[int, int], set[str]] = {}
    for row in rows:
        files.setdefault((row.position.string, row.position.capo), set()).add(row.file)
    single = {key for key, names in files.items() if len(names) == 1}
    return _playing_times(
        [
            (row.row, row.position, row.start_s or 0.0)
            if (row.position.string, row.position.capo) in single
            else (row.row, row.position, None)
            for row in rows
        ]
    )


def _playing_times(rows: Sequence[tuple[int, Position, float | None]]) -> dict[int, float]:
    """Return the time of each row: seconds if all rows of its string and capo differ in them, else rows."""
    groups: dict[tuple[int, int], list[tuple[int, float | None]]] = {}
    for row, position, seconds in rows:
        groups.setdefault((position.string, position.capo), []).append((row, seconds))
    when: dict[int, float] = {}
    for group in groups.values():
        seconds_of = {seconds for _, seconds in group}
        timed = None not in seconds_of and len(seconds_of) == len(group)
        for row, seconds in group:
            when[row] = seconds if timed and seconds is not None else float(row)
    return when
