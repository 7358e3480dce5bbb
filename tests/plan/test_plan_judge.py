"""Verdicts and removals: the definitions of docs/formats.md, and that nothing unsafe can come out of them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from helpers.fits import make_job
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import Target
from pitchcheck.judgement import SlotGoal, slot_goal, verdict
from pitchcheck.plan import Verdict
from pitchcheck.plan.removal import round_down_mm, safe_removal_mm

GOAL = SlotGoal(target_mm=0.40, tolerance_mm=0.10, floor_mm=0.08)
Z90, Z975 = 1.2815515655446004, 1.959963984540054  # standard normal quantiles, published tables
TABLE_MM = 0.001  # a normal belief is tabulated in steps of 0.05 sd: quantiles are good to some 0.001 sd

sds = st.floats(0.005, 0.5)
means = st.floats(-0.5, 2.5)


@pytest.mark.parametrize(
    ("mean", "sd", "expected"),
    [
        (0.50 + 1.01 * Z90 * 0.05, 0.05, Verdict.HIGH),  # just beyond 90 % above target + tolerance
        (0.50 + 0.99 * Z90 * 0.05, 0.05, Verdict.UNSURE),  # just short, and 23 % of it above 0.60
        (0.08 - 1.01 * Z90 * 0.05, 0.05, Verdict.LOW),
        (0.08 - 0.99 * Z90 * 0.05, 0.05, Verdict.UNSURE),
        (0.45, 0.05, Verdict.FINE),
        (0.20, 0.05, Verdict.FINE),  # below target, above the floor: leave it
        (0.52, 0.05, Verdict.FINE),  # a little above the tolerance, not surely
        (0.40, 0.30, Verdict.UNSURE),
    ],
)
def test_verdicts_follow_their_definition(mean: float, sd: float, expected: Verdict) -> None:
    assert verdict(GOAL, Belief.normal(mean, sd)) is expected


def test_target_below_floor_is_never_filed() -> None:
    goal = SlotGoal(target_mm=-0.2, tolerance_mm=0.1, floor_mm=0.08)
    assert verdict(goal, Belief.normal(0.0, 0.01)) is Verdict.LOW


def test_removal_is_the_smaller_of_its_two_limits() -> None:
    sure = Belief.normal(0.50, 0.01)  # 0.7 x 0.50 = 0.35 is the smaller
    assert safe_removal_mm(sure) in (0.30, 0.35)
    assert safe_removal_mm(Belief.normal(0.505, 0.01)) == 0.35
    doubtful = Belief.normal(0.50, 0.15)  # 0.50 - 1.96 x 0.15 = 0.206
    assert pytest.approx(doubtful.quantile(0.025), abs=TABLE_MM) == 0.50 - Z975 * 0.15
    assert safe_removal_mm(doubtful) == 0.20


@settings(max_examples=60)
@given(means, sds)
def test_removal_leaves_at_most_the_stated_belief_of_being_under_target(mean: float, sd: float) -> None:
    excess = Belief.normal(mean, sd)
    removed = safe_removal_mm(excess)
    assert removed >= 0
    if removed > 0:
        assert excess.below(removed) <= 0.025 + 1e-12
        assert removed <= 0.7 * excess.median


@settings(max_examples=60)
@given(means, sds, st.floats(0.0, 1.0))
def test_more_excess_never_means_less_removal(mean: float, sd: float, more: float) -> None:
    assert safe_removal_mm(Belief.normal(mean + more, sd)) >= safe_removal_mm(Belief.normal(mean, sd))


@settings(max_examples=60)
@given(means, sds, st.floats(1.0, 5.0))
def test_more_doubt_never_means_more_removal(mean: float, sd: float, wider: float) -> None:
    # The widened belief has the same median, but for the rounding of its table.
    assert safe_removal_mm(Belief.normal(mean, sd * wider)) <= safe_removal_mm(Belief.normal(mean + 1e-9, sd))


@given(st.lists(st.floats(-1.0, 3.0), min_size=3, max_size=20, unique=True), st.floats(0.0, 0.5))
def test_any_table_of_belief_is_spared(points: list[float], start: float) -> None:
    values = np.sort(np.array(points))
    belief = Belief(values, np.linspace(0.0, 1.0, values.size) ** (1 + start))
    removed = safe_removal_mm(belief)
    assert removed == 0 or belief.below(removed) <= 0.025 + 1e-12


@given(st.floats(0.0, 10.0))
def test_rounding_down_never_rounds_up(value: float) -> None:
    rounded = round_down_mm(value)
    assert rounded <= value
    steps = round(rounded * 20)
    assert rounded == steps / 20
    assert (steps + 1) / 20 > value


@given(st.integers(0, 200))
def test_whole_steps_stay_and_a_hair_less_goes_down(steps: int) -> None:
    value = steps / 20
    assert round_down_mm(value) == value
    if steps:
        assert round_down_mm(math.nextafter(value, 0.0)) == (steps - 1) / 20


def test_goals_run_straight_over_the_strings_and_one_string_may_differ() -> None:
    job = make_job(target_heights={3: 0.30})
    goals = [slot_goal(job, n) for n in range(1, 7)]
    assert [g.floor_mm for g in goals] == pytest.approx([0.05, 0.06, 0.07, 0.08, 0.09, 0.10])
    # 0.006 and 0.010 in at 0.4856 per height; common practice, no source.
    assert goals[0].target_mm == pytest.approx(0.006 * 25.4 / 0.4856, abs=1e-4)
    assert goals[5].target_mm == pytest.approx(0.010 * 25.4 / 0.4856, abs=1e-4)
    assert goals[2].target_mm == 0.30
    assert goals[0].tolerance_mm == Target().tolerance_mm == 0.10
