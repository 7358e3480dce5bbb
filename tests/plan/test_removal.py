"""The rule of removal: its risk is what is stated, on beliefs drawn from what they say and on whole jobs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri

from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import Aim
from pitchcheck.plan import removal as rule

sds = st.floats(0.005, 0.4)
means = st.floats(-0.5, 2.0)
FLOOR_FAR_MM = 1.0
UNDER_TOLERANCE = 0.002  # 4 standard errors of a share of 0.01 in 40,000 draws
ROUNDED_MM = 0.0101  # [mm] an amount rounded down lies at most this far below its limit


@settings(max_examples=60)
@given(means, sds)
def test_a_cut_leaves_at_most_the_stated_belief_of_being_under(mean: float, sd: float) -> None:
    excess = Belief.normal(mean, sd)
    amount = rule.spared_mm(excess)
    if amount > 0:
        assert rule.belief_under(excess, amount) <= rule.UNDER_BELIEF
    assert rule.belief_under(excess, amount + ROUNDED_MM) > rule.UNDER_BELIEF or mean < -rule.UNDER_MM


@pytest.mark.parametrize(("mean", "sd"), [(0.6, 0.05), (0.3, 0.08), (0.2, 0.04)])
def test_the_share_of_slots_under_is_the_belief(mean: float, sd: float) -> None:
    """Slots drawn from the belief, filed by the hand that is reckoned with: 40,000 of each."""
    rng = np.random.default_rng(5)
    told = rule.spared_mm(Belief.normal(mean, sd))
    assert told >= rule.LEAST_CUT_MM
    part = rng.uniform(*rule.HAND_PART, 40_000)
    left = mean + sd * rng.standard_normal(40_000) - told * part
    left -= rule.HAND_ERROR_MM * rng.standard_normal(40_000)
    share = float((left < -rule.UNDER_MM).mean())
    assert share <= rule.UNDER_BELIEF + UNDER_TOLERANCE
    assert share >= rule.UNDER_BELIEF / 3  # and the amount is not simply small


def test_one_belief_by_hand() -> None:
    """A hand without scatter would be allowed mean + 0.02 - 2.326 sd; this one leaves part of it, so more."""
    mean, sd = 0.5, 0.05
    told = rule.spared_mm(Belief.normal(mean, sd))
    careful = mean + rule.UNDER_MM + float(ndtri(rule.UNDER_BELIEF)) * sd
    assert careful - 0.01 < told < careful / rule.HAND_PART[0]
    parts = np.linspace(*rule.HAND_PART, 2001)
    scatter = float(np.hypot(sd, rule.HAND_ERROR_MM))
    exact = float(np.mean(ndtr((told * parts - rule.UNDER_MM - mean) / scatter)))
    assert rule.belief_under(Belief.normal(mean, sd), told) == pytest.approx(exact, abs=5e-4)


def test_no_slot_is_filed_below_its_floor() -> None:
    excess = Belief.normal(0.30, 0.05)
    free = rule.spared_mm(excess, above_floor_mm=FLOOR_FAR_MM)
    near = rule.spared_mm(excess, above_floor_mm=0.0)
    assert near < free
    assert rule.belief_under(excess, near, below_mm=0.0) <= rule.BUZZ_BELIEF


@settings(max_examples=60)
@given(means, sds, st.floats(0.0, 1.0))
def test_more_excess_never_means_less(mean: float, sd: float, more: float) -> None:
    assert rule.spared_mm(Belief.normal(mean + more, sd)) >= rule.spared_mm(Belief.normal(mean, sd))


@settings(max_examples=60)
@given(st.floats(0.0, 2.0), sds, st.floats(1.0, 5.0))
def test_more_doubt_never_means_more(mean: float, sd: float, wider: float) -> None:
    assert rule.spared_mm(Belief.normal(mean, sd * wider)) <= rule.spared_mm(Belief.normal(mean + 1e-9, sd))


def test_what_is_worth_filing_hangs_on_the_aim() -> None:
    excess = Belief.normal(0.12, 0.02)  # 84 % above 0.10, all but surely above 0.05
    assert rule.removal_mm(excess, above_floor_mm=FLOOR_FAR_MM, worth_mm=0.10) == 0.0
    assert rule.removal_mm(excess, above_floor_mm=FLOOR_FAR_MM, worth_mm=0.05) >= 0.08


def test_a_pass_is_not_made_for_a_stroke_or_two() -> None:
    for aim in Aim:
        assert not rule.is_worth_a_pass({}, aim)
        assert rule.is_worth_a_pass({1: 0.03, 2: 0.06}, aim)
    assert not rule.is_worth_a_pass({1: 0.03, 2: 0.04}, Aim.SET_UP)
    assert rule.is_worth_a_pass({1: 0.03, 2: 0.02}, Aim.NEW_NUT)


@given(means, sds)
def test_amounts_are_whole_steps_and_never_rounded_up(mean: float, sd: float) -> None:
    amount = rule.spared_mm(Belief.normal(mean, sd))
    assert amount >= 0
    assert amount * 100 == pytest.approx(round(amount * 100), abs=1e-9)


def test_looking_ahead_reckons_with_the_same_amounts() -> None:
    mean = np.array([0.9, 0.5, 0.25, 0.1, -0.1])
    sd = np.array([0.1, 0.05, 0.06, 0.02, 0.05])
    ahead = rule.normal_spared_mm(mean, sd)
    one_by_one = [rule.spared_mm(Belief.normal(m, s)) for m, s in zip(mean, sd, strict=True)]
    assert np.all(np.abs(ahead - one_by_one) <= 0.012)  # a step of rounding, and the scatter of the hand


@pytest.mark.parametrize(("own", "again"), [(0.045, 0.045), (0.08, 0.07)])
def test_over_a_whole_job_one_slot_in_a_hundred_at_most_is_under(own: float, again: float) -> None:
    """Slots measured over and over with an error that stays and one that does not, filed until none is left.

    3,000 slots; the belief is exact (two unknowns a slot, by the Kalman filter), so only the rule is tested.
    A share of 0.01 in 3,000 has a standard error of 0.0018.
    """
    rng = np.random.default_rng(11)
    true = rng.uniform(-0.2, 0.9, 3000)
    stays = own * rng.standard_normal(true.size)
    state = np.zeros((true.size, 2))
    state[:, 0] = 0.35
    covariance = np.tile(np.diag([0.4**2, own**2]), (true.size, 1, 1))
    filed = np.zeros(true.size, dtype=bool)
    live = np.ones(true.size, dtype=bool)
    for _ in range(8):
        for i in np.flatnonzero(live):
            heard = true[i] + stays[i] + again * rng.standard_normal()
            cross = covariance[i].sum(axis=1)
            gain = cross / (cross.sum() + again**2)
            state[i] += gain * (heard - state[i].sum())
            covariance[i] -= np.outer(gain, cross)
            belief = Belief.normal(float(state[i, 0]), float(np.sqrt(covariance[i, 0, 0])))
            told = rule.removal_mm(belief, above_floor_mm=FLOOR_FAR_MM, worth_mm=0.10)
            if told < rule.PASS_CUT_MM[Aim.SET_UP]:
                live[i] = False
                continue
            true[i] -= told * rng.uniform(*rule.HAND_PART) + rule.HAND_ERROR_MM * rng.standard_normal()
            state[i, 0] -= 0.85 * told
            covariance[i][0, 0] += (0.0866 * told) ** 2 + rule.HAND_ERROR_MM**2
            filed[i] = True
    assert not live.any()  # nothing is filed for ever
    under = float((filed & (true < -rule.UNDER_MM)).mean())
    assert under <= 0.01 + 0.005  # 2.8 standard errors of 0.0018 for 3,000 slots
    assert under >= 0.001  # a rule that files nothing would pass the line above
