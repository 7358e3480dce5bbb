"""``measure_memo``: recordings of unnamed plucks to a measurement, by way of an ordinary session folder."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pitchcheck.audio.faults import Unsound
from pitchcheck.audio.recording import read_recording
from pitchcheck.errors import BadValue, NothingMeasured, Problem
from pitchcheck.instrument import Instrument
from pitchcheck.measurement import Measurement
from pitchcheck.memo.capo import behind_capo, on_whole_neck
from pitchcheck.memo.courses import COURSES, prefer
from pitchcheck.memo.labelling import label_sounds
from pitchcheck.memo.labels import Label, Labelling
from pitchcheck.memo.refusal import find_refusal
from pitchcheck.memo.sounds import Sound, find_sounds
from pitchcheck.session.memo_folder import fill, memo_takes_text, write_memo_folder
from pitchcheck.session.new_folder import retuned_text, settings_of_kind
from pitchcheck.session.rows import TakeRow
from pitchcheck.session.settings import SETTINGS, parse_settings, read_settings
from pitchcheck.takes import Stop
from pitchcheck.tuning import shift_note
from pitchcheck.words import memo as words
from pitchcheck.workflow.measure import measure_folder
from pitchcheck.workflow.memo_files import capo_of, sound_files
from pitchcheck.workflow.progress import Progress

LEAD_S = 0.08  # [s] of the room kept before a pluck
TAIL_S = 0.12  # [s] before the next sound in which the hand comes back to the string
LONGEST_TAKE_S = 6.0  # [s] kept of one pluck; 2 are read
LEAST_TAKE_S = 0.6  # [s] below it nothing is given up for the hand
ALIKE = 0.002  # [-] belief in a finger from which it is spoken of (ours)


@dataclass(frozen=True)
class Found:
    """One sound of a memo, and the file in which it is."""

    file: str
    label: Label


@dataclass(frozen=True)
class MemoMeasured:
    """What came of a memo.

    Attributes
    ----------
    measurement : Measurement
    found : tuple of Found
        Every sound, in order.
    course : str
        The course it was taken for.
    offset_cents : float
        By how much all strings were off their notes. [cent]
    folder : Path or None
        The session folder that was written; None if the place cannot be written.
    fretted_alike : bool
        Whether notes fretted by a finger could have sounded as the presses that were heard: on nylon, mostly,
        where nobody said which it was.
    """

    measurement: Measurement
    found: tuple[Found, ...]
    course: str
    offset_cents: float
    folder: Path | None
    fretted_alike: bool = False


@dataclass(frozen=True)
class _Source:
    """The sound files in playing order, what the instrument is, and where a folder may be written."""

    files: tuple[Path, ...]
    beside: Path
    settings: str
    instrument: Instrument


def measure_memo(
    paths: Sequence[Path],
    *,
    kind: str | None = None,
    scale_mm: float | None = None,
    tuning: str | None = None,
    course: str | None = None,
    progress: Progress | None = None,
    workers: int = 1,
) -> MemoMeasured:
    """Measure an instrument from recordings of unnamed plucks.

    Parameters
    ----------
    paths : sequence of Path
        Recordings in playing order, or one folder of them. One made behind a capo says so in its name, like
        "memo capo 2.m4a".
    kind : str, optional
        Kind of instrument; may be left out where the folder holds a ``session.toml``.
    scale_mm : float, optional
        Scale length; the usual one of its kind by default. [mm]
    tuning : str, optional
        Notes of the open strings, the last string first, with or without octave: "D A D G A D".
    course : str, optional
        "presses" or "frets": what was played.
    progress : Progress, optional
    workers : int >= 1
        Processes that read sound at once, as for ``measure_folder``.

    Returns
    -------
    MemoMeasured

    Raises
    ------
    BadValue
        If an argument cannot be used.
    NothingMeasured
        If a recording cannot be read, or cannot be labelled.
    """
    source = _find_source(paths, kind=kind, scale_mm=scale_mm, tuning=tuning)
    found, labelling = _label(source, course=course, progress=progress)
    rows = _rows(found)
    used = {row.file for row in rows}
    settings = _settings_as_tuned(source, labelling.shifts)
    texts = {"settings": settings, "takes": memo_takes_text(rows)}
    sounds_used = [file for file in source.files if file.name in used]
    folder: Path | None
    try:
        folder = write_memo_folder(source.beside, sounds=sounds_used, **texts)
        measurement = measure_folder(folder, progress=progress, workers=workers)
    except OSError:
        folder = None
        with tempfile.TemporaryDirectory() as scratch:
            fill(Path(scratch), sounds=sounds_used, **texts)
            measurement = measure_folder(Path(scratch), progress=progress, workers=workers)
    problems = (*measurement.problems, *_doubtful(found))
    measurement = replace(measurement, problems=problems)
    alike = course is None and _fretted_alike([one.label for one in found])
    return MemoMeasured(measurement, found, labelling.course, labelling.offset_cents, folder, alike)


def _label(
    source: _Source, *, course: str | None, progress: Progress | None
) -> tuple[tuple[Found, ...], Labelling]:
    """Return every sound with its label, and the labelling of what was recorded with the lowest capo."""
    sounds, places = _listen(source, progress=progress)
    labels: dict[int, Label] = {}
    labellings: list[Labelling] = []
    for capo in sorted({capo_of(file) for file in source.files}):
        which = [i for i, (file, _) in enumerate(places) if capo_of(file) == capo]
        labelling = label_sounds(
            [sounds[i] for i in which],
            instrument=behind_capo(source.instrument, capo),
            courses=prefer(COURSES, course),
            told=course,
        )
        _check(labelling, source)
        labellings.append(labelling)
        found_here = (on_whole_neck(label, capo) for label in labelling.labels)
        labels.update(zip(which, found_here, strict=True))
    found = tuple(
        Found(file.name, replace(labels[i], sound=_moved(labels[i].sound, -start)))
        for i, (file, start) in enumerate(places)
    )
    return found, labellings[0]


def _fretted_alike(labels: Sequence[Label]) -> bool:
    """Whether only presses were named, and a finger might have sharpened them as much."""
    stopped = [
        label for label in labels if label.sure and label.position and label.position.stop is not Stop.OPEN
    ]
    if any(label.position is not None and label.position.stop is Stop.FRET for label in stopped):
        return False
    finger = [label.other_belief for label in stopped if label.other and label.other.stop is Stop.FRET]
    return 2 * len(finger) > len(stopped) and min(finger) > ALIKE


def _find_source(
    paths: Sequence[Path], *, kind: str | None, scale_mm: float | None, tuning: str | None
) -> _Source:
    """Return the recordings and the instrument."""
    folder = paths[0] if len(paths) == 1 and paths[0].is_dir() else None
    files = sound_files(folder) if folder is not None else tuple(paths)
    names = [file.name for file in files]
    if len(set(names)) < len(names):
        raise BadValue("two of the recordings have the same name. Give each its own name.")
    for path in files:
        if not path.is_file():
            limit, action = "there is no such file", "Check the name."
            raise NothingMeasured(
                f"{path}: {limit}. {action}", [Problem(str(path), None, None, None, limit, action)]
            )
    own = folder / SETTINGS if folder is not None else None
    if own is not None and own.exists() and kind is None:
        text = _own_text(own)
        if tuning is not None:
            text = retuned_text(text, tuning, name=SETTINGS)
    elif kind is not None:
        text = settings_of_kind(kind, scale_mm=scale_mm, tuning=tuning)
    else:
        raise BadValue(
            "a recording alone does not say what is played on. Add --kind, like: "
            f'pitchcheck measure "{paths[0]}" --kind electric'
        )
    instrument = parse_settings(text, name=SETTINGS).settings.instrument
    return _Source(files, folder or files[0], text, instrument)


def _own_text(path: Path) -> str:
    """Return the settings of a folder as they stand."""
    read_settings(path.parent)  # finds every fault
    return path.read_text(encoding="utf-8-sig")


def _settings_as_tuned(source: _Source, shifts: Mapping[int, int]) -> str:
    """Return the settings with the notes of strings that are tuned apart from the others."""
    if not shifts:
        return source.settings
    ranked = sorted(source.instrument.strings, key=lambda spec: -spec.number)
    tuning = " ".join(shift_note(spec.note, shifts.get(spec.number, 0)) for spec in ranked)
    return retuned_text(source.settings, tuning, name=SETTINGS)


def _listen(source: _Source, *, progress: Progress | None) -> tuple[list[Sound], list[tuple[Path, float]]]:
    """Return all sounds in order, and for each its file and when that file begins in the whole. [s]"""
    sounds: list[Sound] = []
    places: list[tuple[Path, float]] = []
    start_s = 0.0
    for number, file in enumerate(source.files):

        def tell(part: float, number: int = number) -> None:
            if progress is not None:
                progress(int(100 * (number + part)), 100 * len(source.files), "finding the plucks")

        try:
            recording = read_recording(file)
        except Unsound as fault:
            problem = Problem(file.name, None, None, None, fault.limit, fault.action)
            raise NothingMeasured(problem.sentence(), [problem]) from fault
        here = find_sounds(recording.samples, rate_hz=recording.rate_hz, tell=tell)
        sounds += [_moved(sound, start_s) for sound in here]
        places += [(file, start_s)] * len(here)
        start_s += recording.duration_s
    return sounds, places


def _check(labelling: Labelling, source: _Source) -> None:
    """Raise NothingMeasured for a labelling that is not honest."""
    reason = find_refusal(labelling)
    if reason is None:
        return
    limit, action = words.refusal(reason)
    problem = Problem(source.beside.name, None, None, None, limit, action)
    raise NothingMeasured(problem.sentence(), [problem])


def _rows(found: Sequence[Found]) -> list[TakeRow]:
    """Return a row for every pluck that is sure."""
    rows: list[TakeRow] = []
    for one in found:
        label = one.label
        if not label.sure or label.position is None:
            continue
        start_s = max(0.0, label.sound.onset_s - LEAD_S)
        end_s = min(label.sound.end_s, label.sound.onset_s + LONGEST_TAKE_S)
        if end_s - TAIL_S - label.sound.onset_s > LEAST_TAKE_S:
            end_s -= TAIL_S
        rows.append(TakeRow(len(rows) + 1, one.file, label.position, start_s, end_s))
    return rows


def _doubtful(found: Sequence[Found]) -> list[Problem]:
    """Return what was left out though it sounds like a pluck."""
    return [
        Problem(
            one.file,
            None,
            "start_s",
            words.clock(one.label.sound.onset_s),
            words.heard(one.label),
            "If it was a take, add a row for it to takes.csv and measure the folder.",
        )
        for one in found
        if one.label.torn or one.label.strange
    ]


def _moved(sound: Sound, by_s: float) -> Sound:
    """Return a sound at another time."""
    return replace(sound, onset_s=sound.onset_s + by_s, end_s=sound.end_s + by_s)
