"""From the problem to the posterior: takes, then scatter, then gauge readings, then leaves.

Conventions: cents for takes, mm for gauges and leaves. Gauge readings and leaves that the sound contradicts
are questioned and left out; nothing is rescaled.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.fit.gauges import GaugeCheck, LeafCheck, question_gauges, question_leaves
from pitchcheck.fit.hand import Scatter, hand_parts
from pitchcheck.fit.leaves import LeafSites, leaf_data, update_sites
from pitchcheck.fit.modes import weigh_modes
from pitchcheck.fit.problem import LeafRow, Problem
from pitchcheck.fit.scatter import estimate_scatter
from pitchcheck.fit.solve import Data, Solution, solve
from pitchcheck.takes import Stop
from pitchcheck.types import FloatArray

SCATTER_ROUNDS = 3  # of scatter and solution; they settle in two
SCATTER_SETTLED = 0.05  # [-] change of a factor at which they have
SHIFT_SD, SHIFT_CENTS = 3.0, 4.0  # presses off alike by so much, and that surely, are none; our choice
LEAF_ROUNDS = 4  # of leaves and solution
LEAF_SETTLED_MM = 0.003  # [mm] change of a leaf's reading, where it says something


@dataclass(frozen=True)
class Posterior:
    """Everything that was solved for.

    Attributes
    ----------
    problem : Problem
        With its unknowns as wide as the scatter asks.
    data : Data
        Every row that was used.
    solution : Solution
    scatter : Scatter
    gauges : tuple of GaugeCheck
    leaves : tuple of LeafCheck
    press_chi_square : (float, float)
        Of the presses for a careful hand on the declared fretwork, and its degrees of freedom.
    press_strain : array
        Residual of every press then, over its standard deviation.
    press_shift : (float, float)
        What all presses have in common beyond everything believed beforehand, and its standard deviation
        (infinite without presses). [cent]
    """

    problem: Problem
    data: Data
    solution: Solution
    scatter: Scatter
    gauges: tuple[GaugeCheck, ...]
    leaves: tuple[LeafCheck, ...]
    press_chi_square: tuple[float, float]
    press_strain: FloatArray
    press_shift: tuple[float, float]

    @property
    def off_alike(self) -> bool:
        """Whether all presses are off by the same: not down, one fret too far, a capo left on."""
        return _is_shift(*self.press_shift)

    def roughness(self, stop: Stop) -> float:
        """How many times the scatter of a careful hand the takes of one kind have."""
        parts = hand_parts(self.problem.unknowns.cases, self.solution.about)
        rows = [self.data.case[i] for i, (_, place) in enumerate(self.problem.places) if place.stop is stop]
        if not rows:
            return 1.0
        heard, usual = (float(np.mean(parts.total(s)[rows])) for s in (self.scatter, Scatter()))
        return float(np.sqrt(heard / usual))


def solve_problem(problem: Problem) -> Posterior:
    """Solve a problem, scatter, gauges and leaves included."""
    plain = solve(problem.unknowns, problem.data)
    strain, chi_square = _press_fit(problem, plain)
    shift = _press_shift(problem, plain)
    if problem.leaves and _is_shift(*shift):
        # Leaves tell the gaps, so presses need count only against one another.
        problem = replace(problem, unknowns=problem.unknowns.with_press_shift(abs(shift[0])))
        plain = solve(problem.unknowns, problem.data)
    problem, ear, scatter = _with_scatter(problem, plain)
    checks = question_gauges(problem, ear)
    believed = [(check.row.case, *check.site) for check in checks if not check.questioned]
    solution = ear
    if believed:
        problem = problem.with_gauges(believed)
        solution = solve(problem.unknowns, problem.data, start=ear.z)
    solution = weigh_modes(problem.unknowns, problem.data, solution)
    leaf_checks = question_leaves(problem, solution)
    leaves = [check.row for check in leaf_checks if not check.questioned]
    data = problem.data
    if leaves:
        data, solution = _with_leaves(problem, leaves, solution)
    return Posterior(problem, data, solution, scatter, checks, leaf_checks, chi_square, strain, shift)


def _press_fit(problem: Problem, solution: Solution) -> tuple[FloatArray, tuple[float, float]]:
    """Return the presses' residuals over their standard deviations, and their chi-square with its freedom."""
    rows = [i for i, (_, place) in enumerate(problem.places) if place.stop is Stop.PRESS]
    strain = (solution.residual / solution.scatter)[rows]
    # What the unknowns take up of each row: the diagonal of the hat matrix.
    noise = (solution.scatter**2 / solution.weight)[rows]
    jacobian = solution.jacobian[rows]
    taken = np.einsum("dn,nm,dm->d", jacobian, solution.covariance, jacobian) / noise
    return strain, (float(np.sum(strain**2)), float(np.sum(1 - np.minimum(taken, 1.0))))


def _press_shift(problem: Problem, solution: Solution) -> tuple[float, float]:
    """Return what all presses have in common that no belief foresaw, and its standard deviation. [cent]

    A score test: the best shift of all presses alike, in the normal law that the beliefs make of the data,
    linear about the solution. A fit can follow such a shift by stretching every belief a little, so residuals
    do not show it.
    """
    press = np.array([case.kind.stop is Stop.PRESS for case in problem.unknowns.cases], dtype=np.bool_)
    alike = press[problem.data.case].astype(np.float64)
    if not alike.any():
        return 0.0, float("inf")
    jacobian = solution.jacobian
    off = solution.residual + jacobian @ solution.z
    law = problem.data.covariance + np.diag(solution.hand) + jacobian @ jacobian.T
    weighed = np.linalg.solve(law, alike)
    known = float(alike @ weighed)
    return float(weighed @ off) / known, known**-0.5


def _is_shift(cents: float, sd: float) -> bool:
    """Whether a common shift of presses is too large to be one that beliefs allow."""
    return abs(cents) > max(SHIFT_CENTS, SHIFT_SD * sd)


def _with_scatter(plain: Problem, solution: Solution) -> tuple[Problem, Solution, Scatter]:
    """Solve for the takes alone, as wide as they scatter, from the solution for a careful hand."""
    problem, scatter = plain, Scatter()
    for _ in range(SCATTER_ROUNDS):
        found = estimate_scatter(problem.unknowns, problem.data, solution, now=scatter)
        change = max(abs(a - b) for a, b in zip(_factors(found), _factors(scatter), strict=True))
        scatter = found
        start = solution.z
        problem = replace(
            plain,
            unknowns=plain.unknowns.widened(scatter),
            data=replace(plain.data, scatter=scatter),
        )
        solution = solve(problem.unknowns, problem.data, start=start)
        if change < SCATTER_SETTLED:
            break
    return problem, solution, scatter


def _factors(scatter: Scatter) -> tuple[float, ...]:
    return scatter.hand, scatter.slide, scatter.fret, scatter.place


def _with_leaves(problem: Problem, leaves: list[LeafRow], solution: Solution) -> tuple[Data, Solution]:
    """Put leaves and solution together until they agree."""
    sites = LeafSites.empty(len(leaves))
    data = problem.data.joined(leaf_data(leaves, sites))
    for _ in range(LEAF_ROUNDS):
        fresh = update_sites(problem, leaves, solution, sites)
        moved = np.abs(fresh.value_mm - sites.value_mm) / (1 + fresh.variance_mm2)
        sites = fresh
        data = problem.data.joined(leaf_data(leaves, sites))
        solution = solve(problem.unknowns, data, start=solution.z)
        if np.max(moved) < LEAF_SETTLED_MM:
            break
    return data, solution
