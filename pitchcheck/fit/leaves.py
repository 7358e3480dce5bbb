"""Leaves as yes-or-no readings of a gap, each put in as the normal reading that has the same effect.

Conventions: mm. A leaf of thickness t says that the gap g is wider (or narrower) with the likelihood of a
probit, Phi((g - t) / sd), and says nothing with the chance ``LAPSE``. Expectation propagation: all leaves of
a gap are replaced by one normal reading such that mean and variance of the gap come out as with the leaves
themselves (equation 18 of docs/model.md), by a sum over the gap.

References
----------
C. E. Rasmussen, C. K. I. Williams (2006). Gaussian Processes for Machine Learning, section 3.6: expectation
propagation for probit likelihoods.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from pitchcheck.fit.cases import linearise
from pitchcheck.fit.problem import LeafRow, Problem
from pitchcheck.fit.solve import Data, Solution
from pitchcheck.types import FloatArray

LAPSE = 0.005  # [-] leaves misread altogether; our choice
SWEEPS = 12  # over all leaves; a handful settles
SAYS_NOTHING_MM2 = 1e4  # [mm^2] variance of a reading that says nothing
SAME_GAP = 1e-9  # [-] relative difference of slopes below which two gaps are one
# [sd] of the belief without the leaves; a leaf tells over a tenth or so of it
_GRID = np.linspace(-8, 8, 4001)
_GRID_WEIGHT = np.exp(-(_GRID**2) / 2)


@dataclass(frozen=True)
class LeafSites:
    """Normal readings that stand for the leaves, shape (k,) each. [mm, mm^2]"""

    value_mm: FloatArray
    variance_mm2: FloatArray

    @classmethod
    def empty(cls, count: int) -> LeafSites:
        """Sites that say nothing yet."""
        return cls(np.zeros(count), np.full(count, SAYS_NOTHING_MM2))


def gaps(problem: Problem, leaves: Sequence[LeafRow], solution: Solution) -> tuple[FloatArray, FloatArray]:
    """Predicted gaps of some leaves, shape (k,), and their slopes by the unknowns, shape (k, n). [mm]"""
    chosen = [row.case for row in leaves]
    unknowns = problem.unknowns
    cases = tuple(unknowns.cases[i] for i in chosen)
    about = linearise(cases, unknowns.coordinates(solution.z)[chosen])
    return about.value, np.einsum("ca,can->cn", about.slope, unknowns.spread[chosen])


def belief_in_outcome(mean_mm: FloatArray, variance_mm2: FloatArray, leaves: Sequence[LeafRow]) -> FloatArray:
    """Belief that each leaf does what it did, from what is believed of its gap, shape (k,)."""
    bound, sign, sd = _columns(leaves)
    return np.asarray(ndtr(sign * (mean_mm - bound) / np.sqrt(variance_mm2 + sd**2)))


def update_sites(
    problem: Problem, leaves: Sequence[LeafRow], solution: Solution, sites: LeafSites
) -> LeafSites:
    """Sites that belong to a solution made with the sites given: one a gap, at the first of its leaves."""
    mean, slope = gaps(problem, leaves, solution)
    first, gap = _distinct(slope)
    mean, slope = mean[first], slope[first]
    covariance = slope @ solution.covariance @ slope.T
    # From here on everything is linear in the gaps: their joint belief without any site first.
    value, variance = np.zeros(len(leaves)), np.full(len(leaves), SAYS_NOTHING_MM2)
    value[first], variance[first] = sites.value_mm[first], sites.variance_mm2[first]
    precision = np.linalg.inv(covariance)
    free = precision - np.diag(1 / variance[first])
    pull = precision @ mean - value[first] / variance[first]
    for _ in range(SWEEPS):
        for g, k in enumerate(first):
            without = 1 / (1 / covariance[g, g] - 1 / variance[k])
            cavity = without * (mean[g] / covariance[g, g] - value[k] / variance[k])
            own = [leaf for leaf, at in zip(leaves, gap, strict=True) if at == g]
            value[k], variance[k] = _site(own, cavity, without)
            covariance = np.linalg.inv(free + np.diag(1 / variance[first]))
            mean = covariance @ (pull + value[first] / variance[first])
    return LeafSites(value, variance)


def _site(leaves: Sequence[LeafRow], mean_mm: float, variance_mm2: float) -> tuple[float, float]:
    """Value and variance of the normal reading that leaves mean and variance as all leaves of one gap do.

    Leaves that contradict one another leave two places where the gap may be, and the variance of both.

    Parameters
    ----------
    leaves : sequence of LeafRow
    mean_mm, variance_mm2 : float
        What is believed of the gap without them.
    """
    x, weight = mean_mm + np.sqrt(variance_mm2) * _GRID, _GRID_WEIGHT
    for bound, sign, sd in zip(*_columns(leaves), strict=True):
        weight = weight * (LAPSE + (1 - 2 * LAPSE) * ndtr(sign * (x - bound) / sd))
    weight = weight / weight.sum()
    told = float(weight @ x)
    left = float(weight @ (x - told) ** 2)
    if left >= variance_mm2 * (1 - variance_mm2 / SAYS_NOTHING_MM2):
        return mean_mm, SAYS_NOTHING_MM2
    precision = 1 / left - 1 / variance_mm2
    return told + (told - mean_mm) / variance_mm2 / precision, 1 / precision


def _distinct(slope: FloatArray) -> tuple[list[int], npt.NDArray[np.intp]]:
    """Rows of the gaps that differ, and for every leaf the place of its gap among them.

    Leaves read one after the other, in one pass or in two with nothing filed between, bound one and the same
    gap: its joint covariance with itself has no inverse.
    """
    first: list[int] = []
    gap: list[int] = []
    for k, row in enumerate(slope):
        same = [i for i, j in enumerate(first) if np.allclose(row, slope[j], rtol=SAME_GAP, atol=0.0)]
        if not same:
            first.append(k)
        gap.append(same[0] if same else len(first) - 1)
    return first, np.array(gap)


def leaf_data(leaves: Sequence[LeafRow], sites: LeafSites) -> Data:
    """Data rows of the sites."""
    return Data(
        value=sites.value_mm,
        covariance=np.diag(sites.variance_mm2),
        case=np.array([row.case for row in leaves], dtype=np.intp),
        robust=np.zeros(len(leaves), dtype=np.bool_),
    )


def _columns(leaves: Sequence[LeafRow]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Bound, sign and sharpness of every leaf."""
    bound, sign, sd = zip(*((row.bound_mm, row.sign, row.sd_mm) for row in leaves), strict=True)
    return np.array(bound), np.array(sign), np.array(sd)
