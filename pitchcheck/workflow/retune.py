"""``settle_tuning``: a session whose strings are all off their notes alike is measured as it is tuned."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

from pitchcheck.audio.faults import Unsound
from pitchcheck.audio.files import read_clip
from pitchcheck.pitch.coarse import find_series
from pitchcheck.pitch.peaks import find_peaks
from pitchcheck.pitch.plucks import find_plucks
from pitchcheck.retuning import common_offset, retune
from pitchcheck.session.folder import Session
from pitchcheck.session.paths import inside
from pitchcheck.session.rows import TakeRow
from pitchcheck.session.settings import SETTINGS
from pitchcheck.takes import Stop
from pitchcheck.words.tuning import retuned_words

AFTER_S, LOOK_S = 0.04, 0.9  # [s] after the beginning of a note, and how much of it is looked at
FIRST = 2  # open takes of each string looked at


def settle_tuning(session: Session) -> Session:
    """Return the session with the notes to which the strings are tuned, and a notice if they differ."""
    opens = _opens(session)
    instrument = session.settings.instrument
    offset = common_offset(opens, instrument=instrument)
    if offset is None:
        return session
    tuned = retune(instrument, offset)
    notice = f"{SETTINGS}: {retuned_words(tuned, offset)}"
    settings = replace(session.settings, instrument=tuned)
    return replace(session, settings=settings, notices=(*session.notices, notice))


def _opens(session: Session) -> dict[int, list[float]]:
    """Return pitches of the first open takes of every string. [Hz]"""
    found: dict[int, list[float]] = defaultdict(list)
    for reading in session.readings:
        if reading.position.stop is Stop.OPEN and not reading.position.capo:
            found[reading.position.string].append(reading.hz)
    for row in session.takes:
        number = row.position.string
        if row.position.stop is Stop.OPEN and not row.position.capo and len(found[number]) < FIRST:
            hz = _coarse_hz(session, row)
            if hz is not None:
                found[number].append(hz)
    return found


def _coarse_hz(session: Session, row: TakeRow) -> float | None:
    """Return the coarse pitch of a take, or None. [Hz]"""
    path = inside(session.folder, row.file)
    if path is None:
        return None
    try:
        clip = read_clip(path, start_s=row.start_s, end_s=row.end_s)
    except Unsound:
        return None  # named later, when the take is read
    plucks = find_plucks(clip)
    if not plucks:
        return None
    pluck = max(plucks, key=lambda p: p.end_s - p.onset_s)
    start_s = pluck.onset_s + AFTER_S
    part = clip.between(start_s, min(pluck.end_s, start_s + LOOK_S))
    series = find_series(find_peaks(part)) if part.duration_s > 0.1 else ()
    return series[0].hz if series else None
