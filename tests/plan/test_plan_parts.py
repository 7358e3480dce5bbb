"""Parts of a plan, each by itself: what a verdict rests on, and when the leaves decide."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from helpers.fits import Made, make_fit, make_job
from pitchcheck.findings import FirstFretHeard, PressHeard, SlotAgainstTarget
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import Nut, SessionSettings
from pitchcheck.judgement import Bar, BarKind, SlotGoal, SlotJudgement, Verdict, Witness
from pitchcheck.physics.gauges import third_fret_clearance_mm
from pitchcheck.plan import NextTakes
from pitchcheck.plan.make import LEAF_MARGIN_MM, _evidence, _leaf_decides_mm
from pitchcheck.takes import Position, Stop

AIM = 0.35
JOB: SessionSettings = make_job(("E4",), target_heights={1: AIM})
GOAL = SlotGoal(target_mm=AIM, tolerance_mm=0.1, floor_mm=0.1)


def slot(height_mm: float | None = 0.45, verdict: Verdict = Verdict.UNSURE, **more: Any) -> SlotJudgement:
    belief = None if height_mm is None else Belief.normal(height_mm, 0.1)
    return replace(SlotJudgement(1, "E4", GOAL, Nut.SLOTTED, belief, verdict, Witness.PRESS), **more)


def heard(*notes: tuple[int, Stop, int | None, int, float]) -> Any:
    stopped = [
        SimpleNamespace(take=SimpleNamespace(position=Position(string, stop, fret, capo)), error_cents=cents)
        for string, stop, fret, capo, cents in notes
    ]
    return SimpleNamespace(stopped=stopped)


def test_a_verdict_rests_on_the_strings_own_presses_from_the_nut() -> None:
    string = make_fit([Made(0.8)], targets_mm=AIM).strings[0]
    survey = heard(
        (1, Stop.PRESS, 2, 0, 20.0),
        (1, Stop.PRESS, 1, 0, 10.0),
        (1, Stop.PRESS, 1, 0, 13.0),
        (1, Stop.PRESS, 3, 2, 50.0),  # under a capo the slot is not in it
        (1, Stop.FRET, 1, 0, 5.0),
        (2, Stop.PRESS, 1, 0, 90.0),
    )
    shown = _evidence(JOB, replace(string, first_fret_cents=(4.0, 1.0)), slot(0.8, Verdict.HIGH), survey)
    assert shown == (
        FirstFretHeard(4.0),
        PressHeard(1, 11.5, 2),
        PressHeard(2, 20.0, 1),
        SlotAgainstTarget(string.height_mm, AIM),
    )
    bare = _evidence(JOB, replace(string, first_fret_cents=None), slot(0.8, Verdict.HIGH), None)
    assert bare == (SlotAgainstTarget(string.height_mm, AIM),)


NOTHING = NextTakes((), None)


@pytest.mark.parametrize(
    ("judged", "removed_mm", "upcoming", "decides"),
    [
        (slot(), 0.0, (), True),
        (slot(), 0.0, (Position(1, Stop.LEAF, 1, leaf_mm=0.2),), True),
        (slot(), 0.0, (Position(1, Stop.PRESS, 1),), False),  # a press may still settle it
        (slot(), 0.0, (Position(1, Stop.FRET, 1),), False),
        (slot(), 0.1, (), False),  # it is filed now
        (slot(None), 0.0, (), False),
        (slot(nut=Nut.LOCKING), 0.0, (), False),
        (slot(bars=(Bar(BarKind.CATCHING),)), 0.0, (), False),
        (slot(0.3, Verdict.FINE), 0.0, (), False),
        (slot(0.0, Verdict.LOW), 0.0, (), False),
        (slot(0.1), 0.0, (), False),  # surely not high
        (slot(0.8, Verdict.HIGH), 0.0, (), True),  # high, and too little comes off for a pass
    ],
)
def test_where_no_take_settles_a_slot_the_gap_decides(
    judged: SlotJudgement, removed_mm: float, upcoming: tuple[Position, ...], decides: bool
) -> None:
    found = _leaf_decides_mm(JOB, judged, removed_mm, replace(NOTHING, takes=upcoming))
    if not decides:
        assert found is None
        return
    # filed above target by what is worth filing and a leaf's margin, as the gap over fret 1
    height = AIM + JOB.target.worth_filing_mm + LEAF_MARGIN_MM
    assert found == pytest.approx(third_fret_clearance_mm(height))
    # 0.4856 of it by straight lines: docs/method.md
    assert found == pytest.approx(0.4856 * height, rel=1e-3)
