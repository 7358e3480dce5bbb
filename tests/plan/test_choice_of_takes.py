"""Which takes are looked at, and which of them asked for, part by part, with beliefs written down."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from helpers.planted import job_of
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.joint import Outlook
from pitchcheck.fit.result import Unsettled, UnsettledKind
from pitchcheck.instrument import Fretwork, Nut
from pitchcheck.judgement import Bar, BarKind, SlotGoal, SlotJudgement, Verdict, Witness
from pitchcheck.plan import next_takes as module
from pitchcheck.plan.at_stake import SlotsAtStake, saved_s, slots_at_stake
from pitchcheck.plan.decision import PASS_S, Stakes, gain_s
from pitchcheck.plan.leaves_at_hand import leaves_left_out
from pitchcheck.plan.next_takes import (
    _likely_left,
    _narrowest,
    _narrows,
    _pressed_again,
    _told_apart,
)
from pitchcheck.plan.runs import Run, leaf_runs
from pitchcheck.takes import Position, Stop, Take

JOB = job_of("electric")
STAKES = Stakes(worth_mm=0.1, may_file=True, pass_s=200.0)
GOAL = SlotGoal(target_mm=0.3, tolerance_mm=0.1, floor_mm=0.1)


def leaf(string: int, mm: float) -> Position:
    return Position(string, Stop.LEAF, 1, leaf_mm=mm)


def take(row: int, string: int, stop: Stop = Stop.OPEN) -> Take:
    fret = None if stop is Stop.OPEN else 1
    return Take(row, None, Position(string, stop, fret), 110.0, 0.1, float(row))


def slot(
    number: int, height_mm: float, *, verdict: Verdict = Verdict.UNSURE, bars: Any = ()
) -> SlotJudgement:
    belief = Belief.normal(height_mm, 0.05)
    return SlotJudgement(number, "E4", GOAL, Nut.SLOTTED, belief, verdict, Witness.PRESS, tuple(bars))


def gap_fit(gap_mm: float, sd_mm: float) -> Any:
    """A fit that believes so of the gap over fret 1."""

    def outlook(_: object, positions: tuple[Position, ...], *, reading_cents: float) -> Outlook:
        return Outlook((1,), positions, np.array([gap_mm]), np.diag([1.0, sd_mm**2]), np.zeros(1))

    return SimpleNamespace(joint=SimpleNamespace(outlook=outlook))


def test_leaves_lie_within_reach_of_the_gap_that_is_believed() -> None:
    # 1.3 sd about 0.40 mm are 0.335 to 0.465: leaves of 0.35, 0.40 and 0.45, up to three at once
    found = [tuple(p.leaf_mm for p in run.stopped) for run in leaf_runs(JOB, gap_fit(0.40, 0.05), 3)]
    assert found == [
        *((0.35,), (0.40,), (0.45,)),
        *((0.35, 0.40), (0.40, 0.45), (0.35, 0.45)),
        (0.35, 0.40, 0.45),
    ]
    runs = list(leaf_runs(JOB, gap_fit(0.40, 0.05), 3))
    assert {(p.string, p.stop, p.fret) for run in runs for p in run.stopped} == {(3, Stop.LEAF, 1)}
    assert all(len(run.parts) == 1 for run in runs)


def test_where_little_is_known_leaves_lie_up_to_three_steps_apart() -> None:
    # 0.34 to 0.86 mm: eleven leaves; two of them one to three steps apart, three likewise
    found = [tuple(p.leaf_mm for p in run.stopped) for run in leaf_runs(JOB, gap_fit(0.60, 0.20), 1)]
    counts = {n: sum(len(one) == n for one in found) for n in (1, 2, 3, 4)}
    assert counts == {1: 11, 2: 10 + 9 + 8, 3: 9 + 7 + 5, 4: 0}
    assert (0.35, 0.50, 0.65) in found
    # no leaf is thinner than the thinnest
    thin = [p.leaf_mm for run in leaf_runs(JOB, gap_fit(0.03, 0.05), 1) for p in run.stopped]
    assert min(mm for mm in thin if mm is not None) == pytest.approx(0.05)


def slots(*, barred: tuple[bool, bool] = (False, False)) -> SlotsAtStake:
    each = tuple(replace(STAKES, barred=one) for one in barred)
    return SlotsAtStake((1, 2), np.array([0.2, 0.3]), np.array([0.1, 0.08]), each)


def test_gains_add_up_over_slots_and_the_most_narrowed_open_slot_counts() -> None:
    after = np.array([[0.05, 0.08], [0.1, 0.02]])
    one_by_one = [
        [
            float(gain_s(mean, sd, np.array([a]), STAKES)[0])
            for mean, sd, a in zip((0.2, 0.3), (0.1, 0.08), row, strict=True)
        ]
        for row in after
    ]
    assert saved_s(slots(), after) == pytest.approx(np.sum(one_by_one, axis=1))
    before = np.array([0.1, 0.08])
    assert _narrows(slots(), after, before) == pytest.approx([0.5, 0.75])
    assert _narrows(slots(barred=(False, True)), after, before) == pytest.approx([0.5, 0.0])


def leaves_outlook(*sds_mm: float, prior_mm: float = 0.1) -> tuple[Outlook, list[Run]]:
    """One leaf a place that leaves so much of the width of slot 1; slot 2 is not told of."""
    places = tuple(leaf(1, 0.1 * (i + 1)) for i in range(len(sds_mm)))
    runs = [Run(((place,),)) for place in places]

    class Told(Outlook):
        def heights_after(self, run: Any = ()) -> np.ndarray:
            left = min([prior_mm, *(sds_mm[i] for i in run)])
            return np.diag([left**2, 0.04])

    return Told((1, 2), places, np.zeros(len(places)), np.eye(2 + len(places)), np.zeros(len(places))), runs


def test_the_leaves_that_narrow_most_for_their_time_are_laid() -> None:
    outlook, runs = leaves_outlook(0.09, 0.06, 0.07)
    assert _narrowest(slots(), outlook, 1, runs, least=0.0) is runs[1]
    longer = Run(((*runs[1].stopped, *runs[2].stopped),))  # as narrow, in more time
    assert _narrowest(slots(), outlook, 1, [longer, *runs], least=0.0) is runs[1]
    # by less than a tenth of the width, as a logarithm, leaves tell nothing new
    for left, laid in ((0.1 * np.exp(-0.11), True), (0.1 * np.exp(-0.09), False)):
        outlook, runs = leaves_outlook(float(left))
        found = _narrowest(slots(), outlook, 1, runs, least=module.LEAF_NARROWS)
        assert (found is runs[0]) is laid
    assert _narrowest(slots(), outlook, 2, runs, least=0.0) is None  # of slot 2 they tell nothing


def test_a_slot_more_likely_than_not_above_fine_is_left() -> None:
    # target 0.3, tolerance 0.1: fine up to 0.5
    judged = [slot(1, 0.49), slot(2, 0.51), replace(slot(3, 0.9), height_mm=None)]
    assert _likely_left(judged) == {2}


def presses_doubted(*strings: int, worst: tuple[int, ...] = ()) -> Any:
    unsettled = (Unsettled(UnsettledKind.PRESSES, strings), Unsettled(UnsettledKind.LEAF, (6,)))
    return SimpleNamespace(unsettled=unsettled, misfit=SimpleNamespace(strings=worst) if worst else None)


def survey(*, presses: dict[int, int], opens: dict[int, int], more: tuple[Take, ...] = ()) -> Any:
    stopped = [take(100 + i, s, Stop.PRESS) for s, n in presses.items() for i in range(n)]
    opened = [take(i, s) for s, n in opens.items() for i in range(n)]
    laid = [SimpleNamespace(take=one) for one in more]
    return SimpleNamespace(stopped=[SimpleNamespace(take=one) for one in stopped], opens=opened, leaves=laid)


def test_presses_that_contradict_the_rest_are_asked_for_again_the_worst_first() -> None:
    heard = survey(presses={1: 2, 2: 3, 3: 6, 4: 2, 5: 5}, opens={1: 3, 2: 3, 3: 3, 4: 8, 5: 7})
    fit = presses_doubted(1, 2, 3, 4, 5, 6, worst=(5, 2))
    found = _pressed_again(heard, fit)
    # string 3 was pressed enough, 4 has open takes enough, 6 was never pressed
    assert [run.stopped[0].string for run in found] == [5, 2, 1]
    assert [p.fret for p in found[0].stopped] == [1, 2, 1]
    assert all(p.stop is Stop.PRESS for run in found for p in run.stopped)
    found = _pressed_again(heard, presses_doubted(2, 1))
    assert [run.stopped[0].string for run in found] == [1, 2]
    assert _pressed_again(heard, SimpleNamespace(unsettled=(), misfit=None)) == []


def rows(*stops: Stop | None, string: int = 1) -> Any:
    """Takes of a string, row by row; None stands for a row that could not be used."""
    takes = [take(i, string, stop) for i, stop in enumerate(stops, 1) if stop is not None]
    return SimpleNamespace(
        opens=[one for one in takes if one.position.stop is Stop.OPEN],
        stopped=[SimpleNamespace(take=one) for one in takes if one.position.stop is not Stop.OPEN],
        leaves=[],
    )


@pytest.mark.parametrize(
    ("stops", "left_out"),
    [
        ((Stop.OPEN, Stop.OPEN, Stop.OPEN), True),
        ((Stop.OPEN, Stop.OPEN, Stop.PRESS, Stop.OPEN, Stop.OPEN), False),  # two runs meet
        ((Stop.OPEN, Stop.OPEN, None, Stop.OPEN), False),  # what could not be used may have stood there
        ((Stop.PRESS, Stop.OPEN, Stop.OPEN, Stop.OPEN), True),
        ((Stop.OPEN, Stop.OPEN), False),
        ((), False),
    ],
)
def test_three_open_takes_with_nothing_between_are_leaves_left_out(
    stops: tuple[Any, ...], left_out: bool
) -> None:
    assert leaves_left_out(rows(*stops)) is left_out


def test_takes_of_other_strings_between_are_no_leaves_left_out() -> None:
    one = rows(Stop.OPEN, None, Stop.OPEN, None, Stop.OPEN)
    one.opens.append(take(2, 2))
    assert not leaves_left_out(one)  # row 4 is missing
    one.opens.append(take(4, 2))
    assert leaves_left_out(one)  # of string 1 three open ones follow each other


def test_what_is_believed_and_what_hangs_on_it() -> None:
    numbers = (1, 2, 3, 4)
    fit: Any = SimpleNamespace(joint=SimpleNamespace(numbers=numbers))
    judged = [
        slot(1, 0.9),
        slot(2, 0.9, bars=[Bar(BarKind.SYMPTOM_ONLY)]),  # a press clears that up
        slot(3, 0.9, bars=[Bar(BarKind.CATCHING)]),
        slot(4, 0.3),
    ]
    found = slots_at_stake(JOB, fit, judged)
    assert found.numbers == numbers
    assert found.mean_mm == pytest.approx([0.6, 0.6, 0.6, 0.0], abs=1e-9)
    assert found.sd_mm == pytest.approx([0.05] * 4, rel=0.01)
    assert [one.barred for one in found.stakes] == [False, False, True, False]
    assert all(one.pass_s == pytest.approx(PASS_S / 2) for one in found.stakes)  # slots 1 and 2 share it
    assert all(one.floor_mm == pytest.approx(-0.2) and one.may_file for one in found.stakes)
    locked = slots_at_stake(JOB, fit, [replace(one, nut=Nut.LOCKING) for one in judged])
    assert not any(one.may_file for one in locked.stakes)
    assert all(one.pass_s == PASS_S for one in locked.stakes)


def told_apart(
    *, level: bool, undecided: tuple[int, ...], laid: dict[int, int], doubted: tuple[int, ...] = ()
) -> list[int]:
    """Strings on which leaves are laid; every leaf halves its string's slot. Slots 0.55 mm: above fine."""
    numbers = (1, 2, 3, 4)
    fretwork = Fretwork.LEVEL if level else Fretwork.UNKNOWN
    settings = replace(JOB, instrument=replace(JOB.instrument, fretwork=fretwork))

    def outlook(_: object, places: tuple[Position, ...], *, reading_cents: float) -> Outlook:
        class Told(Outlook):
            def heights_after(self, run: Any = ()) -> np.ndarray:
                told = {places[i].string for i in run}
                return np.diag([0.01 / (4 if n in told else 1) for n in numbers])

        count = len(places)
        covariance = np.diag([*[0.01] * 4, *[1e-6] * count])
        return Told(numbers, places, np.full(count, 0.4), covariance, np.zeros(count))

    unsettled = (Unsettled(UnsettledKind.PRESSES, doubted),) if doubted else ()
    fit: Any = SimpleNamespace(
        joint=SimpleNamespace(numbers=numbers, outlook=outlook), unsettled=unsettled, misfit=None
    )
    judged = [
        slot(
            n,
            0.55,
            verdict=Verdict.UNSURE if n in undecided else Verdict.HIGH,
            bars=[Bar(BarKind.UNSETTLED)] if n in doubted else [],
        )
        for n in numbers
    ]
    heard: Any = SimpleNamespace(
        opens=[],
        stopped=[],
        leaves=[
            SimpleNamespace(take=take(i, n, Stop.LEAF)) for n, count in laid.items() for i in range(count)
        ],
    )
    found = _told_apart(settings, heard, fit, judged, slots_at_stake(settings, fit, judged))
    return list(dict.fromkeys(p.string for p in found.takes))


def test_leaves_go_under_the_outer_strings_first_and_then_where_it_is_open() -> None:
    assert told_apart(level=False, undecided=(2,), laid={}) == [1, 4]
    assert told_apart(level=False, undecided=(2,), laid={1: 12, 4: 12}) == [2]
    assert told_apart(level=False, undecided=(2, 4), laid={1: 12, 4: 11}) == [4]
    assert told_apart(level=False, undecided=(), laid={}) == []
    assert told_apart(level=False, undecided=(3,), laid={1: 12, 3: 12, 4: 12}) == []  # nothing open is left
    # on level frets too, where a slot is likely above fine
    assert told_apart(level=True, undecided=(2,), laid={}) == [1, 4]
    # where presses contradict the rest only leaves tell: on level frets of these strings alone
    assert told_apart(level=False, undecided=(2,), laid={}, doubted=(2,)) == [1, 4]
