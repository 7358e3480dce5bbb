"""Gauge readings and leaves held against what the sound alone says.

Conventions: mm. A reading is never rescaled: a likely slip is only named. One that the sound contradicts is
questioned: shown, and left out of the fit, so that it moves no other slot.
"""

from __future__ import annotations

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
        checks.append(GaugeCheck(row, float(expected), sd, slip, off))
    return tuple(checks)


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
