"""Short sounds for a report: of each string the open note, then the first fret, cut to the notes.

Conventions: FLAC, one channel, 24 kHz, which every browser plays; before and after are cut alike.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import cache

import numpy as np

from pitchcheck.audio.files import Unsound, read_clip
from pitchcheck.clip import Clip
from pitchcheck.jobs.records import StoredPass
from pitchcheck.pitch.plucks import find_plucks
from pitchcheck.report.job.view import Snippet
from pitchcheck.session.paths import inside
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray
from pitchcheck.workflow.hear import Pass
from pitchcheck.workflow.jobs.result_file import stored_pass

RATE_HZ = 24_000  # [Hz] keeps what a small loudspeaker can give
NOTE_S = 1.1  # [s] of each note; our choice
LEAD_S = 0.03  # [s] before the pluck
FADE_S = 0.06  # [s] at the end of each note
GAP_S = 0.12  # [s] of silence between the two
PEAK = 0.7  # full scale 1
MOST_BYTES = 2_000_000  # of all sounds of a page together: with base64 2.7 MB, below the 3 MB of a page


def cut_snippets(
    strings: Sequence[tuple[int, str, StoredPass, StoredPass]], *, most: int
) -> tuple[Snippet, ...]:
    """Cut the sounds of some strings, in the order given, until there is room for no more.

    Parameters
    ----------
    strings : sequence of tuple
        Number, note, and the passes in which it is heard before and after; the most interesting first.
    most : int
        How many strings at most.

    Returns
    -------
    tuple of Snippet
        In order of string. A string whose sounds are missing in one pass is left out; none for readings.
    """
    found: list[Snippet] = []
    left = MOST_BYTES
    heard = cache(stored_pass)
    for number, note, before, after in strings:
        first, second = (_sound(heard(stored), number) for stored in (before, after))
        if first is None or second is None:
            continue
        left -= len(first) + len(second)
        if left < 0 or len(found) == most:
            break
        found.append(Snippet(number, note, first, second))
    return tuple(sorted(found, key=lambda s: s.number))


def _sound(heard: Pass, number: int) -> bytes | None:
    """Open string, then first fret, of one pass; None if either cannot be had."""
    notes = [_note(heard, Position(number, *place)) for place in ((Stop.OPEN,), (Stop.FRET, 1))]
    if notes[0] is None or notes[1] is None:
        return None
    samples = np.concatenate([notes[0], np.zeros(round(GAP_S * RATE_HZ)), notes[1]])
    return _flac(samples)


def _note(heard: Pass, position: Position) -> FloatArray | None:
    """First good take at a place, cut to its note, at the rate of all sounds."""
    session = heard.session
    good = {take.row for take in heard.takes if take.used and take.hz is not None}
    for row in session.takes:
        if row.position != position or row.row not in good:
            continue
        path = inside(session.folder, row.file)
        if path is None:
            continue
        try:
            return _cut(read_clip(path, start_s=row.start_s, end_s=row.end_s))
        except Unsound:
            continue
    return None


def _cut(clip: Clip) -> FloatArray:
    """One note from just before its pluck, faded out, as loud as the others."""
    from scipy.signal import resample_poly

    plucks = find_plucks(clip)
    start = max(0.0, plucks[0].onset_s - LEAD_S) if plucks else 0.0
    note = clip.between(start, start + NOTE_S)
    rate = round(note.rate_hz)
    common = int(np.gcd(RATE_HZ, rate))
    samples = np.asarray(resample_poly(note.samples - note.samples.mean(), RATE_HZ // common, rate // common))
    fade = min(samples.size, round(FADE_S * RATE_HZ))
    samples[samples.size - fade :] *= np.linspace(1.0, 0.0, fade)
    return np.asarray(samples * (PEAK / max(float(np.abs(samples).max()), 1e-9)))


def _flac(samples: FloatArray) -> bytes:
    """Return samples as a FLAC file."""
    import soundfile

    file = io.BytesIO()
    soundfile.write(file, samples, RATE_HZ, format="FLAC", subtype="PCM_16")
    return file.getvalue()
