"""Beliefs lean as the whole posterior does, sampled without any expansion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy import stats

from helpers.instruments import random_instrument, same_takes_without_presses
from pitchcheck.course import Thoroughness
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import Coordinate, predict_points
from pitchcheck.fit.problem import FitPass, Problem, build_problem
from pitchcheck.fit.skewness import height_rows, skew_corrections
from pitchcheck.fit.solve import Solution, solve
from pitchcheck.survey import build_survey

POINTS = 6000  # drawn from the bell curve and weighed by the posterior
# What is left out is of third order, about the second's square, 0.3^2 to 0.5^2; and the weighing leaves few
# of the points, whose chance of 1 / sqrt(number) is common to the strings of an instrument.
THIRD_ORDER_SD = 0.15
CHANCES = 3.0
# All strings together: without a lean the ratio is without bounds, with the wrong sign negative.
RATIO = (0.6, 1.2)


@dataclass(frozen=True)
class Sampled:
    """Mean less most likely height of every string in standard deviations, and its chance error."""

    shift_sd: dict[int, float]
    chance_sd: float


def sampled_shift_sd(problem: Problem, solution: Solution, *, seed: int) -> Sampled:
    """Sample the posterior, by importance."""
    noise = problem.data.covariance.copy()
    np.fill_diagonal(noise, solution.scatter**2 / solution.weight)
    drawn = np.random.default_rng(seed).standard_normal((POINTS, solution.z.size))
    z = solution.z + drawn @ np.linalg.cholesky(solution.covariance).T
    unknowns = problem.unknowns
    points = np.stack([unknowns.coordinates(row) for row in z], axis=1)
    residual = problem.data.value - predict_points(unknowns.cases, points).T[:, problem.data.case]
    misfit = np.einsum("md,dm->m", residual, np.linalg.solve(noise, residual.T))
    log_weight = (np.sum(drawn**2, axis=1) - np.sum(z**2, axis=1) - misfit) / 2
    weight = np.exp(log_weight - log_weight.max())
    shift = {}
    for number in problem.strings:
        _, slopes = problem.coordinate(number, Coordinate.SLOT_HEIGHT, solution.z)
        sd = float(np.sqrt(slopes @ solution.covariance @ slopes))
        shift[number] = float(np.average((z - solution.z) @ slopes, weights=weight)) / sd
    return Sampled(shift, float(np.sqrt(np.sum(weight**2)) / np.sum(weight)))


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["ukulele", "classical", "electric"])
def test_means_lie_where_sampling_puts_them(kind: str) -> None:
    told, found = [], []
    for seed in range(4):
        settings, takes, _ = random_instrument(kind, np.random.default_rng([seed, 17]), Thoroughness.FULL)
        problem = build_problem([FitPass(settings, build_survey(takes))])
        solution = solve(problem.unknowns, problem.data)
        rows = height_rows(problem, solution)
        found_leans = skew_corrections(problem.unknowns, problem.data, solution, list(rows.values()))
        lean = dict(zip(rows, found_leans, strict=True))
        sampled = sampled_shift_sd(problem, solution, seed=seed)
        allowed = THIRD_ORDER_SD + CHANCES * sampled.chance_sd
        for number in problem.strings:
            assert lean[number].shift_sd == pytest.approx(sampled.shift_sd[number], abs=allowed)
            told.append(lean[number].shift_sd)
            found.append(sampled.shift_sd[number])
    assert RATIO[0] < np.mean(found) / np.mean(told) < RATIO[1]


def test_strings_without_presses_are_left_as_they_are() -> None:
    settings, takes, _ = random_instrument("ukulele", np.random.default_rng(1), Thoroughness.FULL)
    problem = build_problem([FitPass(settings, build_survey(same_takes_without_presses(takes)))])
    assert height_rows(problem, solve(problem.unknowns, problem.data)) == {}


@pytest.mark.parametrize("skewness", [-1.2, -0.4, -0.002, 0.0, 0.002, 0.4, 1.2])
def test_a_skew_belief_has_its_moments(skewness: float) -> None:
    """Against moments of its own density; the arms beyond 4.5 sd, 7e-6 of the belief, are left out."""
    belief = Belief.skew(0.3, 0.05, skewness)
    p = (np.arange(200_000) + 0.5) / 200_000
    x = np.interp(p, belief.probability, belief.values)
    assert x.mean() == pytest.approx(0.3, abs=1e-4)
    assert x.std() == pytest.approx(0.05, rel=0.005)
    assert stats.skew(x) == pytest.approx(skewness, abs=0.05)


def test_a_skew_belief_is_the_lognormal_of_scipy() -> None:
    """Quantiles against scipy.stats.lognorm of the same skewness."""
    law = stats.lognorm(0.3)
    belief = Belief.skew(law.mean(), law.std(), float(law.stats("s")))
    for p in (0.05, 0.5, 0.95):
        assert belief.quantile(p) == pytest.approx(law.ppf(p), abs=0.002 * law.std())
