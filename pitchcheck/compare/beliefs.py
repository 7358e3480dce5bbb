"""What two passes together say of every slot: its height before and after, and the change.

Conventions: mm. All three come from one solution; where a string was pressed they lean (``fit.lean``), and
the means of the heights lie apart by the mean of the change.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.compare.both import AFTER, BEFORE, Both
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.heights import height_beliefs
from pitchcheck.fit.lean import UPRIGHT, leans
from pitchcheck.fit.solve import Solution


@dataclass(frozen=True)
class Beliefs:
    """Beliefs by string number."""

    before_mm: dict[int, Belief]
    after_mm: dict[int, Belief]
    change_mm: dict[int, Belief]


def beliefs_of(both: Both, solution: Solution) -> Beliefs:
    """Beliefs in heights and changes from what was solved for both passes."""
    before, after = (height_beliefs(one, both.data, solution) for one in both.passes)
    return Beliefs(before, after, _changes(both, solution))


def _changes(both: Both, solution: Solution) -> dict[int, Belief]:
    """Beliefs in the changes."""
    pressed = [n for n in both.changes if all(n in both.passes[w].pressed for w in (BEFORE, AFTER))]
    rows = np.zeros((len(pressed), solution.z.size))
    for row, number in zip(rows, pressed, strict=True):
        column, size = both.changes[number]
        row[column] = size
    lean = dict(zip(pressed, leans(both.unknowns, both.data, solution, rows), strict=True)) if pressed else {}
    found = {}
    for number, (column, size) in both.changes.items():
        sd = size * float(np.sqrt(solution.covariance[column, column]))
        found[number] = lean.get(number, UPRIGHT).about(size * float(solution.z[column]), sd)
    return found
