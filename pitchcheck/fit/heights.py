"""Beliefs in the slot heights.

Conventions: mm. The posterior of the whole fit is taken as normal about its mode (Laplace); the belief in
a height is given the mean and the skewness that it has to second order (``lean``), and is cut off where the
open string would lie on fret 1.
"""

from __future__ import annotations

import numpy as np

from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import At
from pitchcheck.fit.lean import UPRIGHT, Lean, height_rows, leans
from pitchcheck.fit.problem import Problem
from pitchcheck.fit.solve import Data, Solution
from pitchcheck.physics.gauges import lowest_height_mm


def leaning_heights(problem: Problem, data: Data, solution: Solution) -> dict[int, Belief]:
    """Belief in the slot height of every fitted string, from the data that were solved."""
    rows = height_rows(problem, solution)
    found = leans(problem.unknowns, data, solution, list(rows.values()))
    return height_beliefs(problem, solution, dict(zip(rows, found, strict=True)))


def height_beliefs(problem: Problem, solution: Solution, lean: dict[int, Lean]) -> dict[int, Belief]:
    """Belief in the slot height of every fitted string, upright where it has no lean."""
    found = {}
    for number in problem.strings:
        mean, slopes = problem.coordinate(number, At.SLOT_HEIGHT, solution.z)
        sd = float(np.sqrt(slopes @ solution.covariance @ slopes))
        action, _ = problem.coordinate(number, At.ACTION_12, solution.z)
        belief = lean.get(number, UPRIGHT).about(mean, sd)
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
