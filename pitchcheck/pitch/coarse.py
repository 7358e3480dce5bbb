"""The coarse note: which stiff harmonic series explains the peaks of a spectrum best.

A series is a fundamental and a stiffness B; partial k lies at k f sqrt(1 + B k^2) (Fletcher 1964). Scores are
shares of the peaks' compressed amplitudes, 0 to 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import FloatArray
from pitchcheck.pitch.peaks import Peaks

HIGHEST_NOTE_HZ = 1700.0  # [Hz] above mandolin E6 at 1319 Hz
LOWEST_NOTE_HZ = 24.0  # [Hz] peaks.LOWEST_HZ
PARTIALS = 40  # highest partial matched
LOOSE = 0.008  # relative distance at which a peak still belongs to a partial (14 cents)
STIFFEST = 4e-3  # greatest B followed; a bass B string stopped at fret 21 reaches 3.5e-3 (Kemp 2020)
COMPRESS = 0.5  # exponent of the amplitudes: loud partials count, but do not decide alone
TRIED = 20  # candidates followed up
ASTRAY = 0.06  # relative distance from the first guess at which a fit has gone astray


@dataclass(frozen=True)
class Series:
    """A harmonic series through the peaks.

    Attributes
    ----------
    hz : float
        Fundamental of the stiff law. [Hz]
    stiffness : float
        B. [-]
    score : float
        Share of the compressed peak amplitudes explained.
    matched : array of bool, shape (peaks,)
    highest : int
        Number of the highest partial matched.
    """

    hz: float
    stiffness: float
    score: float
    matched: np.ndarray
    highest: int

    @property
    def stiffness_sd(self) -> float:
        """How far ``stiffness`` may be off: as much as moves the highest partial by the distance allowed."""
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
    matched = np.zeros(peaks.hz.size, dtype=bool)
    numbers: list[int] = []
    squares: list[float] = []
    strength: list[float] = []
    first, stiffness = hz, 0.0
    missing = 0
    hz_list, free = peaks.hz.tolist(), peaks.hz.copy()
    favour = 0.02 * weight / weight.max()  # of two peaks near by, the stronger
    for k in range(1, PARTIALS + 1):
        predicted = k * first * math.sqrt(1 + stiffness * k * k)
        if predicted > hz_list[-1] * 1.03 or missing > 8:
            break
        # before the stiffness is known a partial may lie sharp by what a stiff string could do since the last
        loose = predicted * (LOOSE if len(numbers) > 2 else 0.02) + 0.5 * peaks.width_hz
        loose = min(loose, 0.35 * first)
        distance = np.abs(free - predicted)
        nearest = int((distance - predicted * favour).argmin())
        if distance[nearest] > loose:
            missing += 1
            continue
        missing = 0
        matched[nearest] = True
        free[nearest] = 1e9
        numbers.append(k)
        squares.append((hz_list[nearest] / k) ** 2)
        strength.append(float(weight[nearest]))
        first, stiffness = _line(numbers, squares, strength, guess=hz)
    share = float(weight[matched].sum() / weight.sum())
    return Series(first, stiffness, share, matched, numbers[-1] if numbers else 1)


def _line(
    numbers: list[int], squares: list[float], strength: list[float], *, guess: float
) -> tuple[float, float]:
    """Fit (f_k / k)^2 = f^2 (1 + B k^2), a straight line in k^2; weights grow with k^2."""
    total = mean_k2 = mean_y = 0.0
    for k, y, w in zip(numbers, squares, strength, strict=True):
        weight = w * k * k
        total += weight
        mean_k2 += weight * k * k
        mean_y += weight * y
    mean_k2, mean_y = mean_k2 / total, mean_y / total
    spread = slope = 0.0
    for k, y, w in zip(numbers, squares, strength, strict=True):
        away = k * k - mean_k2
        spread += w * k * k * away * away
        slope += w * k * k * away * (y - mean_y)
    if len(numbers) < 3 or spread == 0:
        return math.sqrt(mean_y), 0.0
    slope /= spread
    stiffness = min(max(slope / max(mean_y - slope * mean_k2, 1e-9), 0.0), STIFFEST)
    first = math.sqrt(mean_y / (1 + stiffness * mean_k2))
    if abs(first / guess - 1) > ASTRAY:
        return guess, 0.0
    return first, stiffness


def candidates(peaks: Peaks) -> FloatArray:
    """Fundamentals that would put one of the stronger peaks on a low partial. [Hz]"""
    strong = peaks.hz[np.argsort(-peaks.amplitude)[:8]]
    low = peaks.hz[:4]
    tops = np.unique(np.concatenate([strong, low]))
    notes = np.concatenate([tops / n for n in range(1, 9)] + [np.diff(np.sort(strong))])
    notes = np.sort(notes[(notes > LOWEST_NOTE_HZ) & (notes < HIGHEST_NOTE_HZ)])
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
    for stiffness in (0.0, 1e-4, 6e-4):
        rough = peaks.hz / notes[:, None]
        number = np.round(rough / np.sqrt(1 + stiffness * rough**2)).clip(1)
        away = np.abs(rough / (number * np.sqrt(1 + stiffness * number**2)) - 1)
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
    all_series = [match_series(peaks, hz) for hz in promising(peaks, candidates(peaks))]
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
    hits = peaks.hz[series.matched]
    if hits.size == 0:
        return 0.0
    numbers = np.unique(np.round(hits / series.hz / np.sqrt(1 + series.stiffness * (hits / series.hz) ** 2)))
    reach = max(float(np.median(numbers)) * 1.5, 1.0)
    within = numbers[numbers <= reach]
    filled = within.size / max(reach, 1.0)
    return float(series.score * min(1.0, 0.35 + filled) ** 0.5)
