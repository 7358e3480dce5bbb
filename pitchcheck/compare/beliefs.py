"""What two passes together say of every slot: its height before and after, and the change.

Conventions: mm. All three come from one solution; where a string was pressed they lean (``fit.lean``), and
the means of the heights lie apart by the mean of the change.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.compare.both import AFTER, BEFORE, TwoPassProblem
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.skewness import (
    NO_CORRECTION,
    SkewCorrection,
    height_beliefs,
    height_rows,
    skew_corrections,
)
from pitchcheck.fit.solve import Solution
from pitchcheck.types import FloatArray


@dataclass(frozen=True)
class Beliefs:
    """Beliefs by string number."""

    before_mm: dict[int, Belief]
    after_mm: dict[int, Belief]
    change_mm: dict[int, Belief]


def beliefs_of(both: TwoPassProblem, solution: Solution) -> Beliefs:
    """Beliefs in heights and changes from what was solved for both passes."""
    rows = [*(height_rows(one, solution) for one in both.passes), _change_rows(both, solution)]
    found = iter(
        skew_corrections(both.unknowns, both.data, solution, [row for few in rows for row in few.values()])
    )
    before, after, change = [{number: next(found) for number in few} for few in rows]
    return Beliefs(
        height_beliefs(both.passes[BEFORE], solution, before),
        height_beliefs(both.passes[AFTER], solution, after),
        _changes(both, solution, change),
    )


def _change_rows(both: TwoPassProblem, solution: Solution) -> dict[int, FloatArray]:
    """Share of every unknown in the change of each string that was pressed in both passes."""
    unit = np.eye(solution.z.size)
    pressed = both.passes[BEFORE].pressed & both.passes[AFTER].pressed
    return {n: size * unit[column] for n, (column, size) in both.changes.items() if n in pressed}


def _changes(both: TwoPassProblem, solution: Solution, lean: dict[int, SkewCorrection]) -> dict[int, Belief]:
    """Beliefs in the changes, upright where they have no lean."""
    found = {}
    for number, (column, size) in both.changes.items():
        sd = size * float(np.sqrt(solution.covariance[column, column]))
        found[number] = lean.get(number, NO_CORRECTION).about(size * float(solution.z[column]), sd)
    return found
