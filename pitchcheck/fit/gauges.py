"""Gauge readings and leaves held against what the sound alone says.

Conventions: mm. A reading is never rescaled: a likely slip is only named. One that the sound contradicts is
questioned: shown, and left out of the fit, so that it moves no other slot. One that is merely odd may be good
or bad: the belief that it is bad grows with how odd it is, and it moves the rest by so much less (a mixture
of two normal laws, put in as the normal reading with the same effect on what it measures).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.fit.cases import linearise
from pitchcheck.fit.leaves import belief_in_outcome, gaps
from pitchcheck.fit.problem import GaugeRow, LeafRow, Problem
from pitchcheck.fit.solve import Solution
from pitchcheck.units import MM_PER_INCH

QUESTIONED_SD = 3.0  # [sd] our choice: of true readings 1 in 400 is gauged again for nothing
UNLIKELY_LEAF = 0.003  # [-] belief in what a leaf did below which it is questioned; our choice, as rare
BAD, BAD_SD_MM = 0.05, 0.30  # gauge readings that are bad, and how far off those lie; our choice
SAYS_NOTHING_MM2 = 1e4  # [mm^2] variance of a reading that says nothing
SLIP_FITS_SD = 2.0  # [sd] a slip is named when the reading without it lies within this
SLIPS = (0.1, 10.0, 1 / MM_PER_INCH, MM_PER_INCH)  # decimal point, and mm for inches


@dataclass(frozen=True)
class GaugeCheck:
    """One gauge reading, and what the sound alone expects. [mm]"""

    row: GaugeRow
    expected_mm: float
    sd_mm: float  # of the difference, gauge and ear together
    likely_slip_mm: float | None  # the reading if its decimal point slipped and that fits; else None
    questioned: bool
    site: tuple[float, float]  # the normal reading that stands for it: value [mm], variance [mm^2]


@dataclass(frozen=True)
class LeafCheck:
    """One leaf, and what sound and gauges expect of the gap. [mm]"""

    row: LeafRow
    expected_mm: float
    sd_mm: float
    questioned: bool


def question_gauges(problem: Problem, ear: Solution) -> tuple[GaugeCheck, ...]:
    """Hold every gauge reading against what the sound alone says."""
    if not problem.gauges:
        return ()
    unknowns = problem.unknowns
    chosen = [row.case for row in problem.gauges]
    about = linearise(tuple(unknowns.cases[i] for i in chosen), unknowns.coordinates(ear.z)[chosen])
    jacobian = np.einsum("ca,can->cn", about.slope, unknowns.spread[chosen])
    variance = np.einsum("cn,nm,cm->c", jacobian, ear.covariance, jacobian)
    checks = []
    for row, expected, spread in zip(problem.gauges, about.value, variance, strict=True):
        reading = row.reading
        sd = float(np.hypot(reading.sd_mm, np.sqrt(spread)))
        off = bool(abs(reading.value_mm - expected) > QUESTIONED_SD * sd)
        slip = _likely_slip(reading.value_mm, float(expected), sd) if off else None
        site = _site(reading.value_mm, reading.sd_mm**2, float(expected), float(spread))
        checks.append(GaugeCheck(row, float(expected), sd, slip, off, site))
    return tuple(checks)


def _site(value_mm: float, noise_mm2: float, expected_mm: float, spread_mm2: float) -> tuple[float, float]:
    """Return value and variance of the normal reading with the effect of a perhaps bad one.

    Parameters
    ----------
    value_mm, noise_mm2 : float
        The reading, and its variance if it is good.
    expected_mm, spread_mm2 : float
        What is believed of what it measures, without it.
    """
    off = value_mm - expected_mm
    laws = [(1 - BAD, spread_mm2 + noise_mm2), (BAD, spread_mm2 + noise_mm2 + BAD_SD_MM**2)]
    shares = [p * math.exp(-(off**2) / (2 * v)) / math.sqrt(v) for p, v in laws]
    mean = variance = square = 0.0
    for share, (_, v) in zip(shares, laws, strict=True):
        part, gain = share / sum(shares), spread_mm2 / v
        mean += part * gain * off
        square += part * (gain * off) ** 2
        variance += part * spread_mm2 * (1 - gain)
    variance += square - mean**2
    if variance >= spread_mm2 * (1 - spread_mm2 / SAYS_NOTHING_MM2):
        return expected_mm, SAYS_NOTHING_MM2
    precision = 1 / variance - 1 / spread_mm2
    return expected_mm + mean / variance / precision, 1 / precision


def question_leaves(problem: Problem, solution: Solution) -> tuple[LeafCheck, ...]:
    """Hold every leaf against what sound and gauges say of its gap."""
    leaves: Sequence[LeafRow] = problem.leaves
    if not leaves:
        return ()
    expected, slope = gaps(problem, leaves, solution)
    variance = np.einsum("kn,nm,km->k", slope, solution.covariance, slope)
    belief = belief_in_outcome(expected, variance, leaves)
    return tuple(
        LeafCheck(row, float(mean), float(np.sqrt(spread)), bool(b < UNLIKELY_LEAF))
        for row, mean, spread, b in zip(leaves, expected, variance, belief, strict=True)
    )


def _likely_slip(read_mm: float, expected_mm: float, sd_mm: float) -> float | None:
    """Return the reading without the slip that explains it best, if one does."""
    candidates = [read_mm * factor for factor in SLIPS]
    best = min(candidates, key=lambda value: abs(value - expected_mm))
    return best if abs(best - expected_mm) <= SLIP_FITS_SD * sd_mm else None
