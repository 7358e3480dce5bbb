"""The cut at the bottom of the nut: the largest straight one that spares every slot and is worth it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from helpers.fits import Made, make_fit, make_job
from pitchcheck.diagnosis import Cause, Finding
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import Aim, Nut
from pitchcheck.judgement import slot_goal
from pitchcheck.plan import NutBottom, make_plan
from pitchcheck.plan.bottom import joint_level, nut_bottom
from pitchcheck.words.steps import bottom_steps

NUMBERS = (1, 2, 3, 4, 5, 6)
LEVEL_TOLERANCE = 0.0006  # of 0.025: the quasi-random rule's own error on a tail of some 200 points
SPARED = 0.975  # definition
SAMPLED_TOLERANCE = 0.003  # 4 standard errors of a share of 0.025 in 40,000 draws


def beliefs(excess: list[float], sd: float = 0.03) -> list[Belief]:
    return [Belief.normal(e, sd) for e in excess]


def covariance(sd: float, correlation: float, count: int = 6) -> np.ndarray:
    return sd**2 * (correlation * np.ones((count, count)) + (1 - correlation) * np.eye(count))


def removed_at(cut: NutBottom, number: int, last: int = 6) -> float:
    return cut.treble_mm + (cut.bass_mm - cut.treble_mm) * (number - 1) / (last - 1)


def test_one_quantity_or_one_motion_needs_no_joint_allowance() -> None:
    assert joint_level(np.array([[0.01]])) == pytest.approx(0.025, abs=LEVEL_TOLERANCE)
    assert joint_level(covariance(0.03, 1.0)) == pytest.approx(0.025, abs=LEVEL_TOLERANCE)


def test_independent_slots_need_the_sixth_root() -> None:
    # Six independent quantities are all spared with 0.975 when each is with 0.975^(1/6): Sidak 1967.
    exact = 1 - SPARED ** (1 / 6)
    assert joint_level(covariance(0.03, 0.0)) == pytest.approx(exact, abs=LEVEL_TOLERANCE)


@pytest.mark.parametrize("correlation", [0.0, 0.4, 0.9])
def test_all_slots_are_spared_together(correlation: float) -> None:
    truth = covariance(0.05, correlation)
    cut = nut_bottom(beliefs([0.35] * 6, 0.05), numbers=NUMBERS, covariance_mm2=truth, least_mm=0.1)
    assert cut is not None
    draws = np.random.default_rng(7).multivariate_normal([0.35] * 6, truth, size=40_000)
    taken = np.array([removed_at(cut, n) for n in NUMBERS])
    assert (draws >= taken).all(axis=1).mean() >= SPARED - SAMPLED_TOLERANCE


def test_even_excess_gives_an_even_cut() -> None:
    cut = nut_bottom(beliefs([0.40] * 6), numbers=NUMBERS, covariance_mm2=covariance(0.03, 0.3), least_mm=0.1)
    assert cut == NutBottom(bass_mm=0.30, treble_mm=0.30)  # 0.40 less 2.5 sd of 0.03, rounded down


def test_linear_excess_gives_a_slanting_cut() -> None:
    excess = list(np.linspace(0.25, 0.60, 6))
    cut = nut_bottom(beliefs(excess), numbers=NUMBERS, covariance_mm2=covariance(0.03, 0.3), least_mm=0.1)
    assert cut is not None
    assert cut.bass_mm == 0.50  # 0.60 less 2.5 standard deviations of 0.03 is 0.525
    assert cut.treble_mm == 0.15  # 0.25 less 2.5 standard deviations of 0.03 is 0.175


def test_a_crooked_pattern_gets_what_its_lowest_slots_spare_and_the_rest_is_told() -> None:
    excess = [0.3, 0.8, 0.3, 0.8, 0.3, 0.8]
    cut = nut_bottom(
        beliefs(excess),
        numbers=NUMBERS,
        covariance_mm2=covariance(0.03, 0.3),
        least_mm=0.1,
        removals_mm=dict(zip(NUMBERS, excess, strict=True)),
    )
    assert cut is not None
    assert 0.1 <= removed_at(cut, 1) <= 0.3
    assert [number for number, _ in cut.rest_mm] == [1, 2, 3, 4, 5, 6]
    for number, rest in cut.rest_mm:
        assert removed_at(cut, number) + rest == pytest.approx(excess[number - 1])


def test_a_slot_without_anything_to_spare_forbids_the_cut() -> None:
    excess = [0.5, 0.5, 0.05, 0.5, 0.5, 0.5]
    found = nut_bottom(beliefs(excess), numbers=NUMBERS, covariance_mm2=covariance(0.03, 0.3), least_mm=0.1)
    assert found is None


def test_a_nut_is_not_taken_out_for_a_trifle() -> None:
    job = make_job()
    targets = [slot_goal(job, n).target_mm for n in NUMBERS]
    little = make_fit([Made(t + 0.25) for t in targets], targets_mm=targets)
    assert make_plan(job, little, ()).nut_bottom is None  # 0.15 mm on an instrument that is strung
    new = replace(job, target=replace(job.target, aim=Aim.NEW_NUT))
    assert make_plan(new, little, ()).nut_bottom is not None
    trifle = make_fit([Made(t + 0.13) for t in targets], targets_mm=targets)
    assert make_plan(new, trifle, ()).nut_bottom is None


@pytest.mark.parametrize(
    ("aim", "treble", "bass", "offered"),
    [
        (Aim.SET_UP, 0.15, 0.20, False),  # mean 0.175: a strung instrument is taken apart for 0.20 and more
        (Aim.SET_UP, 0.20, 0.20, True),
        (Aim.NEW_NUT, 0.05, 0.10, False),  # mean 0.075: a nut in the making is sanded for 0.10 and more
        (Aim.NEW_NUT, 0.10, 0.10, True),
    ],
)
def test_the_least_cut_is_the_mean_of_both_ends(aim: Aim, treble: float, bass: float, offered: bool) -> None:
    job = make_job()
    job = replace(job, target=replace(job.target, aim=aim))
    targets = [slot_goal(job, n).target_mm for n in NUMBERS]
    excess = np.linspace(treble, bass, 6) + 2.6 * 0.005 + 0.001  # known so well that rounding down decides
    made = [Made(t + e, 0.005) for t, e in zip(targets, excess, strict=True)]
    cut = make_plan(job, make_fit(made, targets_mm=targets), ()).nut_bottom
    assert (cut is not None) is offered
    if cut is not None:
        assert (cut.treble_mm, cut.bass_mm) == (treble, bass)


def test_one_end_that_can_spare_nothing_forbids_the_cut() -> None:
    sloping = list(
        np.linspace(0.04, 1.0, 6)
    )  # less than one step of 0.05 at the treble end, much at the bass
    found = nut_bottom(
        beliefs(sloping, 0.005), numbers=NUMBERS, covariance_mm2=covariance(0.005, 0.3), least_mm=0.1
    )
    assert found is None
    one_low = [0.5, 0.5, -0.1, 0.5, 0.5, 0.5]
    found = nut_bottom(
        beliefs(one_low, 0.005), numbers=NUMBERS, covariance_mm2=covariance(0.005, 0.3), least_mm=-1.0
    )
    assert found is None


def test_the_two_outer_slots_alone_tell_the_cut_and_say_so() -> None:
    job = make_job()
    targets = [slot_goal(job, n).target_mm for n in NUMBERS]
    made = [Made(t + 0.5) if n in (1, 6) else None for n, t in zip(NUMBERS, targets, strict=True)]
    cut = make_plan(job, make_fit(made, targets_mm=targets), ()).nut_bottom
    assert cut is not None
    assert cut.outer_only
    assert any("straightedge" in step for step in bottom_steps(cut))


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0.12, 1.0),
    st.floats(-0.3, 0.3),
    st.lists(st.floats(-0.09, 0.09), min_size=6, max_size=6),
    st.floats(0.01, 0.12),
    st.floats(0.0, 0.95),
)
def test_no_slot_is_ever_taken_under_target_or_whole(
    start: float, slope: float, bumps: list[float], sd: float, correlation: float
) -> None:
    excess = [start + slope * i / 5 + bump for i, bump in enumerate(bumps)]
    cut = nut_bottom(
        beliefs(excess, sd), numbers=NUMBERS, covariance_mm2=covariance(sd, correlation), least_mm=0.1
    )
    if cut is None:
        return
    assert min(cut.bass_mm, cut.treble_mm) >= 0
    for number, value in zip(NUMBERS, excess, strict=True):
        taken = removed_at(cut, number)
        assert Belief.normal(value, sd).below(taken) <= 0.025 + 1e-9


def test_plan_offers_the_cut_only_when_every_slot_is_high_and_known() -> None:
    job = make_job()
    targets = [slot_goal(job, n).target_mm for n in NUMBERS]
    high = [Made(t + 0.4) for t in targets]
    plan = make_plan(job, make_fit(high, targets_mm=targets), ())
    assert plan.nut_bottom is not None
    assert any("never both" in step for step in bottom_steps(plan.nut_bottom))
    assert all(s.remove_now_mm > 0 for s in plan.strings)

    one_fine = [*high[:5], Made(targets[5])]
    assert make_plan(job, make_fit(one_fine, targets_mm=targets), ()).nut_bottom is None
    one_missing = [*high[:5], None]
    assert make_plan(job, make_fit(one_missing, targets_mm=targets), ()).nut_bottom is None
    locked = make_plan(make_job(nut=Nut.LOCKING), make_fit(high, targets_mm=targets), ())
    assert locked.nut_bottom is None
    caught = Finding(Cause.CATCHING_SLOT, (4,), (1,), 3.0, "cent", ())
    assert make_plan(job, make_fit(high, targets_mm=targets), (caught,)).nut_bottom is None
