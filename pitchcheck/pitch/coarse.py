"""The coarse note: which stiff harmonic series explains the peaks of a spectrum best.

A series is a fundamental and a stiffness B; partial k lies at k f sqrt(1 + B k^2) (Fletcher 1964). Scores are
shares of the peaks' compressed amplitudes, 0 to 1.
"""

from __future__ import annotations

import bisect
import math
import statistics
from dataclasses import dataclass

import numpy as np

from pitchcheck.pitch.peaks import LOWEST_HZ, Peaks
from pitchcheck.types import FloatArray

HIGHEST_NOTE_HZ = 1700.0  # [Hz] above mandolin E6 at 1319 Hz
PARTIALS = 40  # highest partial matched
LOOSE = 0.008  # relative distance at which a peak still belongs to a partial (14 cents)
# greatest B followed; a bass B string stopped at fret 21 reaches 3.5e-3 (Kemp 2020)
MOST_INHARMONICITY = 4e-3
COMPRESS = 0.5  # exponent of the amplitudes: loud partials count, but do not decide alone
TRIED = 20  # candidates followed up
GAP = 8  # partials in a row that may be silent
FAVOUR = 0.02  # relative distance by which the strongest peak may lie further off than a faint one
ASTRAY = 0.06  # relative distance from the first guess at which a fit has gone astray


@dataclass(frozen=True)
class Series:
    """A harmonic series through the peaks.

    Attributes
    ----------
    hz : float
        Fundamental of the stiff law. [Hz]
    inharmonicity : float
        B. [-]
    score : float
        Share of the compressed peak amplitudes explained.
    matched : array of bool, shape (peaks,)
    highest : int
        Number of the highest partial matched.
    """

    hz: float
    inharmonicity: float
    score: float
    matched: np.ndarray
    highest: int

    @property
    def inharmonicity_sd(self) -> float:
        """Uncertainty of ``inharmonicity``: what moves the highest partial by the distance allowed."""
        return 2 * LOOSE / self.highest**2


def match_series(peaks: Peaks, hz: float) -> Series:
    """Follow a series up from a rough fundamental, learning the stiffness on the way.

    Parameters
    ----------
    peaks : Peaks
    hz : float > 0
        Fundamental, right to about 3 %. [Hz]
    """
    weight = peaks.amplitude**COMPRESS
    return _follow(_Ladder(peaks, weight), hz)


class _Ladder:
    """Peaks as plain lists, with which single steps are quicker than with arrays."""

    def __init__(self, peaks: Peaks, weight: FloatArray) -> None:
        self.hz: list[float] = peaks.hz.tolist()
        self.weight: list[float] = weight.tolist()
        self.favour: list[float] = (FAVOUR * weight / weight.max()).tolist()
        self.total = float(weight.sum())
        self.width_hz = peaks.width_hz

    def nearest(self, hz: float, *, loose: float, taken: set[int]) -> int | None:
        """Peak nearest to ``hz``, the stronger of two near by; None when it lies further than ``loose``."""
        at = bisect.bisect_left(self.hz, hz)
        low, high = at - 1, at
        while low in taken:
            low -= 1
        while high in taken:
            high += 1
        below = hz - self.hz[low] if low >= 0 else math.inf
        above = self.hz[high] - hz if high < len(self.hz) else math.inf
        if min(below, above) > loose:
            return None
        reach = min(below, above) + FAVOUR * hz  # from further off none can win
        best, least = None, math.inf
        for i in range(bisect.bisect_left(self.hz, hz - reach), bisect.bisect_right(self.hz, hz + reach)):
            if i not in taken:
                distance = abs(self.hz[i] - hz)
                if distance - hz * self.favour[i] < least:
                    best, least = i, distance - hz * self.favour[i]
        return best if best is not None and abs(self.hz[best] - hz) <= loose else None


def _follow(ladder: _Ladder, hz: float) -> Series:
    """Follow one series up."""
    taken: set[int] = set()
    first, inharmonicity = hz, 0.0
    line = _Line(hz)
    missing, highest = 0, 1
    last_hz = ladder.hz[-1] * 1.03
    for k in range(1, PARTIALS + 1):
        predicted = k * first * math.sqrt(1 + inharmonicity * k * k)
        if predicted > last_hz or missing > GAP:
            break
        # before the stiffness is known a partial may lie sharp by what a stiff string could do since the last
        loose = predicted * (LOOSE if len(taken) > 2 else 0.02) + 0.5 * ladder.width_hz
        peak = ladder.nearest(predicted, loose=min(loose, 0.35 * first), taken=taken)
        if peak is None:
            missing += 1
            continue
        missing, highest = 0, k
        taken.add(peak)
        line.add(k, ladder.hz[peak], strength=ladder.weight[peak])
        first, inharmonicity = line.fit()
    matched = np.zeros(len(ladder.hz), dtype=bool)
    matched[list(taken)] = True
    share = sum(ladder.weight[i] for i in taken) / ladder.total
    return Series(first, inharmonicity, share, matched, highest)


