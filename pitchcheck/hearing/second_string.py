"""A second string in the sound: do peaks that the note leaves over lie where another string puts its own?

Conventions: amplitudes relative to the strongest peak of the note; the partials of a note lie at
f_k = k hz sqrt(1 + B k^2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.pitch.coarse import Series, find_series, match_series
from pitchcheck.pitch.peaks import Peaks
from pitchcheck.pitch.second_note import ITSELF, belongs, on_mains
from pitchcheck.types import BoolArray
from pitchcheck.units import CENTS_PER_LOG

TOO_LOUD_SHARE = 0.11  # -19 dB; single notes, recorded and simulated, leave nothing above 0.03 (ours)
FAINT_SHARE = 0.05  # peaks below do not count
FEWEST = 2  # peaks that make a known string
FIRST_PARTIALS = np.arange(1, 7)
FEWEST_PRESENT = 4  # of the first six: a note an octave up leaves half of them out
FEWEST_UNKNOWN = 4  # peaks that make a note of no known string
UNKNOWN_SHARE = 0.3
PRESENT_NEAR = 0.012  # relative distance within which a peak may be that partial (20 cents)
NEAR_CENTS = 60.0  # a string may be so far off its note
HUM_SHARE = 0.12  # of the loudest peak: louder it may as well be a string
HUM_TOP_HZ = 1000.0
STANDS_OUT = 2.2  # how far a higher string lifts the partials it shares with a lower one (ours)
EXCLUSIVE = 0.3  # share above which a lower note has partials that only it explains
SHORT_SCORE = 0.6  # of a sound too short to be read, a note explains so much of the peaks
SHORT_PARTIALS = 4
SERIES_SCORE = 0.2  # share of the peaks that a note must explain to be there at all


@dataclass(frozen=True)
class PartialSeries:
    """Where the partials of a note lie. [Hz, -]"""

    hz: float
    inharmonicity: float


@dataclass(frozen=True)
class SecondString:
    """Another string that sounds along; ``string`` is None when it is none of the open ones."""

    string: int | None
    hz: float
    share: float


def find_second_string(
    peaks: Peaks, note: PartialSeries, *, strings: Sequence[tuple[int, float]]
) -> SecondString | None:
    """Find another string beside a note.

    Parameters
    ----------
    peaks : Peaks
    note : PartialSeries
        Where its own partials lie.
    strings : sequence of (int, float)
        Number and pitch of what may ring along. [Hz]

    Returns
    -------
    SecondString or None
        The loudest above TOO_LOUD_SHARE; None when there is none.
    """
    mine = belongs(peaks, hz=note.hz, inharmonicity=note.inharmonicity)
    if not mine.any():
        return None
    loudest = float(peaks.amplitude[mine].max())
    left = ~mine & ~_hum(peaks) & (peaks.amplitude > FAINT_SHARE * loudest)
    rest = Peaks(peaks.hz[left], peaks.amplitude[left], peaks.width_hz)
    found: list[SecondString] = []
    for string, hz in strings:
        if rest.hz.size < FEWEST or abs(np.log(hz / note.hz)) < ITSELF:
            continue
        series = match_series(rest, hz)
        off = abs(CENTS_PER_LOG * float(np.log(series.hz / hz)))
        if np.count_nonzero(series.matched) < FEWEST or off > NEAR_CENTS:
            continue
        if _present(peaks, PartialSeries(series.hz, series.inharmonicity)) < FEWEST_PRESENT:
            continue
        found.append(SecondString(string, series.hz, float(rest.amplitude[series.matched].max()) / loudest))
    if not found and rest.hz.size >= FEWEST_UNKNOWN:
        found = _unknown(rest, note, loudest)
    best = max(found, key=lambda second: second.share, default=None)
    return best if best is not None and best.share > TOO_LOUD_SHARE else None


def fit_series(peaks: Peaks, *, low_hz: float, high_hz: float) -> PartialSeries | None:
    """Return the partials of a note between two pitches, if one explains enough of the peaks."""
    best = _best_series(peaks, low_hz=low_hz, high_hz=high_hz)
    return None if best is None or best.score < SERIES_SCORE else PartialSeries(best.hz, best.inharmonicity)


def holds_note(peaks: Peaks, *, low_hz: float, high_hz: float) -> bool:
    """Whether the peaks of a short sound are those of a note between two pitches, and of little else."""
    best = _best_series(peaks, low_hz=low_hz, high_hz=high_hz)
    if best is None or best.score < SHORT_SCORE:
        return False
    return int(np.count_nonzero(best.matched)) >= SHORT_PARTIALS


def _best_series(peaks: Peaks, *, low_hz: float, high_hz: float) -> Series | None:
    best = None
    for number in range(1, 5):
        near = peaks.hz / number
        for hz in near[(near > low_hz) & (near < high_hz)]:
            series = match_series(peaks, float(hz))
            if low_hz < series.hz < high_hz and (best is None or series.score > best.score):
                best = series
    return best


def split_fraction(
    peaks: Peaks, whole: PartialSeries, upper: PartialSeries, *, strings: Sequence[tuple[int, float]]
) -> SecondString | None:
    """Tell a lower note from two strings that only together look like one.

    Parameters
    ----------
    peaks : Peaks
    whole : PartialSeries
        The low note that was read.
    upper : PartialSeries
        The note asked for, which lies on a partial of the low one.
    strings : sequence of (int, float)
        What may ring along. [Hz]

    Returns
    -------
    SecondString or None
        None when the low note is really there alone.
    """
    part = round(upper.hz / whole.hz)
    second = find_second_string(peaks, upper, strings=strings)
    if second is None:
        return None
    if abs(np.log(second.hz / whole.hz)) < ITSELF:
        return second if _stands_out(peaks, whole, part) else None
    mine = belongs(peaks, hz=upper.hz, inharmonicity=upper.inharmonicity)
    other = belongs(peaks, hz=second.hz, inharmonicity=whole.inharmonicity * (second.hz / whole.hz) ** 2)
    alone = ~mine & ~other & ~_hum(peaks)
    loudest = float(peaks.amplitude[mine].max())
    return second if float(peaks.amplitude[alone].max(initial=0.0)) < EXCLUSIVE * loudest else None


def _stands_out(peaks: Peaks, whole: PartialSeries, part: int) -> bool:
    """Whether every ``part``-th partial is louder than its neighbours, as by a string of its own."""

    def size(number: int) -> float:
        hz = number * whole.hz * np.sqrt(1 + whole.inharmonicity * number**2)
        near = np.abs(peaks.hz - hz) < 0.01 * hz + peaks.width_hz
        return float(peaks.amplitude[near].max(initial=0.0))

    floor = float(peaks.amplitude.max()) * FAINT_SHARE
    lifts = []
    for multiple in (1, 2):
        around = max(size(multiple * part - 1), size(multiple * part + 1), floor)
        lifts.append(size(multiple * part) / around)
    return float(np.sqrt(lifts[0] * lifts[1])) > STANDS_OUT


def _present(peaks: Peaks, note: PartialSeries) -> int:
    """How many of the first partials there is a peak for, its own or one it shares."""
    hz = FIRST_PARTIALS * note.hz * np.sqrt(1 + note.inharmonicity * FIRST_PARTIALS**2)
    away = np.abs(peaks.hz[None, :] - hz[:, None]) / hz[:, None]
    return int(np.count_nonzero(away.min(axis=1) < PRESENT_NEAR))


def _unknown(rest: Peaks, note: PartialSeries, loudest: float) -> list[SecondString]:
    """Another note that is none of the known strings: stopped by the other hand, or another instrument."""
    for series in find_series(rest)[:1]:
        share = float(rest.amplitude[series.matched].max()) / loudest
        itself = abs(np.log(series.hz / note.hz)) < ITSELF
        if np.count_nonzero(series.matched) >= FEWEST_UNKNOWN and share > UNKNOWN_SHARE and not itself:
            return [SecondString(None, series.hz, share)]
    return []


def _hum(peaks: Peaks) -> BoolArray:
    """Which peaks may be mains hum: weak, low, and on a harmonic of the mains. Shape (peaks,)."""
    weak = (peaks.amplitude < HUM_SHARE * peaks.amplitude.max()) & (peaks.hz < HUM_TOP_HZ)
    return np.asarray(weak & on_mains(peaks))
