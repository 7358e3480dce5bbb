"""How much more takes scatter than a careful hand's, and places than the model allows: overdispersion.

Conventions: a factor multiplies standard deviations and is at least 1. Factors are weighed by the marginal
likelihood of the presses given all other rows, linearised about the mode, on a grid with a prior that favours
1, so that good data cost next to nothing; the square root of the posterior mean of a factor's square is used
(a Birge ratio that knows which residuals it may scale).

References
----------
R. T. Birge (1932), Phys. Rev. 40, 207-227: internal and external consistency.
D. J. C. MacKay (1992), Neural Computation 4(3), 415-447: scale parameters from the marginal likelihood.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
from scipy.linalg import cho_factor, cho_solve, cholesky, solve_triangular

from pitchcheck.fit import priors
from pitchcheck.fit.cases import Coordinate
from pitchcheck.fit.hand import Scatter, hand_parts
from pitchcheck.fit.solve import Data, Solution
from pitchcheck.fit.unknowns import SHARED_ROUGHNESS, Unknowns
from pitchcheck.takes import Stop
from pitchcheck.types import BoolArray, FloatArray

# How rough a hand is nobody knows before it plays: a player at home sets the rod four times as wide as a
# repairer does, and a short course repeats little that would tell. Grids and priors: our choice.
HAND_GRID, HAND_PRIOR_LOG = np.array([1.0, 1.4, 2.0, 2.8, 4.0, 5.6]), 1.2
SLIDE_GRID, SLIDE_PRIOR_LOG = np.array([1.0, 1.5, 2.2, 3.3, 5.0, 8.0, 12.0]), 0.4
PLACE_GRID, PLACE_PRIOR_LOG = np.array([1.0, 1.6, 2.5, 4.0, 6.5, 10.0]), 0.45
# How much of what sets a bad take aside is kept from the scatter: one bad take is no rough hand, several are.
OUTLIER_PART = 0.2  # [-] our choice
# How far the neck gives way, over that of one that is held: about nothing where it is, else to one side only,
# by a half-normal law of so many times its spread. Our choice.
NECK_GRID, NECK_PRIOR_LOG = np.array([1.0, 2.0, 4.0, 8.0, 16.0]), 1.3
_HALF_MEAN = float(np.sqrt(2 / np.pi))
NECK_MEAN = np.where(NECK_GRID > 1, _HALF_MEAN * NECK_GRID, 0.0)
NECK_VARIANCE = np.where(NECK_GRID > 1, (1 - _HALF_MEAN**2) * NECK_GRID**2, 1.0)
FRET_GRID, FRET_PRIOR_LOG = np.array([1.0, 1.3, 1.7, 2.2, 3.0, 4.0]), 0.5


def estimate_scatter(unknowns: Unknowns, data: Data, solution: Solution, *, now: Scatter) -> Scatter:
    """Estimate the overdispersion from a solution.

    Parameters
    ----------
    unknowns : Unknowns
        As they were solved, as wide as ``now`` makes them.
    data : Data
    solution : Solution
    now : Scatter
        With which the solution was made.
    """
    press, fret = (_rows_of(unknowns, data, stop) for stop in (Stop.PRESS, Stop.FRET))
    parts = hand_parts(unknowns.cases, solution.about)
    inflation = np.diag(OUTLIER_PART * solution.scatter**2 * (1 / solution.weight - 1))
    value = solution.residual + solution.jacobian @ solution.z
    noise = data.covariance + inflation
    found = now
    if press.any():
        own = unknowns.misfit_columns()
        shared = solution.jacobian.copy()
        shared[np.ix_(press, own)] = 0.0  # what the presses have of it is put in by the grid
        side = unknowns.names.index("side")
        shared[press, side] = 0.0
        bends = np.zeros(int(press.sum()))
        if "neck" in unknowns.names:
            column = unknowns.column("neck")
            bends = shared[press, column] / now.neck_unsure
            shared[press, column] = 0.0
        rest = noise + np.diag(np.where(press, 0.0, solution.hand)) + shared @ shared.T
        # The mean push sideways that the solution was made with is taken out again, and how far the neck
        # gives way: the grid puts in its own.
        slope = np.where(press, solution.about.slope[data.case, Coordinate.SIDE], 0.0)
        plain = value + slope * priors.SIDE_MM2[0] * (now.hand**2 - 1)
        plain[press] += bends * now.neck
        fixed, given = _given_others(rest, plain, press)
        found = _press_scatter(
            given,
            fixed,
            rod=parts.rod[data.case][press],
            side=parts.side[data.case][press],
            slide=parts.slide[data.case][press],
            side_slope=slope[press],
            places=solution.jacobian[np.ix_(press, own)] / (now.place * now.hand**SHARED_ROUGHNESS),
            bends=bends,
        )
    fretted = now.fret
    if fret.any():
        rest = noise + np.diag(np.where(fret, 0.0, solution.hand)) + solution.jacobian @ solution.jacobian.T
        fixed, given = _given_others(rest, value, fret)
        touch = parts.touch[data.case][fret]
        belief = np.array(
            [_log_belief(given, fixed + np.diag(f**2 * touch), (f,), (FRET_PRIOR_LOG,)) for f in FRET_GRID]
        )
        fretted = _root_mean_square(belief, FRET_GRID)
    return replace(found, fret=fretted)


def _rows_of(unknowns: Unknowns, data: Data, stop: Stop) -> BoolArray:
    """Which rows are takes stopped like this."""
    case = np.array([c.kind.stop is stop for c in unknowns.cases], dtype=np.bool_)
    return np.asarray(case[data.case], dtype=np.bool_)


def _given_others(
    covariance: FloatArray, value: FloatArray, rows: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Covariance and value of some rows, given all others (conditional normal)."""
    cross = covariance[np.ix_(rows, ~rows)]
    if not cross.size:
        return covariance, value
    factor = cho_factor(covariance[np.ix_(~rows, ~rows)], lower=True)
    fixed = covariance[np.ix_(rows, rows)] - cross @ cho_solve(factor, cross.T)
    return fixed, value[rows] - cross @ cho_solve(factor, value[~rows])


