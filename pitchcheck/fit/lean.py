"""How a belief leans: where its mean lies beside its most likely value, and how skew it is.

Conventions: a slot height multiplies other unknowns (a string's stretch, the depth of a press), so the belief
has a longer arm to one side and its mean lies off its top. Both follow to second order from how the
predicted cents bend about the most likely unknowns (equation 17 of docs/model.md). Lengths along the belief
are in its own standard deviations.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import STEP, At, Case, linearise, predict_points
from pitchcheck.fit.problem import Problem
from pitchcheck.fit.solve import Data, Solution
from pitchcheck.fit.unknowns import Unknowns
from pitchcheck.types import FloatArray

SPAN = 0.5  # [sd] step of the second differences: wide enough to average the curvature over the belief
HARDLY_MOVES = 1e-4  # [steps] directions in which a case moves less are left out
MOST_SHIFT = (
    0.5  # [sd] sampling found no more; the second order says more where readings contradict one another
)
MOST_SKEW = 1.5  # [-] the same


@dataclass(frozen=True)
class Lean:
    """Mean less the most likely value in standard deviations, and skewness of one belief."""

    shift_sd: float
    skewness: float

    def about(self, top: float, sd: float) -> Belief:
        """Belief of this lean with its most likely value and its standard deviation."""
        return Belief.skew(top + self.shift_sd * sd, sd, self.skewness)


UPRIGHT = Lean(0.0, 0.0)


def height_rows(problem: Problem, solution: Solution) -> dict[int, FloatArray]:
    """Share of every unknown, shape (n,), in the slot height of each string whose belief may lean.

    Where only fretted notes were heard the belief is so wide that a second order says nothing of it: strings
    without presses have no row.
    """
    pressed = [n for n in problem.strings if n in problem.pressed]
    return {n: problem.coordinate(n, At.SLOT_HEIGHT, solution.z)[1] for n in pressed}


def leans(unknowns: Unknowns, data: Data, solution: Solution, rows: Sequence[FloatArray]) -> tuple[Lean, ...]:
    """Lean of the beliefs in some sums of the unknowns.

    Parameters
    ----------
    unknowns : Unknowns, n of them
    data : Data
        That was solved, d rows.
    solution : Solution
    rows : sequence of array, shape (n,), s of them
        Share of every unknown in every sum.

    Returns
    -------
    tuple of Lean, s of them
    """
    if not rows:
        return ()
    cases, spread = unknowns.cases, unknowns.spread
    covariance = solution.covariance
    centre = unknowns.coordinates(solution.z)
    pull = _pull(unknowns, data, solution)
    shares = np.array(rows)
    along = covariance @ shares.T  # (n, s)
    sd = np.sqrt(np.einsum("sn,ns->s", shares, along))
    along = along / sd

    spreading = _directions((spread @ covariance) @ spread.swapaxes(1, 2))
    own = (spread @ along).swapaxes(1, 2)  # (c, s, a)
    curved = _second(cases, centre, np.concatenate([spreading, own], axis=1))
    bending = curved[:, : -len(rows)].sum(axis=1)  # trace of curvature times covariance, (c,)
    turning = _turning(unknowns, centre, np.einsum("can,nc->ca", spread, pull))  # (n,)
    lever = shares @ pull / sd[:, None]  # (s, c)
    shift = -(lever @ bending + 2 * (along.T @ turning)) / 2
    skew = -3 * np.einsum("sc,cs->s", lever, curved[:, -len(rows) :])
    return tuple(
        Lean(float(np.clip(a, -MOST_SHIFT, MOST_SHIFT)), float(np.clip(b, -MOST_SKEW, MOST_SKEW)))
        for a, b in zip(shift, skew, strict=True)
    )


def _pull(unknowns: Unknowns, data: Data, solution: Solution) -> FloatArray:
    """How far the unknowns follow when a case is heard one unit higher, shape (n, c)."""
    noise = data.covariance.copy()
    np.fill_diagonal(noise, solution.scatter**2 / solution.weight)
    by_row = solution.covariance @ np.linalg.solve(noise, solution.jacobian).T
    heard = np.asarray(data.case)[:, None] == np.arange(len(unknowns.cases))
    return np.asarray(by_row @ heard)


def _directions(covariance: FloatArray) -> FloatArray:
    """Steps in coordinates, shape (c, k, len(At)), whose outer products add up to a covariance."""
    size, turn = np.linalg.eigh(covariance / STEP[:, None] / STEP[None, :])
    size = np.sqrt(np.maximum(size, 0.0))
    kept = np.max(size, axis=0) > HARDLY_MOVES
    steps = (turn * size[:, None, :])[:, :, kept] * STEP[:, None]
    return np.asarray(np.moveaxis(steps, 2, 1))


def _second(cases: tuple[Case, ...], centre: FloatArray, steps: FloatArray) -> FloatArray:
    """Second derivative of every case along steps (c, k, len(At)), shape (c, k)."""
    middle = centre[:, None]
    points = predict_points(
        cases, np.concatenate([middle, middle + SPAN * steps, middle - SPAN * steps], axis=1)
    )
    ahead, back = np.split(points[:, 1:], 2, axis=1)
    return np.asarray((ahead + back - 2 * points[:, :1]) / SPAN**2)


def _turning(unknowns: Unknowns, centre: FloatArray, towards: FloatArray) -> FloatArray:
    """Sum over cases of curvature times a direction (c, len(At)), by the unknowns, shape (n,)."""
    cases, spread = unknowns.cases, unknowns.spread
    reach = np.max(np.abs(towards) / STEP, axis=1)
    one_step = towards / np.where(reach > 0, reach, 1.0)[:, None]  # in the coordinate that it moves most
    ahead = linearise(cases, centre + one_step).slope
    back = linearise(cases, centre - one_step).slope
    change = (ahead - back) / 2 * reach[:, None]
    return np.asarray(np.einsum("ca,can->n", change, spread))
