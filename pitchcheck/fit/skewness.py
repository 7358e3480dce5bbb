"""Marginal beliefs in the slot heights: the Laplace approximation corrected for skewness.

Conventions: mm. A slot height multiplies other unknowns (a string's stretch factor, the depth of a press), so
its marginal posterior is skewed and its mean lies off its mode. Mean and skewness follow to second order from
the curvature of the predicted cents about the mode (equation 17 of docs/model.md), in standard deviations of
the belief. A belief is cut off where the open string would lie on fret 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import STEP, Case, Coordinate, linearise, predict_points
from pitchcheck.fit.problem import Problem
from pitchcheck.fit.solve import Data, Solution
from pitchcheck.fit.unknowns import Unknowns
from pitchcheck.physics.gauges import lowest_height_mm
from pitchcheck.types import FloatArray

SPAN = 0.5  # [sd] step of the second differences: wide enough to average the curvature over the belief
HARDLY_MOVES = 1e-4  # [steps] directions in which a case moves less are left out
MOST_SHIFT = (
    0.5  # [sd] sampling found no more; the second order says more where readings contradict one another
)
MOST_SKEW = 1.5  # [-] the same


@dataclass(frozen=True)
class SkewCorrection:
    """Mean less mode in standard deviations, and skewness, of one marginal posterior."""

    shift_sd: float
    skewness: float

    def about(self, top: float, sd: float) -> Belief:
        """Skewed belief with this mode and standard deviation."""
        return Belief.skew(top + self.shift_sd * sd, sd, self.skewness)


NO_CORRECTION = SkewCorrection(0.0, 0.0)


def height_rows(problem: Problem, solution: Solution, *, index: int = -1) -> dict[int, FloatArray]:
    """Share of every unknown, shape (n,), in the slot height of each string whose belief is corrected.

    Where only fretted notes were heard the belief is so wide that a second order says nothing of it: strings
    without presses have no row. ``index`` is that of the pass.
    """
    pressed = [n for n in problem.strings if n in problem.pressed]
    return {n: problem.coordinate(n, Coordinate.SLOT_HEIGHT, solution.z, index=index)[1] for n in pressed}


def skew_corrections(
    unknowns: Unknowns, data: Data, solution: Solution, rows: Sequence[FloatArray]
) -> tuple[SkewCorrection, ...]:
    """Skew corrections of the beliefs in some linear combinations of the unknowns.

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
    tuple of SkewCorrection, s of them
    """
    if not rows:
        return ()
    cases, spread = unknowns.cases, unknowns.spread
    covariance = solution.covariance
    centre = unknowns.coordinates(solution.z)
    response = _response(unknowns, data, solution)
    shares = np.array(rows)
    along = covariance @ shares.T  # (n, s)
    sd = np.sqrt(np.einsum("sn,ns->s", shares, along))
    along = along / sd

    spreading = _directions((spread @ covariance) @ spread.swapaxes(1, 2))
    own = (spread @ along).swapaxes(1, 2)  # (c, s, a)
    curved = _second(cases, centre, np.concatenate([spreading, own], axis=1))
    bending = curved[:, : -len(rows)].sum(axis=1)  # trace of curvature times covariance, (c,)
    turning = _turning(unknowns, centre, np.einsum("can,nc->ca", spread, response))  # (n,)
    sensitivity = shares @ response / sd[:, None]  # (s, c)
    shift = -(sensitivity @ bending + 2 * (along.T @ turning)) / 2
    skew = -3 * np.einsum("sc,cs->s", sensitivity, curved[:, -len(rows) :])
    return tuple(
        SkewCorrection(float(np.clip(a, -MOST_SHIFT, MOST_SHIFT)), float(np.clip(b, -MOST_SKEW, MOST_SKEW)))
        for a, b in zip(shift, skew, strict=True)
    )


def _response(unknowns: Unknowns, data: Data, solution: Solution) -> FloatArray:
    """How far the unknowns follow when a case is heard one unit higher, shape (n, c)."""
    noise = data.covariance.copy()
    np.fill_diagonal(noise, solution.scatter**2 / solution.weight)
    by_row = solution.covariance @ np.linalg.solve(noise, solution.jacobian).T
    heard = np.asarray(data.case)[:, None] == np.arange(len(unknowns.cases))
    return np.asarray(by_row @ heard)


def _directions(covariance: FloatArray) -> FloatArray:
    """Steps in coordinates, shape (c, k, len(Coordinate)), whose outer products add up to a covariance."""
    size, turn = np.linalg.eigh(covariance / STEP[:, None] / STEP[None, :])
    size = np.sqrt(np.maximum(size, 0.0))
    kept = np.max(size, axis=0) > HARDLY_MOVES
    steps = (turn * size[:, None, :])[:, :, kept] * STEP[:, None]
    return np.asarray(np.moveaxis(steps, 2, 1))


def _second(cases: tuple[Case, ...], centre: FloatArray, steps: FloatArray) -> FloatArray:
    """Second derivative of every case along steps (c, k, len(Coordinate)), shape (c, k)."""
    middle = centre[:, None]
    points = predict_points(
        cases, np.concatenate([middle, middle + SPAN * steps, middle - SPAN * steps], axis=1)
    )
    ahead, back = np.split(points[:, 1:], 2, axis=1)
    return np.asarray((ahead + back - 2 * points[:, :1]) / SPAN**2)


def _turning(unknowns: Unknowns, centre: FloatArray, towards: FloatArray) -> FloatArray:
    """Sum over cases of curvature times a direction (c, len(Coordinate)), by the unknowns, shape (n,)."""
    cases, spread = unknowns.cases, unknowns.spread
    reach = np.max(np.abs(towards) / STEP, axis=1)
    one_step = towards / np.where(reach > 0, reach, 1.0)[:, None]  # in the coordinate that it moves most
    ahead = linearise(cases, centre + one_step).slope
    back = linearise(cases, centre - one_step).slope
    change = (ahead - back) / 2 * reach[:, None]
    return np.asarray(np.einsum("ca,can->n", change, spread))


def height_beliefs_of(problem: Problem, data: Data, solution: Solution) -> dict[int, Belief]:
    """Belief in the slot height of every fitted string in the last pass, from the data that were solved."""
    rows = height_rows(problem, solution)
    found = skew_corrections(problem.unknowns, data, solution, list(rows.values()))
    return height_beliefs(problem, solution, dict(zip(rows, found, strict=True)))


def height_beliefs(
    problem: Problem, solution: Solution, corrections: dict[int, SkewCorrection], *, index: int = -1
) -> dict[int, Belief]:
    """Belief in the slot height of every fitted string in one pass; normal where it has no correction."""
    found = {}
    for number in problem.strings:
        mean, slopes = problem.coordinate(number, Coordinate.SLOT_HEIGHT, solution.z, index=index)
        sd = float(np.sqrt(slopes @ solution.covariance @ slopes))
        action, _ = problem.coordinate(number, Coordinate.ACTION_12, solution.z, index=index)
        belief = corrections.get(number, NO_CORRECTION).about(mean, sd)
        found[number] = _cut(belief, lowest_height_mm(max(action, 0.5)))
    return found


def _cut(belief: Belief, lowest_mm: float) -> Belief:
    """Belief given that the quantity is above a limit; unchanged when the limit leaves next to nothing."""
    gone = belief.below(lowest_mm)
    if not 0 < gone < 0.98:
        return belief
    keep = belief.values > lowest_mm
    values = np.concatenate([[lowest_mm], belief.values[keep]])
    probability = np.concatenate([[0.0], (belief.probability[keep] - gone) / (1 - gone)])
    return Belief(values, np.clip(probability, 0.0, 1.0))