class _Line:
    """A straight line (f_k / k)^2 = f^2 (1 + B k^2) in k^2; weights grow with k^2."""

    def __init__(self, guess: float) -> None:
        self.guess = guess
        self.count = 0
        self.total = self.k2 = self.k4 = self.y = self.k2_y = 0.0  # y counts from guess^2

    def add(self, k: int, hz: float, *, strength: float) -> None:
        """Add partial ``k``."""
        k2 = k * k
        weight, y = strength * k2, (hz / k) ** 2 - self.guess**2
        self.count += 1
        self.total += weight
        self.k2 += weight * k2
        self.k4 += weight * k2 * k2
        self.y += weight * y
        self.k2_y += weight * k2 * y

    def fit(self) -> tuple[float, float]:
        """Fundamental and inharmonicity; the guess where the line has gone astray."""
        mean_k2, mean_y = self.k2 / self.total, self.y / self.total
        spread = self.k4 / self.total - mean_k2 * mean_k2
        square = mean_y + self.guess**2
        if self.count < 3 or spread <= 0:
            return math.sqrt(square), 0.0
        slope = (self.k2_y / self.total - mean_k2 * mean_y) / spread
        inharmonicity = min(max(slope / max(square - slope * mean_k2, 1e-9), 0.0), MOST_INHARMONICITY)
        first = math.sqrt(square / (1 + inharmonicity * mean_k2))
        if abs(first / self.guess - 1) > ASTRAY:
            return self.guess, 0.0
        return first, inharmonicity


def candidates(peaks: Peaks) -> FloatArray:
    """Fundamentals that would put one of the stronger peaks on a low partial. [Hz]"""
    strong = peaks.hz[np.argsort(-peaks.amplitude)[:8]]
    low = peaks.hz[:4]
    tops = np.unique(np.concatenate([strong, low]))
    notes = np.concatenate([tops / n for n in range(1, 9)] + [np.diff(np.sort(strong))])
    notes = np.sort(notes[(notes > LOWEST_HZ) & (notes < HIGHEST_NOTE_HZ)])
    if notes.size == 0:
        return notes
    keep = np.concatenate([[True], np.diff(np.log(notes)) > 0.003])
    return np.asarray(notes[keep])


def promising(peaks: Peaks, notes: FloatArray) -> FloatArray:
    """Candidates near whose partials more peaks lie than chance would put there, best first. [Hz]"""
    if notes.size <= TRIED:
        return notes
    weight = peaks.amplitude**COMPRESS
    best = np.zeros(notes.size)
    for inharmonicity in (0.0, 1e-4, 6e-4):
        rough = peaks.hz / notes[:, None]
        number = np.round(rough / np.sqrt(1 + inharmonicity * rough**2)).clip(1)
        away = np.abs(rough / (number * np.sqrt(1 + inharmonicity * number**2)) - 1)
        loose = 1.5 * LOOSE + 0.5 * peaks.width_hz / peaks.hz
        chance = np.minimum(2 * loose * number, 0.9)
        hit = ((away < loose) - chance) / (1 - chance)
        hits = away < loose
        filled = hits.sum(axis=1) / np.maximum(np.max(np.where(hits, number, 1.0), axis=1), 3.0)
        best = np.maximum(best, (np.maximum(hit, -0.3) @ weight) * np.sqrt(np.minimum(filled, 1.0)))
    return np.asarray(notes[np.argsort(-best)[:TRIED]])


def find_series(peaks: Peaks) -> tuple[Series, ...]:
    """Series that explain the peaks, best first; the first is the note.

    Returns
    -------
    tuple of Series
        At most six. Empty when there is no peak.
    """
    if peaks.hz.size == 0:
        return ()
    ladder = _Ladder(peaks, peaks.amplitude**COMPRESS)
    all_series = [_follow(ladder, hz) for hz in promising(peaks, candidates(peaks)).tolist()]
    if not all_series:
        return ()
    best = max(series.score for series in all_series)
    # a sub-octave explains everything its octave does: among near-equals the fewest silent partials win
    ranked = sorted(all_series, key=lambda s: -_merit(s, peaks))
    good = [s for s in ranked if s.score > 0.4 * best]
    distinct: list[Series] = []
    for series in good:
        if all(abs(np.log(series.hz / other.hz)) > 0.01 for other in distinct):
            distinct.append(series)
    return tuple(distinct[:6])


def _merit(series: Series, peaks: Peaks) -> float:
    """Score less a toll for partials that should be there and are silent."""
    hits = peaks.hz[series.matched].tolist()
    if not hits:
        return 0.0
    numbers = sorted(
        {round(n / math.sqrt(1 + series.inharmonicity * n * n)) for n in (h / series.hz for h in hits)}
    )
    reach = max(statistics.median(numbers) * 1.5, 1.0)
    filled = bisect.bisect_right(numbers, reach) / reach
    return float(series.score * min(1.0, 0.35 + filled) ** 0.5)
