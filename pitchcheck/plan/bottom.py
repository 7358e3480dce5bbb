"""The cut at the bottom of the nut: the largest straight one that no slot forbids.

Conventions: mm. The cut is a straight line over the slots by string number, from the treble end (lowest
number) to the bass end (highest); what comes off the bottom under a slot lowers that slot by as much. It is
an alternative to the slots' own removals, never an addition to them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from pitchcheck.fit.belief import Belief
from pitchcheck.plan.records import NutBottom
from pitchcheck.plan.removal import LEAST_CUT_MM
from pitchcheck.types import FloatArray

SPARED_BELIEF = 0.025  # [-] belief that a cut leaves any slot under its target: definition
BOTTOM_STEPS_PER_MM = 20  # [1/mm] the cut is told in steps of 0.05 mm: definition
# [mm] A nut is taken out for so much, the mean of both ends: less is sooner filed in the slots. Our choice.
LEAST_NEW_MM = 0.10
LEAST_FITTED_MM = 0.20
_FEWEST_SLOTS = 2  # the two outer ones
_POINTS = 8192  # of the quasi-random rule: chosen, its level is then good to some 0.02 sd
_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37)


def nut_bottom(
    excess_mm: Sequence[Belief],
    *,
    numbers: Sequence[int],
    covariance_mm2: FloatArray,
    least_mm: float,
    removals_mm: Mapping[int, float] | None = None,
    outer_only: bool = False,
) -> NutBottom | None:
    """Largest straight cut at the bottom of the nut that no slot forbids, and what is then left to file.

    Parameters
    ----------
    excess_mm : sequence of Belief
        Excess of every slot over its target. [mm]
    numbers : sequence of int, increasing
        Their string numbers, treble first; the two outer ones at least.
    covariance_mm2 : array, shape (len(numbers), len(numbers))
        Of the slot heights. [mm^2]
    least_mm : float
        Mean of both ends below which the nut is not taken out. [mm]
    removals_mm : mapping of int to float, optional
        What may come off each slot by itself. [mm]
    outer_only : bool
        Whether the outer strings alone were heard.

    Returns
    -------
    NutBottom or None
        Both ends rounded down to 0.05 mm. After it every slot that was heard is at or above its target with
        97.5 % belief, all of them together. None if one of them can spare nothing, or the cut is nothing at
        one end or less than ``least_mm``.
    """
    if len(excess_mm) < _FEWEST_SLOTS:
        return None
    place = (np.array(numbers, dtype=np.float64) - numbers[0]) / (numbers[-1] - numbers[0])
    level = joint_level(covariance_mm2)
    most = np.array([belief.quantile(level) for belief in excess_mm])
    if most.min() <= 0:  # a slot that can spare nothing: the cut would leave it under its target
        return None
    treble, bass = (round_down_mm(end) for end in _highest_line_under(most, place))
    if min(treble, bass) == 0 or (treble + bass) / 2 < least_mm:
        return None
    line = treble * (1 - place) + bass * place
    alone = removals_mm or {}
    left = {number: alone.get(number, 0.0) - cut for number, cut in zip(numbers, line, strict=True)}
    rest = tuple((number, _hundredths_down(mm)) for number, mm in left.items() if mm >= LEAST_CUT_MM)
    return NutBottom(bass_mm=bass, treble_mm=treble, rest_mm=rest, outer_only=outer_only)


def _hundredths_down(mm: float) -> float:
    """Round down to 0.01 mm, but for the rounding of a difference of such steps."""
    return math.floor(100 * mm + 1e-6) / 100


def joint_level(covariance: FloatArray) -> float:
    """Probability to take off each tail so that all quantities together are spared with 97.5 % belief.

    Parameters
    ----------
    covariance : array, shape (n, n)
        Only its correlations are used (Gaussian copula).

    Returns
    -------
    float
        0.025 when all move as one, down to 0.025 / n (Bonferroni) at worst.

    Notes
    -----
    The distribution of the smallest of n correlated standard normals is taken from a fixed quasi-random rule
    (fractional parts of multiples of square roots of primes), so the answer is the same every time.
    """
    from scipy.special import ndtr, ndtri

    count = covariance.shape[0]
    sd = np.sqrt(np.diag(covariance))
    floor = SPARED_BELIEF / count
    if count > len(_PRIMES) or not np.all(sd > 0):
        return float(floor)
    correlation = covariance / np.outer(sd, sd)
    values, vectors = np.linalg.eigh(correlation)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    steps = np.sqrt(np.array(_PRIMES[:count], dtype=np.float64))
    uniform = np.mod(np.outer(np.arange(1, _POINTS + 1) - 0.5, steps), 1.0)
    smallest = (ndtri(np.clip(uniform, 1e-12, 1 - 1e-12)) @ root.T).min(axis=1)
    level = float(ndtr(np.quantile(smallest, SPARED_BELIEF)))
    return float(min(max(level, floor), SPARED_BELIEF))


def _highest_line_under(most: FloatArray, place: FloatArray) -> tuple[float, float]:
    """Treble and bass end of the straight line, nowhere negative, that lies under all points and takes most.

    A linear programme in two unknowns: its answer is where two of its edges meet, so all are tried.
    """
    edges = [(1 - u, u, m) for u, m in zip(place, most, strict=True)] + [(1.0, 0.0, 0.0), (0.0, 1.0, 0.0)]
    best, total = (0.0, 0.0), 0.0
    for i, (a, b, m) in enumerate(edges):
        for c, d, n in edges[i + 1 :]:
            determinant = a * d - b * c
            if determinant == 0:
                continue
            treble, bass = (m * d - b * n) / determinant, (a * n - m * c) / determinant
            line = treble * (1 - place) + bass * place
            slack = 1e-12  # rounding of the division; the ends are rounded down afterwards
            if min(treble, bass) >= -slack and bool((line <= most + slack).all()) and line.sum() > total:
                best, total = (max(treble, 0.0), max(bass, 0.0)), float(line.sum())
    return best


def round_down_mm(value_mm: float) -> float:
    """Largest multiple of 0.05 mm that is not above the value; 0 for anything below 0. [mm]

    Never above the value, also where binary fractions would carry it there.

    Examples
    --------
    >>> round_down_mm(0.15), round_down_mm(0.1499999999), round_down_mm(-0.2)
    (0.15, 0.1, 0.0)
    """
    if not value_mm > 0:
        return 0.0
    steps = math.floor(value_mm * BOTTOM_STEPS_PER_MM) + 1
    while steps / BOTTOM_STEPS_PER_MM > value_mm:
        steps -= 1
    return steps / BOTTOM_STEPS_PER_MM
