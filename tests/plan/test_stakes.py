"""What the plan reckons with, against integrals drawn from scipy's normal distribution."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from pitchcheck.fit.belief import Belief
from pitchcheck.plan import decision, removal
from pitchcheck.plan.predict import share_of_way

TABLE = 0.003  # absolute, of a belief: beliefs are tables of 181 points


@pytest.mark.parametrize("mean", [-0.1, 0.05, 0.3])
def test_leaving_a_slot_costs_what_is_expected_above_the_worth(mean: float) -> None:
    sd, worth = 0.08, 0.1
    above = integrate.quad(lambda x: (x - worth) * stats.norm.pdf(x, mean, sd), worth, mean + 10 * sd)[0]
    stakes = decision.Stakes(worth_mm=worth, may_file=True, pass_s=0.0)
    found = decision.left_s(np.array([mean]), np.array([sd]), stakes)[0]
    # So many seconds a millimetre is our choice; what they are counted from is not.
    assert found == pytest.approx(decision.LEFT_S_PER_MM[stakes.aim] * above, rel=1e-6)


@pytest.mark.parametrize(("mean", "sd"), [(0.3, 0.05), (-0.2, 0.05), (0.1, 0.02), (0.1, 0.3), (0.02, 0.06)])
def test_a_slot_is_open_when_no_verdict_has_nine_in_ten(mean: float, sd: float) -> None:
    stakes = decision.Stakes(worth_mm=0.1, may_file=False, pass_s=0.0, floor_mm=-0.1)
    normal = stats.norm(mean, sd)
    verdicts = (normal.sf(0.1), normal.cdf(-0.1), normal.cdf(0.2) - normal.cdf(-0.1))
    found = decision.cost_s(np.array([mean]), np.array([sd]), stakes)[0]
    assert (found > 0) is (max(verdicts) < 0.9)


@pytest.mark.parametrize("told", [0.1, 0.25, 0.4])
def test_belief_of_ending_under_is_an_integral_over_slot_and_hand(told: float) -> None:
    # The slot's excess is normal; the hand takes off 0.7 to 1.0 of what it is told, all alike likely, and
    # misses that by 0.01 mm: under is more than 0.02 mm below the target.
    excess, sd = 0.3, 0.06
    spread = np.hypot(sd, 0.01)
    under = integrate.quad(lambda part: stats.norm.cdf(part * told - 0.02, excess, spread), 0.7, 1.0)[0] / 0.3
    assert removal.belief_under(Belief.normal(excess, sd), told) == pytest.approx(under, abs=TABLE)


@pytest.mark.parametrize(("height", "target", "touch"), [(0.8, 0.3, 0.2), (0.5, 0.4, 0.0), (0.2, -0.05, 0.1)])
def test_the_share_of_the_way_follows_the_square_of_the_depth(
    height: float, target: float, touch: float
) -> None:
    # Sharpness at fret 1 goes with (slot height + finger depth)^2: docs/method.md.
    for removed in (0.0, 0.1, height - target):
        now, then, end = ((h + touch) ** 2 for h in (height, height - removed, target))
        share = share_of_way(height, target_mm=target, removed_mm=removed, touch_mm=touch)
        assert share == pytest.approx((now - then) / (now - end), rel=1e-9)
