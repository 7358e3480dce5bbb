"""Recordings dropped on the page: kept, labelled, shown beside their sound, and corrected by hand.

Conventions: what is dropped is kept under names of our own in a folder of its own; its bytes say what it is,
and the loader that reads every recording judges it. Times are seconds from the first sample of a file.
"""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from io import StringIO
from itertools import pairwise
from pathlib import Path
from typing import IO

import numpy as np

from pitchcheck.audio.faults import Unsound
from pitchcheck.audio.recording import read_recording
from pitchcheck.errors import BadValue
from pitchcheck.recorder.disk import copy_aside
from pitchcheck.session.folder import read_session
from pitchcheck.session.limits import HIGHEST_FRET
from pitchcheck.session.new_folder import with_choices
from pitchcheck.session.paths import inside
from pitchcheck.session.rows import TAKES, TakeRow
from pitchcheck.session.settings import SETTINGS
from pitchcheck.store.files import write_whole
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray

COLUMNS = 900  # of a picture
MARK_PX = 46.0  # that the name of a take needs
WIDEST_PX = 12_000.0
PICTURE_HEIGHT = 80.0
SHOWN_FRETS = (1, 2, 3, 4, 5, 7, 12)
_PLAIN = re.compile(r"[^A-Za-z0-9._-]+")


@dataclass(frozen=True)
class TakeMark:
    """One take on a picture: where it lies, 0 to 1000 across."""

    number: int
    left: float
    width: float
    name: str
    short: str


@dataclass(frozen=True)
class SoundPicture:
    """One recording: its outline as an SVG path 1000 wide, and its takes."""

    file: str
    seconds: float
    outline: str
    marks: tuple[TakeMark, ...]
    wide: float  # [px] at which the names of the takes do not meet


@dataclass(frozen=True)
class TakesView:
    """What was found where: pictures, and rows to be corrected."""

    pictures: tuple[SoundPicture, ...]
    rows: tuple[TakeRow, ...]
    strings: tuple[tuple[int, str], ...]
    stops: tuple[str, ...]
    frets: tuple[int, ...]
    height: float


def keep_uploads(root: Path, name: str, files: Sequence[tuple[str, IO[bytes]]]) -> tuple[Path, ...]:
    """Keep recordings that came from elsewhere in a folder of their own; return their paths, in order.

    Parameters
    ----------
    root : Path
        The bench's folder.
    name : str
        Of a new folder for the recordings, checked.
    files : sequence of (str, binary file)
        Names as they were given, and contents.

    Raises
    ------
    BadValue
        If there is no file, or the name is taken.
    """
    if not files:
        raise BadValue("No recording was chosen. Drop one or more sound files.")
    folder = root / name
    if folder.exists():
        raise BadValue(f"{name} is there already. Choose another name.")
    folder.mkdir(parents=True)
    paths = []
    for number, (given, content) in enumerate(files, 1):
        path = folder / _own_name(number, given)
        with path.open("xb") as kept:
            shutil.copyfileobj(content, kept)
        paths.append(path)
    return tuple(paths)


@dataclass(frozen=True)
class MemoWish:
    """What is said of recordings; None is "not said". ``tuning`` and ``course`` as for ``measure_memo``."""

    kind: str | None = None
    scale_mm: float | None = None
    scale: str | None = None  # the same as it was said: lengths are shown in its unit
    tuning: str | None = None
    course: str | None = None


def measure_kept(paths: Sequence[Path], said: MemoWish) -> Path:
    """Find out what was played in kept recordings, and measure; return the session's folder, NAME-takes.

    Parameters
    ----------
    paths : sequence of Path
        What ``keep_uploads`` returned.
    said : MemoWish

    Raises
    ------
    NothingMeasured
        If a recording cannot be read or labelled; the reason says why. What was kept stays.
    """
    from pitchcheck.workflow.memo import measure_memo

    folder = paths[0].parent
    found = measure_memo(
        paths if len(paths) == 1 else [folder],
        kind=said.kind,
        scale_mm=said.scale_mm,
        tuning=said.tuning,
        course=said.course,
    )
    if found.folder is None:
        raise BadValue(f"nothing can be written beside {folder.name}. Make room, or check the folder.")
    settings = found.folder / SETTINGS
    text = with_choices(settings.read_text(encoding="utf-8"), scale=said.scale)
    write_whole(settings, text.encode("utf-8"))
    if found.folder.parent != folder.parent:
        return _move_up(found.folder, folder.parent)
    return found.folder


def takes_view(folder: Path) -> TakesView:
    """Return the takes of a session beside the sound they lie in."""
    session = read_session(folder)
    rows = session.takes
    pictures = tuple(_picture(folder, file, rows) for file in dict.fromkeys(row.file for row in rows))
    strings = session.settings.instrument.strings
    return TakesView(
        pictures,
        rows,
        tuple(sorted((spec.number, spec.note) for spec in strings)),
        tuple(stop.value for stop in Stop if stop is not Stop.LEAF),
        tuple(sorted({*SHOWN_FRETS, *(r.position.fret for r in rows if r.position.fret is not None)})),
        PICTURE_HEIGHT,
    )