def _press_scatter(
    value: FloatArray,
    fixed: FloatArray,
    *,
    rod: FloatArray,
    side: FloatArray,
    slide: FloatArray,
    side_slope: FloatArray,
    places: FloatArray,
    bends: FloatArray,
) -> Scatter:
    """Return the factors of hand, slide and places, and how far the neck gives way.

    A push sideways counts by its square. ``bends`` is what each press answers to a neck that gives way as far
    as one that is held may.
    """
    by_place = places @ places.T
    mean_side, sd_side = priors.SIDE_MM2
    by_side = np.outer(side_slope, side_slope) * sd_side**2
    place_grid = PLACE_GRID if places.size else np.ones(1)
    belief = np.zeros((HAND_GRID.size, SLIDE_GRID.size, place_grid.size, NECK_GRID.size))
    widths = (HAND_PRIOR_LOG, SLIDE_PRIOR_LOG, PLACE_PRIOR_LOG)
    for i, j, k in product(*(range(n) for n in belief.shape[:3])):
        h, s, p = HAND_GRID[i], SLIDE_GRID[j], place_grid[k]
        covariance = fixed + (p * h**SHARED_ROUGHNESS) ** 2 * by_place + h**4 * by_side
        covariance[np.diag_indices_from(covariance)] += h**2 * rod + h**4 * side + s**2 * slide
        pushed = value - side_slope * mean_side * (h**2 - 1)
        against, log_det = _whitened(np.column_stack([pushed, bends]), covariance)
        belief[i, j, k] = -float(against[0, 0] + log_det + _prior((h, s, p), widths)) / 2
        belief[i, j, k] += _neck_log_belief(off=against[0, 1], known=against[1, 1])
    grid = HAND_GRID[:, None, None, None]
    hand = _root_mean_square(belief, grid)
    neck, neck_unsure = _neck_moments(belief) if bends.any() else (0.0, 1.0)
    return Scatter(
        hand=hand,
        slide=_root_mean_square(belief, SLIDE_GRID[None, :, None, None]),
        place=_root_mean_square(belief, place_grid[None, None, :, None]),
        hand_unsure=float(np.sqrt(max(0.0, _root_mean_square(belief, grid**2) ** 2 - hand**4))),
        neck=neck,
        neck_unsure=neck_unsure,
    )


def _neck_log_belief(*, off: float, known: float) -> FloatArray:
    """Logarithm of likelihood and prior of each law of the neck, over a neck that does not bend at all.

    A neck that bends adds to the covariance along one direction (Sherman and Morrison): ``off`` and ``known``
    are what it answers to, against the presses and against itself, weighed by the covariance without it.
    """
    wider = 1 + NECK_VARIANCE * known
    shifted = NECK_MEAN * off - NECK_MEAN**2 * known / 2
    spread = NECK_VARIANCE * (off - NECK_MEAN * known) ** 2 / wider / 2 - np.log(wider) / 2
    return np.asarray(shifted + spread - (np.log(NECK_GRID) / NECK_PRIOR_LOG) ** 2 / 2)


def _neck_moments(log_belief: FloatArray) -> tuple[float, float]:
    """Mean and standard deviation of how far the neck gives way, over all its laws."""
    belief = np.exp(log_belief - log_belief.max()).sum(axis=(0, 1, 2))
    belief /= belief.sum()
    mean = float(belief @ NECK_MEAN)
    return mean, float(np.sqrt(belief @ (NECK_VARIANCE + (NECK_MEAN - mean) ** 2)))


def _log_belief(
    value: FloatArray, covariance: FloatArray, factors: tuple[float, ...], widths: tuple[float, ...]
) -> float:
    """Logarithm of likelihood and prior of some factors, plus a constant."""
    square, log_det = _whitened(value[:, None], covariance)
    return -float(square[0, 0] + log_det + _prior(factors, widths)) / 2


def _whitened(columns: FloatArray, covariance: FloatArray) -> tuple[FloatArray, float]:
    """Products of columns with one another, weighed by a covariance, and the logarithm of its determinant."""
    factor = cholesky(covariance, lower=True, check_finite=False)
    own = solve_triangular(factor, columns, lower=True, check_finite=False)
    return own.T @ own, 2 * float(np.sum(np.log(np.diag(factor))))


def _prior(factors: tuple[float, ...], widths: tuple[float, ...]) -> float:
    return float(sum((np.log(f) / width) ** 2 for f, width in zip(factors, widths, strict=True)))


def _root_mean_square(log_belief: FloatArray, factors: FloatArray) -> float:
    """Root of the posterior mean of a factor's square."""
    belief = np.exp(log_belief - log_belief.max())
    return float(np.sqrt(np.sum(belief * factors**2) / np.sum(belief)))
