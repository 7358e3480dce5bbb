"""What takes cost and save: the reckoning written out, and the choice of runs at both sides of its limits."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, stats

from pitchcheck.fit.belief import Belief
from pitchcheck.fit.joint import Outlook
from pitchcheck.instrument import Aim
from pitchcheck.plan import decision, next_takes, removal
from pitchcheck.plan.at_stake import SlotsAtStake
from pitchcheck.plan.decision import Stakes, cost_s, gain_s, left_s, would_file
from pitchcheck.plan.next_takes import _asked, _choose, _sds
from pitchcheck.plan.runs import Run, run_of
from pitchcheck.takes import Position, Stop

STAKES = Stakes(worth_mm=0.1, may_file=True, pass_s=200.0)


def allowed_mm(mean: float, sd: float) -> float:
    """Amount that leaves 1 % belief of ending 0.02 mm under, the hand taking off 0.7 to 1.0 of it."""
    spread = math.hypot(sd, 0.01)
    low, high = 0.0, 4.0
    for _ in range(50):
        middle = (low + high) / 2
        parts = np.linspace(0.7, 1.0, 601)
        risk = integrate.trapezoid(stats.norm.cdf((middle * parts - mean - 0.02) / spread), parts) / 0.3
        low, high = (low, middle) if risk > 0.01 else (middle, high)
    return low


@pytest.mark.parametrize(
    ("mean", "sd"), [(0.5, 0.05), (0.3, 0.08), (0.15, 0.03), (0.15, 0.045), (0.12, 0.05), (0.13, 0.02)]
)
def test_a_slot_would_be_filed_where_it_is_worth_it_and_some_may_come_off(mean: float, sd: float) -> None:
    files, amount = would_file(np.array([mean]), np.array([sd]), worth_mm=0.1)
    expected = allowed_mm(mean, sd)
    assert amount[0] == pytest.approx(expected, rel=0.01, abs=1e-3)  # a trapezoid of seven points
    worth = stats.norm.sf(0.1, mean, sd) >= 0.9
    assert bool(files[0]) is bool(worth and expected >= 0.03)


@pytest.mark.parametrize(("mean", "sd"), [(0.5, 0.05), (0.35, 0.1), (0.25, 0.03)])
def test_filing_costs_its_time_and_what_is_left_afterwards(mean: float, sd: float) -> None:
    # One pass ahead. The hand takes off 0.85 of what it is told on average, 0.0866 either way (even between
    # 0.7 and 1), and misses by 0.01 mm; the next listening narrows the belief to 0.9. What it will then say
    # scatters by what is known now and not then. Three points of Gauss and Hermite: at 0 with weight 4/6 and
    # at sqrt 3 with 1/6 (Abramowitz and Stegun 25.4.46).
    amount = float(would_file(np.array([mean]), np.array([sd]), worth_mm=0.1)[1][0])
    then_sd = 0.9 * sd
    spread = math.sqrt(sd**2 + (0.3 / math.sqrt(12) * amount) ** 2 + 0.01**2 - then_sd**2)
    nodes = mean - 0.85 * amount + spread * math.sqrt(3) * np.array([-1.0, 0.0, 1.0])
    later = [float(left_s(np.array([n]), np.array([then_sd]), STAKES)[0]) for n in nodes]
    expected = 200.0 + 60.0 + 4 * 12.0 + np.dot(later, [1 / 6, 4 / 6, 1 / 6])
    found = cost_s(np.array([mean]), np.array([sd]), STAKES, passes=1)
    assert found[0] == pytest.approx(expected, rel=1e-9)
    # two passes ahead: the same with what the next pass costs in place of what is left
    later = [float(cost_s(np.array([n]), np.array([then_sd]), STAKES, passes=1)[0]) for n in nodes]
    expected = 200.0 + 60.0 + 4 * 12.0 + np.dot(later, [1 / 6, 4 / 6, 1 / 6])
    assert cost_s(np.array([mean]), np.array([sd]), STAKES)[0] == pytest.approx(expected, rel=1e-9)
    assert cost_s(np.array([mean]), np.array([sd]), STAKES, passes=0) == left_s(
        np.array([mean]), np.array([sd]), STAKES
    )


def test_a_tenth_of_a_millimetre_left_is_worth_a_quarter_of_an_hour() -> None:
    # ... and a third of an hour on a new nut: docs/decisions/0011-risk-of-a-cut.md.
    sure = np.array([1e-6])
    for aim, seconds in ((Aim.SET_UP, 900.0), (Aim.NEW_NUT, 1200.0)):
        stakes = replace(STAKES, aim=aim)
        assert left_s(np.array([0.2]), sure, stakes)[0] == pytest.approx(seconds, rel=1e-4)
        assert left_s(np.array([0.0]), sure, stakes)[0] == pytest.approx(0.0, abs=1e-9)


def test_where_nothing_is_filed_only_the_answer_counts() -> None:
    never = replace(STAKES, may_file=False, floor_mm=-0.1)
    assert cost_s(np.array([0.1, 0.5]), np.array([0.1, 0.05]), never).tolist() == [300.0, 0.0]
    barred = replace(STAKES, barred=True)
    assert cost_s(np.array([0.1, 0.5]), np.array([0.05, 0.05]), barred).tolist() == [0.0, 0.0]


@pytest.mark.parametrize(("mean", "sd"), [(0.15, 0.1), (0.4, 0.1)])
def test_a_take_saves_the_cost_now_less_the_mean_cost_then(mean: float, sd: float) -> None:
    after = np.array([0.03, 0.06, 0.2])
    found = gain_s(mean, sd, after, STAKES)
    nodes, weights = np.polynomial.hermite_e.hermegauss(9)
    now = float(cost_s(np.array([mean]), np.array([sd]), STAKES)[0])
    for gain, left in zip(found, np.minimum(after, sd), strict=True):
        told = math.sqrt(sd**2 - left**2)
        then = [float(cost_s(np.array([mean + told * x]), np.array([left]), STAKES)[0]) for x in nodes]
        assert gain == pytest.approx(now - np.dot(then, weights) / weights.sum(), abs=1e-6)
    assert found[2] == pytest.approx(0.0, abs=1e-9)  # a run that tells nothing saves nothing


def test_times_that_takes_need() -> None:
    run = run_of((3,), Stop.PRESS, ((1, 2, 1), (3, 4, 3)))
    assert [p.stop for p in run.takes] == [
        Stop.OPEN,
        *3 * [Stop.PRESS],
        Stop.OPEN,
        *3 * [Stop.PRESS],
        Stop.OPEN,
    ]
    assert run.seconds == 9 * 12.0
    leaves = Run(((Position(1, Stop.LEAF, 1, leaf_mm=0.2), Position(1, Stop.LEAF, 1, leaf_mm=0.25)),))
    assert leaves.seconds == 2 * 12.0 + 2 * 20.0
    bare = replace(leaves, bare=frozenset({1}))
    assert bare.takes == bare.stopped
    assert bare.seconds == 2 * 20.0
    other = replace(leaves, bare=frozenset({2}))
    assert other.takes == leaves.takes
    joined = Run.joined((bare, run_of((1,), Stop.PRESS, ((1,),)), run_of((2,), Stop.PRESS, ((1,),))))
    assert [p.stop for p in joined.takes] == [Stop.LEAF, Stop.LEAF, *2 * [Stop.OPEN, Stop.PRESS, Stop.OPEN]]
    assert joined.bare == {1}
    assert joined.begun(5) == Run(joined.parts[:2], joined.bare)
    assert decision.PASS_S == 6 * 60


def test_a_long_run_is_begun() -> None:
    run = run_of((2,), Stop.PRESS, 4 * ((1, 2, 1),))
    assert len(run.takes) == 17
    assert run.begun(17) == run
    assert len(run.begun(16).takes) == 13
    assert len(run.begun(3).parts) == 1  # one part at least
    both = run_of((2, 1), Stop.PRESS, ((1,),))
    assert both.strings == {1, 2}
    assert [p.string for p in both.takes] == [2, 2, 2, 1, 1, 1]


# The choice among runs


POSITIONS = tuple(Position(n, Stop.PRESS, f) for n in (1, 2) for f in (1, 2))


def outlook(spread_mm: tuple[float, float] = (0.1, 0.1), *, per_take: float = 0.5) -> Outlook:
    """Two slots, each with two presses that tell it alone; one leaves so much of its variance."""
    count = 6
    covariance = np.zeros((count, count))
    for s in range(2):
        variance = spread_mm[s] ** 2
        covariance[s, s] = variance
        for k in (2 + 2 * s, 3 + 2 * s):
            covariance[s, k] = covariance[k, s] = variance
            for m in (2 + 2 * s, 3 + 2 * s):
                covariance[k, m] = variance
    noise = np.repeat([spread_mm[0] ** 2, spread_mm[1] ** 2], 2) * per_take / (1 - per_take)
    return Outlook((1, 2), POSITIONS, np.zeros(4), covariance, noise)


def slots(**stakes: object) -> SlotsAtStake:
    each = (replace(STAKES, **stakes), replace(STAKES, **stakes))
    return SlotsAtStake((1, 2), np.array([0.2, 0.2]), np.array([0.1, 0.1]), each)


RUNS = tuple(run_of((n,), Stop.PRESS, ((1,),)) for n in (1, 2))


@pytest.mark.parametrize(
    ("pays", "times"),
    [(next_takes.PAYS, 5), (next_takes.PAYS_BESIDE_LEAVES, 12), (next_takes.LEAVES_PAY, 4)],
)
def test_a_run_is_asked_for_that_saves_so_many_times_what_it_costs(
    monkeypatch: pytest.MonkeyPatch, pays: float, times: float
) -> None:
    """Presses 5 times, leaves 4 times, presses where leaves lie at hand 12 times (decision 11)."""
    for part, chosen in ((1.04, True), (0.96, False)):
        saved = part * times * RUNS[0].seconds
        monkeypatch.setattr(next_takes, "saved_s", lambda _, after: np.full(after.shape[0], saved))  # noqa: B023
        assert bool(_choose(slots(), outlook(), RUNS[:1], pays=pays)) is chosen


@pytest.mark.parametrize(("part", "chosen"), [(0.034, True), (0.026, False)])
def test_a_run_that_hardly_narrows_a_slot_is_not_asked_for(
    monkeypatch: pytest.MonkeyPatch, part: float, chosen: bool
) -> None:
    monkeypatch.setattr(next_takes, "saved_s", lambda _, after: np.full(after.shape[0], 1e6))
    view = outlook(per_take=(1 - part) ** 2)
    assert 1 - _sds(view, [0])[0] / _sds(view, [])[0] == pytest.approx(part)
    assert bool(_choose(slots(), view, RUNS[:1], pays=5.0)) is chosen
    assert not _choose(slots(barred=True), outlook(), RUNS[:1], pays=5.0)  # nothing hangs on a barred slot


def test_runs_are_chosen_by_what_they_save_for_their_time_and_added_while_they_pay() -> None:
    view, believed = outlook(), slots()
    both = _choose(believed, view, RUNS, pays=0.01)
    assert [run.strings for run in both] == [{1}, {2}]
    # the second is asked for only for what it saves beside the first
    one = gain_s(0.2, 0.1, np.array([_sds(view, [0])[0]]), STAKES)[0]
    rate = one / RUNS[0].seconds
    assert rate > 0
    assert _choose(believed, view, RUNS, pays=0.99 * rate) == both
    assert _choose(believed, view, RUNS, pays=1.01 * rate) == ()
    # of two runs of a string one is chosen, the better one for its time
    longer = run_of((1,), Stop.PRESS, ((1, 2),))
    known = gain_s(0.2, 0.1, np.array([_sds(view, [0, 1])[0]]), STAKES)[0]
    better = longer if known / longer.seconds > rate else RUNS[0]
    assert _choose(believed, view, (RUNS[0], longer), pays=0.01) == (better,)


def test_no_more_than_sixteen_takes_are_asked_for_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(next_takes, "saved_s", lambda _, after: np.sum(1e6 * (0.1 - after), axis=1))
    long = tuple(run_of((n,), Stop.PRESS, 2 * ((1, 2, 1),)) for n in (1, 2))
    assert [len(run.takes) for run in long] == [9, 9]
    assert [run.strings for run in _choose(slots(), outlook(), long, pays=0.01)] == [{1}]
    short = (long[0], run_of((2,), Stop.PRESS, ((1, 2, 1),)))
    assert [run.strings for run in _choose(slots(), outlook(), short, pays=0.01)] == [{1}, {2}]
    whole = (run_of((2,), Stop.PRESS, 4 * ((1, 2, 1),)),)
    assert [len(run.takes) for run in _choose(slots(), outlook(), whole, pays=0.01)] == [13]


def test_the_reason_of_a_run_tells_how_much_it_narrows_and_whom() -> None:
    covariance = outlook((0.1, 0.2)).covariance
    covariance[1, 2] = covariance[2, 1] = 0.01  # string 2 learns a little from string 1
    view = replace(outlook((0.1, 0.2)), covariance=covariance)
    told = _asked(slots(), view, (RUNS[0],))
    assert told.first is not None
    why = told.first.why
    assert told.takes == RUNS[0].takes
    assert told.first.position == RUNS[0].stopped[0]
    assert why.string == 1
    assert why.half_width_mm == pytest.approx(stats.norm.ppf(0.95) * 0.1, rel=2e-4)
    assert why.share == pytest.approx(1 - math.sqrt(0.5))
    left = 0.2**2 - 0.01**2 / 0.02
    narrows = 1 - math.sqrt(left) / 0.2
    assert why.helps == ((2,) if narrows >= 0.03 else ())
    covariance[1, 2] = covariance[2, 1] = 0.01 * math.sqrt(2.3)
    narrows = 1 - math.sqrt(0.2**2 - 2.3e-4 / 0.02) / 0.2
    assert narrows > 0.03
    assert _asked(slots(), replace(view, covariance=covariance), (RUNS[0],)).first.why.helps == (2,)


def test_a_leaf_tells_its_yes_or_no_and_a_run_all_its_takes() -> None:
    # Two presses of one slot one after the other: precisions add up.
    view = outlook()
    assert _sds(view, [0, 1])[0] == pytest.approx(1 / math.sqrt(1 / 0.01 + 2 / 0.01))
    assert _sds(view, [0])[1] == pytest.approx(0.1)
    assert _sds(replace(view, covariance=np.zeros((6, 6))), []) == pytest.approx([1e-4, 1e-4])


def test_amounts_of_normal_beliefs_scale() -> None:
    mean, sd = np.array([0.4, 0.2]), np.array([0.05, 0.05])
    whole = removal.normal_spared_mm(mean, sd)
    for i in range(2):
        assert whole[i] == pytest.approx(allowed_mm(mean[i], sd[i]), rel=0.01)
    excess = Belief.normal(0.4, 0.05)
    # the floor is nearer than the target: a thousandth of belief there
    near = removal.spared_mm(excess, above_floor_mm=0.05)
    risk = removal.belief_under(excess, near, below_mm=0.05)
    assert risk <= 0.001 < removal.belief_under(
        excess, near + 0.0101, below_mm=0.05
    ) or near == removal.spared_mm(excess)


@pytest.mark.parametrize(
    ("amount", "aim", "worth"),
    [
        (0.048, Aim.SET_UP, False),
        (0.052, Aim.SET_UP, True),
        (0.028, Aim.NEW_NUT, False),
        (0.032, Aim.NEW_NUT, True),
    ],
)
def test_a_pass_is_worth_so_much(amount: float, aim: Aim, worth: bool) -> None:
    assert removal.is_worth_a_pass({1: 0.0, 2: amount}, aim) is worth


@pytest.mark.parametrize(("z", "worth"), [(1.25, False), (1.32, True)])
def test_worth_filing_is_nine_in_ten(z: float, worth: bool) -> None:
    assert removal.is_worth_filing(Belief.normal(0.1 + z * 0.04, 0.04), worth_mm=0.1) is worth


def test_less_than_three_hundredths_is_nothing() -> None:
    for mean in np.linspace(0.02, 0.12, 21):
        amount = removal.removal_mm(Belief.normal(float(mean), 0.01), above_floor_mm=1.0, worth_mm=0.0)
        assert amount == 0.0 or amount >= 0.03
        spared = removal.spared_mm(Belief.normal(float(mean), 0.01))
        worth = stats.norm.sf(0.0, mean, 0.01) >= 0.9
        assert amount == (spared if spared >= 0.03 and worth else 0.0)
