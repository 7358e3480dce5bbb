"""Verdicts: the definitions of docs/formats.md; and how amounts are rounded."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from helpers.fits import make_job
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import Target
from pitchcheck.judgement import SlotGoal, slot_goal, verdict
from pitchcheck.plan import Verdict
from pitchcheck.plan.bottom import round_down_mm

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