def correct_takes(folder: Path, changed: Mapping[str, str]) -> None:
    """Write the list of takes with corrected places; the list as it was is kept in ``set-aside/``.

    Parameters
    ----------
    folder : Path
    changed : mapping of str to str
        ``use-N``, ``string-N``, ``stop-N`` and ``fret-N`` of row N.

    Raises
    ------
    BadValue
        If a place cannot be.
    """
    session = read_session(folder)
    known = {spec.number for spec in session.settings.instrument.strings}
    rows = [
        row if row.position.stop is Stop.LEAF else replace(row, position=_place(row, changed, known))
        for row in session.takes
        if f"use-{row.row}" in changed
    ]
    if not rows:
        raise BadValue("No take is left. Keep at least one.")
    copy_aside(folder / TAKES)
    write_whole(folder / TAKES, _takes_text(rows).encode("utf-8"))


def _place(row: TakeRow, changed: Mapping[str, str], known: set[int]) -> Position:
    """Return the corrected place of one take."""
    string = _number(changed.get(f"string-{row.row}", ""))
    if string not in known:
        raise BadValue(f"Take {row.row} has a string that the instrument has not. Correct it.")
    try:
        stop = Stop(changed.get(f"stop-{row.row}", ""))
    except ValueError as error:
        raise BadValue(f"Take {row.row} is neither open, fret nor press. Correct it.") from error
    if stop is Stop.OPEN:
        return Position(string, stop, None, row.position.capo)
    fret = _number(changed.get(f"fret-{row.row}", ""))
    if not 1 <= fret <= HIGHEST_FRET:
        raise BadValue(f"Take {row.row} needs its fret, 1 to {HIGHEST_FRET}. Correct it.")
    return Position(string, stop, fret, row.position.capo)


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0


def _takes_text(rows: Sequence[TakeRow]) -> str:
    out = StringIO()
    lines = csv.writer(out, lineterminator="\n")
    lines.writerow(("file", "string", "stop", "fret", "capo", "leaf", "start_s", "end_s"))
    for row in rows:
        place = row.position
        leaf = "" if place.leaf_mm is None else f"{place.leaf_mm:g} mm"
        times = ["" if t is None else f"{t:.3f}" for t in (row.start_s, row.end_s)]
        fret = "" if place.fret is None else place.fret
        lines.writerow((row.file, place.string, place.stop.value, fret, place.capo, leaf, *times))
    return out.getvalue()


def _own_name(number: int, given: str) -> str:
    """Return a name of our own for a file: its number, what is plain of its name, an ending we know."""
    from pitchcheck.workflow.memo_files import SOUND_ENDINGS

    path = Path(given.replace("\\", "/")).name
    suffix = Path(path).suffix.lower()
    stem = _PLAIN.sub("-", Path(path).stem).strip(".-")[:40] or "recording"
    return f"{number:02d}-{stem}{suffix if suffix in SOUND_ENDINGS else '.wav'}"


def _move_up(folder: Path, root: Path) -> Path:
    """Move the session that was written beside a recording up to the other sessions."""
    name, count = f"{folder.parent.name}-takes", 1
    while (root / name).exists():
        count += 1
        name = f"{folder.parent.name}-takes-{count}"
    return folder.rename(root / name)


def _picture(folder: Path, file: str, rows: Sequence[TakeRow]) -> SoundPicture:
    """Return the outline of a file with the takes that lie in it."""
    path = inside(folder, file)
    try:
        if path is None or not path.is_file():
            raise Unsound("it is not there", "Put it back.")
        recording = read_recording(path)
    except Unsound:
        return SoundPicture(file, 0.0, "", (), 0.0)
    seconds = max(recording.duration_s, 1e-3)
    marks = []
    for row in rows:
        if row.file == file:
            start, end = row.start_s or 0.0, seconds if row.end_s is None else row.end_s
            left, width = 1000 * start / seconds, max(1000 * (end - start) / seconds, 2.0)
            marks.append(TakeMark(row.row, left, width, row.position.words(), _short(row.position)))
    close = min((b.left - a.left for a, b in pairwise(marks)), default=1000.0)
    wide = min(max(1000.0, 1000 * MARK_PX / max(close, 1e-3)), WIDEST_PX)
    return SoundPicture(file, seconds, _outline(np.asarray(recording.samples)), tuple(marks), wide)


def _short(place: Position) -> str:
    """Return a place as it fits under a picture: ``6 open``, ``6 pr 1``, ``6 fr 2``."""
    return (
        f"{place.string} open"
        if place.fret is None
        else f"{place.string} {place.stop.value[:2]} {place.fret}"
    )


def _outline(samples: FloatArray) -> str:
    """Return the outline of a sound as an SVG path, loudest sample at full height."""
    step = max(1, samples.size // COLUMNS)
    count = samples.size // step
    peaks = np.abs(samples[: count * step]).reshape(count, step).max(axis=1) if count else np.zeros(1)
    half = PICTURE_HEIGHT / 2
    tall = half * np.sqrt(peaks / max(float(peaks.max()), 1e-9))  # quiet notes are still seen
    across = np.linspace(0, 1000, peaks.size)
    top = " ".join(f"{x:.0f},{half - y:.1f}" for x, y in zip(across, tall, strict=True))
    low = " ".join(f"{x:.0f},{half + y:.1f}" for x, y in zip(across[::-1], tall[::-1], strict=True))
    return f"{top} {low}"
