"""Takes that contradict one another: where the sound cannot tell which of them is bad, both readings count.

Conventions: a mode is one most likely set of unknowns, in which some takes have lost their weight. The modes
are put together by their beliefs into one normal belief with their common mean and covariance, so an interval
spans all that may be true.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pitchcheck.fit.result import HARDLY_USED
from pitchcheck.fit.solve import Data, Solution, solve
from pitchcheck.fit.unknowns import Unknowns
from pitchcheck.takes import Stop

MOST_CASES = 2  # contradictions that are looked into; each costs two more solutions
SAME_SD = 0.5  # [posterior sd] modes nearer than this in every unknown are one
BAD = 0.03  # [-] takes that are bad; our choice
BAD_RANGE_CENTS = 60.0  # [cent] over which a bad one may lie; our choice
LEAST_BELIEF = 0.002  # [-] of a mode; below this it moves no 90 % interval


def weigh_modes(unknowns: Unknowns, data: Data, solution: Solution) -> Solution:
    """Put together what is found when the takes set aside are believed and their like are not.

    Parameters
    ----------
    unknowns : Unknowns
    data : Data
    solution : Solution
        Of ``data``.

    Returns
    -------
    Solution
        The same when no take was set aside against another one of the same place, or when only one reading of
        the takes holds; else with the common mean and covariance, and with the mean weight of every take.
    """
    best = solution
    others = []
    for case in _contradicted(unknowns, data, solution):
        other = _believing_the_rest(unknowns, data, best, case)
        if other is None:
            continue
        if _log_belief(data, other) > _log_belief(data, best):
            best, other = other, best
        others.append(other)
    return _together(data, best, others)


def _contradicted(unknowns: Unknowns, data: Data, solution: Solution) -> list[int]:
    """Presses of which some takes were set aside and others were not, the strongest contradiction first.

    Fretted notes scatter by the touch, with a long tail: two that differ contradict nothing.
    """
    found = {}
    for case in np.unique(data.case[solution.weight < HARDLY_USED]):
        if unknowns.cases[case].kind.stop is not Stop.PRESS:
            continue
        weight = solution.weight[data.case == case]
        if np.any(weight >= HARDLY_USED):
            found[int(case)] = float(weight.min())
    return sorted(found, key=lambda case: found[case])[:MOST_CASES]


def _believing_the_rest(unknowns: Unknowns, data: Data, best: Solution, case: int) -> Solution | None:
    """Another mode, in which the takes of a case that were believed are the bad ones, if there is one."""
    believed = (data.case == case) & (best.weight >= HARDLY_USED)
    start = solve(unknowns, data.without(believed), start=best.z)
    other = solve(unknowns, data, start=start.z)
    apart = np.abs(other.z - best.z) / np.sqrt(np.diag(best.covariance))
    return other if np.max(apart) > SAME_SD else None


def _log_belief(data: Data, solution: Solution) -> float:
    """Logarithm of a mode's share of the belief, plus a constant: its height times its volume (Laplace).

    A bad take may be off by anything, so what it costs does not hang on how well a good one would fit.
    """
    s = solution.scatter
    good = np.exp(-((solution.residual / s) ** 2) / 2) / (s * np.sqrt(2 * np.pi))
    core = np.log((1 - BAD) * good + BAD / BAD_RANGE_CENTS)
    plain = -((solution.residual / s) ** 2) / 2 - np.log(s)
    height = float(np.sum(np.where(data.robust, core, plain)) - solution.z @ solution.z / 2)
    return height + float(np.linalg.slogdet(solution.covariance)[1]) / 2


def _together(data: Data, best: Solution, others: list[Solution]) -> Solution:
    """Common mean, covariance and weights; contradictions at different places count as independent."""
    mean, covariance, weight = best.z.copy(), best.covariance.copy(), best.weight.copy()
    for other in others:
        share = 1 / (1 + np.exp(_log_belief(data, best) - _log_belief(data, other)))
        if share < LEAST_BELIEF:
            continue
        apart = other.z - best.z
        mean += share * apart
        covariance += share * (other.covariance - best.covariance) + share * (1 - share) * np.outer(
            apart, apart
        )
        weight += share * (other.weight - best.weight)
    return replace(best, z=mean, covariance=covariance, weight=weight)
