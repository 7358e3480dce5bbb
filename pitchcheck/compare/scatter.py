"""How well a hand repeats itself, and what follows for the uncertainty of every change.

Conventions: cents. Repeats are takes at one place in one pass; the fit says how far they may lie apart for a
careful hand. A hand that scatters more widens everything; one that scatters less narrows nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.compare import limits
from pitchcheck.compare.both import TwoPassProblem
from pitchcheck.compare.records import Repeats
from pitchcheck.fit.solve import Data, Solution
from pitchcheck.takes import Stop
from pitchcheck.types import FloatArray


@dataclass(frozen=True)
class _Apart:
    """Repeats of one case: their squared distances from their mean, in cents^2 and in units of belief."""

    stop: Stop
    fret: int
    squares_cents2: float
    expected_cents2: float
    relative: float
    freedom: int


def repeats(both: TwoPassProblem, solution: Solution) -> tuple[Repeats, ...]:
    """Return the scatter of repeats, kind of take by kind of take.

    Returns
    -------
    tuple of Repeats
        ``sd_cents`` is the pooled standard deviation of a single take; kinds never repeated are left out.
    """
    groups: dict[tuple[Stop, int], list[_Apart]] = {}
    for apart in _apart(both, solution):
        groups.setdefault((apart.stop, apart.fret), []).append(apart)
    return tuple(
        Repeats(
            stop=stop,
            fret=fret,
            pairs=sum(a.freedom for a in group),
            sd_cents=float(np.sqrt(sum(a.squares_cents2 for a in group) / sum(a.freedom for a in group))),
            expected_cents=float(
                np.sqrt(sum(a.expected_cents2 * a.freedom for a in group) / sum(a.freedom for a in group))
            ),
        )
        for (stop, fret), group in sorted(groups.items())
    )


def scatter_factor(both: TwoPassProblem, solution: Solution, stop: Stop) -> float:
    """How many times the usual scatter a hand has at one kind of take, never below 1.

    The usual scatter counts like ``limits.USUAL_HAND_TAKES`` repeats, so that a few unlucky ones do not count
    for much.
    """
    found = [a for a in _apart(both, solution) if a.stop is stop]
    total = limits.USUAL_HAND_TAKES + sum(a.relative for a in found)
    return float(np.sqrt(max(1.0, total / (limits.USUAL_HAND_TAKES + sum(a.freedom for a in found)))))


def widened(both: TwoPassProblem, solution: Solution, factors: dict[Stop, float]) -> Data:
    """Return the data with the scatter of this hand in their covariance."""
    more = np.zeros(both.data.value.size)
    for row, (_, place) in enumerate(both.places):
        more[row] = (factors[place.stop] ** 2 - 1) * solution.scatter[row] ** 2
    return replace(both.data, covariance=both.data.covariance + np.diag(more))


def _apart(both: TwoPassProblem, solution: Solution) -> list[_Apart]:
    """Hold repeats against one another, case by case; a bad take counts for no more than its weight."""
    found = []
    count = len(both.places)
    case = both.data.case[:count]
    residual, scatter, weight = (a[:count] for a in (solution.residual, solution.scatter, solution.weight))
    for each in np.unique(case):
        rows = np.flatnonzero(case == each)
        if rows.size < 2:
            continue
        kind = both.unknowns.cases[each].kind
        assert kind.stop is not None
        off = _from_their_mean(residual[rows], weight[rows])
        found.append(
            _Apart(
                stop=kind.stop,
                fret=kind.fret,
                squares_cents2=float(np.sum(off**2)),
                expected_cents2=float(np.mean(scatter[rows] ** 2)),
                relative=float(np.sum(weight[rows] * off**2 / scatter[rows] ** 2)),
                freedom=rows.size - 1,
            )
        )
    return found


def _from_their_mean(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Distances from the weighted mean."""
    return np.asarray(values - np.average(values, weights=weights))
