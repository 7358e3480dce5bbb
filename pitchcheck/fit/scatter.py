"""How much more takes scatter than a careful hand's, and places than the model allows: overdispersion.

Conventions: a factor multiplies standard deviations and is at least 1. It is estimated from the marginal
likelihood of all rows, linearised about the mode, on a grid with a prior that favours 1, so that good data
cost next to nothing; the square root of the posterior mean of its square is used (a Birge ratio that knows
which residuals it may scale).

References
----------
R. T. Birge (1932), Phys. Rev. 40, 207-227: internal and external consistency.
D. J. C. MacKay (1992), Neural Computation 4(3), 415-447: scale parameters from the marginal likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from pitchcheck.fit.solve import Data, Solution
from pitchcheck.fit.unknowns import Unknowns
from pitchcheck.takes import Stop
from pitchcheck.types import BoolArray, FloatArray

HAND_GRID = np.array([1.0, 1.3, 1.7, 2.2, 3.0, 4.0, 5.5, 8.0])
HAND_PRIOR_LOG = 0.5  # hands three times as rough as a careful one are rare, not unheard of; our choice
PLACE_GRID = np.array([1.0, 1.5, 2.2, 3.3, 5.0, 8.0, 12.0])
PLACE_PRIOR_LOG = 0.6  # our choice


@dataclass(frozen=True)
class Scatter:
    """Overdispersion of one fit.

    Attributes
    ----------
    press, fret : float >= 1
        Take-to-take scatter of presses and of fretted notes, over that of a careful hand.
    place : float >= 1
        What single places have of their own, over what was believed of them.
    """

    press: float = 1.0
    fret: float = 1.0
    place: float = 1.0


def estimate_scatter(unknowns: Unknowns, data: Data, solution: Solution, *, now: Scatter) -> Scatter:
    """Estimate the overdispersion from a solution.

    Parameters
    ----------
    unknowns : Unknowns
        As they were solved, widened by ``now``.
    data : Data
    solution : Solution
    now : Scatter
        With which the solution was made.
    """
    press, fret = (_rows_of(unknowns, data, stop) for stop in (Stop.PRESS, Stop.FRET))
    own = unknowns.misfit_columns()
    jacobian = solution.jacobian
    shared, places = jacobian[:, ~own], jacobian[:, own] / now.place
    total = solution.scatter**2
    inflated = data.covariance + np.diag(total * (1 / solution.weight - 1)) + shared @ shared.T
    by_place = places @ places.T
    by_press = np.where(press, solution.hand / now.press**2, 0.0)
    by_fret = np.where(fret, solution.hand / now.fret**2, 0.0)
    value = solution.residual + jacobian @ solution.z
    hand, place = now.press, now.place
    if press.any():
        fixed = inflated + np.diag(now.fret**2 * by_fret)
        hand, place = _most_likely(value, fixed, by_press, by_place if own.any() else None)
    fretted = now.fret
    if fret.any():
        fixed = inflated + np.diag(hand**2 * by_press) + place**2 * by_place
        fretted, _ = _most_likely(value, fixed, by_fret, None)
    return Scatter(hand, fretted, place)


def widened(data: Data, unknowns: Unknowns, scatter: Scatter) -> Data:
    """Return the data with the scatter of this hand."""
    scale = np.ones(data.value.size)
    scale[_rows_of(unknowns, data, Stop.PRESS)] = scatter.press
    scale[_rows_of(unknowns, data, Stop.FRET)] = scatter.fret
    return replace(data, hand_scale=scale)


def _rows_of(unknowns: Unknowns, data: Data, stop: Stop) -> BoolArray:
    """Which rows are takes stopped like this."""
    case = np.array([c.kind.stop is stop for c in unknowns.cases], dtype=np.bool_)
    return np.asarray(case[data.case], dtype=np.bool_)


def _most_likely(
    value: FloatArray, fixed: FloatArray, by_hand: FloatArray, by_place: FloatArray | None
) -> tuple[float, float]:
    """Return the factors of hand and places: roots of the posterior means of their squares."""
    places = PLACE_GRID if by_place is not None else np.ones(1)
    belief = np.zeros((HAND_GRID.size, places.size))
    for i, hand in enumerate(HAND_GRID):
        for j, place in enumerate(places):
            covariance = fixed + np.diag(hand**2 * by_hand)
            if by_place is not None:
                covariance = covariance + place**2 * by_place
            factor = cho_factor(covariance, lower=True)
            log_det = 2 * float(np.sum(np.log(np.diag(factor[0]))))
            prior = (np.log(hand) / HAND_PRIOR_LOG) ** 2 + (np.log(place) / PLACE_PRIOR_LOG) ** 2
            belief[i, j] = -(value @ cho_solve(factor, value) + log_det + prior) / 2
    belief = np.exp(belief - belief.max())
    belief /= belief.sum()
    hand_2 = float(belief.sum(axis=1) @ HAND_GRID**2)
    place_2 = float(belief.sum(axis=0) @ places**2)
    return float(np.sqrt(hand_2)), float(np.sqrt(place_2))
