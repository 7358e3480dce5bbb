"""Sounds of a recording, each with the notes it may be and what tells a plucked string from other sounds.

Conventions: times are seconds from the first sample of the recording; pitches in Hz, levels in dB.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pitchcheck.clip import Clip
from pitchcheck.memo.onsets import find_onsets
from pitchcheck.pitch.coarse import Series, find_series
from pitchcheck.pitch.peaks import find_peaks
from pitchcheck.units import cents_between

AFTER_S = 0.04  # [s] left out after the beginning: thump and the pick's noise
LOOK_S = 0.9  # [s] looked at for the note: longer hardly narrows it, and strings die away
SHORT_S = 0.25  # [s] a look shorter than this runs on over the next beginning
LEAST_S = 0.12  # [s] shorter sounds have no note
LOST_CENTS = 1200.0  # [cent] of a pitch that is not there again
MOST_NOTES = 4  # notes kept of one sound
COMB_S = 0.1  # [s] over which a note's partials are weighed before and after a beginning
COMB_PARTIALS = 10
BLOCK = 64  # samples; speed only
RANG_DB = 5.0  # [dB] a note whose partials rise by less rang already; plucks rise by 10 and more (ours)
LOOK_BACK, RINGS_S = 8, 8.0  # [s] sounds before it, and how long before, whose note may ring on
SAME_CENTS = 35.0  # [cent] two looks at one note differ by less
EARLY_S, LATE_S = 0.22, 0.5  # [s] looks for a pitch that moves
FALL_S = (0.06, 0.16, 0.36, 0.46)  # [s] two stretches between which a note's fall is measured


@dataclass(frozen=True)
class Note:
    """One note that a sound may be.

    Attributes
    ----------
    hz : float
        [Hz]
    inharmonicity, inharmonicity_sd : float
        [-]
    score : float
        Share of the peaks that it explains, 0 to 1.
    rise_db : float
        How far its partials rose at the beginning.
    fall_db_s : float
        How fast they fall. [dB/s]
    moved_cents : float
        How far the pitch moved between an early look and a later one; 1200 and more when it was lost.
    purity : float
        Share of the power that lies on its partials.
    """

    hz: float
    inharmonicity: float
    inharmonicity_sd: float
    score: float
    rise_db: float
    fall_db_s: float
    moved_cents: float
    purity: float


@dataclass(frozen=True)
class Sound:
    """A sound that was heard from its beginning.

    Attributes
    ----------
    onset_s, end_s : float
        Beginning, and that of the next sound or the end of the recording. [s]
    notes : tuple of Note
        Best first; empty for a noise.
    """

    onset_s: float
    end_s: float
    notes: tuple[Note, ...]

    @property
    def length_s(self) -> float:
        """From its beginning to its end. [s]"""
        return self.end_s - self.onset_s


def find_sounds(
    samples: npt.NDArray[np.floating], *, rate_hz: float, tell: Callable[[float], None] | None = None
) -> tuple[Sound, ...]:
    """Find the sounds of a recording, and the notes they may be.

    Parameters
    ----------
    samples : array, shape (n,)
        Full scale 1.
    rate_hz : float > 0
        [Hz]
    tell : callable, optional
        Told after every sound how much of the recording has been looked at, 0 to 1.

    Returns
    -------
    tuple of Sound
        In order. Beginnings after which only rings what rang before are left out.
    """
    whole = _Whole(samples, rate_hz)
    onsets = [float(t) for t in find_onsets(samples, rate_hz=rate_hz)]
    sounds = []
    for start, end in _stretches(onsets, whole):
        sounds.append(_describe(whole, start, end))
        if tell is not None:
            tell(end / whole.duration_s)
    fresh = [s.onset_s for i, s in enumerate(sounds) if not _rang(s, sounds[max(0, i - LOOK_BACK) : i])]
    if len(fresh) == len(onsets):
        return tuple(sounds)
    known = {(s.onset_s, s.end_s): s for s in sounds}
    again = _stretches(fresh, whole)
    return tuple(known.get(stretch) or _describe(whole, *stretch) for stretch in again)


@dataclass(frozen=True)
class _Whole:
    samples: npt.NDArray[np.floating]
    rate_hz: float

    @property
    def duration_s(self) -> float:
        return float(self.samples.size / self.rate_hz)

    def cut(self, start_s: float, end_s: float) -> Clip:
        first = max(0, round(start_s * self.rate_hz))
        last = min(self.samples.size, round(end_s * self.rate_hz))
        return Clip(self.samples[first : max(first, last)].astype(np.float64), self.rate_hz, start_s)


def _stretches(onsets: Sequence[float], whole: _Whole) -> list[tuple[float, float]]:
    """Return from each beginning to the next."""
    return list(zip(onsets, [*onsets[1:], whole.duration_s][: len(onsets)], strict=True))


def _rang(sound: Sound, before: Sequence[Sound]) -> bool:
    """Whether nothing began: the note of a sound before rings on."""
    if not sound.notes or sound.notes[0].rise_db > RANG_DB:
        return False
    still = [note.hz for note in sound.notes if note.rise_db <= RANG_DB]
    return any(
        abs(cents_between(other.notes[0].hz, hz)) < SAME_CENTS
        for other in before
        if other.notes and sound.onset_s - other.onset_s < RINGS_S
        for hz in still
    )


def _describe(whole: _Whole, start_s: float, end_s: float) -> Sound:
    """Look at one sound."""
    first = start_s + AFTER_S
    last = min(first + LOOK_S, max(end_s - 0.01, first + SHORT_S), whole.duration_s)
    if last - first < LEAST_S:
        return Sound(start_s, end_s, ())
    found = find_series(find_peaks(whole.cut(first, last)))[:MOST_NOTES]
    looks = _looks(whole, start_s) if found else ()
    return Sound(
        start_s, end_s, tuple(_note(whole, series, start_s=start_s, looks=looks) for series in found)
    )


def _note(whole: _Whole, series: Series, *, start_s: float, looks: Sequence[Sequence[Series]]) -> Note:
    """Describe one note of a sound that begins at ``start_s``."""
    before = _comb(whole, series, start_s - COMB_S - 0.02, start_s - 0.02)
    after = _comb(whole, series, start_s + AFTER_S, start_s + AFTER_S + COMB_S)
    fall = [_comb(whole, series, start_s + a, start_s + b) for a, b in (FALL_S[:2], FALL_S[2:])]
    moved = [min((abs(cents_between(series.hz, s.hz)) for s in look), default=LOST_CENTS) for look in looks]
    return Note(
        series.hz,
        series.inharmonicity,
        series.inharmonicity_sd,
        series.score,
        rise_db=_db(after[0]) - _db(before[0]),
        fall_db_s=(_db(fall[0][0]) - _db(fall[1][0])) / (FALL_S[2] - FALL_S[0]),
        moved_cents=max(moved, default=LOST_CENTS),
        purity=after[0] / max(after[1], 1e-15),
    )


def _comb(whole: _Whole, note: Series, start_s: float, end_s: float) -> tuple[float, float]:
    """Power on the note's partials, and all the power up to the last of them."""
    part = whole.cut(max(0.0, start_s), end_s)
    size = part.samples.size
    if size < 8:
        return 1e-12, 1e-12
    window = np.hanning(size)
    window /= window.sum()
    number = np.arange(1, COMB_PARTIALS + 1)
    hz = number * note.hz * np.sqrt(1 + note.inharmonicity * number**2)
    hz = hz[hz < 0.45 * whole.rate_hz]
    # each rotation as that of its block times that within a block: few exponentials
    rows = np.pad(part.samples * window, (0, -size % BLOCK)).reshape(-1, BLOCK)
    turn = -2j * np.pi * hz / whole.rate_hz
    within = np.exp(np.outer(np.arange(BLOCK), turn))
    starts = np.exp(np.outer(BLOCK * np.arange(len(rows)), turn))
    size_of = np.abs(np.sum((rows @ within) * starts, axis=0))
    power = float(np.sum(2 * size_of**2))
    total = float(np.sum(window * size * part.samples**2) / size)
    return max(power, 1e-15), max(total, 1e-15)


def _looks(whole: _Whole, start_s: float) -> list[tuple[Series, ...]]:
    """Return the series of an early and a late look, as far as the recording goes."""
    looks = []
    for a, b in ((AFTER_S, EARLY_S + AFTER_S), (EARLY_S, LATE_S)):
        part = whole.cut(start_s + a, start_s + b)
        if part.duration_s >= LEAST_S:
            looks.append(find_series(find_peaks(part)))
    return looks


def _db(power: float) -> float:
    return float(10 * np.log10(power))
