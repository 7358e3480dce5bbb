"""The whole plan: what is filed, what is spared and why, what to expect after it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from helpers.fits import EMPTY_SURVEY, Made, make_fit, make_job, neck_cents
from pitchcheck.diagnosis import Cause, Finding
from pitchcheck.findings import NotTheSlot
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Residual, Unsettled, UnsettledKind
from pitchcheck.instrument import Board, MeterQuantity, Nut, Tailpiece
from pitchcheck.judgement import Bar, BarKind
from pitchcheck.plan import NextTake, NextTakes, Plan, StringPlan, Verdict, make_plan
from pitchcheck.plan.predict import share_of_way
from pitchcheck.plan.records import FloatingBridge, HardlyUsed, NotPressed, ScallopedBoard
from pitchcheck.plan.removal import spared_mm
from pitchcheck.takes import Narrowing, Position, Stop
from pitchcheck.words.evidence import lines
from pitchcheck.words.slots import slot_doubt
from pitchcheck.words.steps import slot_steps

ONE = ("E4",)
AIM = 0.35


def plan_one(made: Made | None, *findings: Finding, nut: Nut = Nut.SLOTTED) -> StringPlan:
    settings = make_job(ONE, nut=nut, target_heights={1: AIM})
    return make_plan(settings, make_fit([made], targets_mm=AIM), findings).strings[0]


def steps(plan: StringPlan) -> tuple[str, ...]:
    """Steps of a string in words, no next take named."""
    return slot_steps(plan, instrument=make_job(ONE).instrument, next_take=None)


def test_a_high_slot_is_filed_in_part_with_its_cautions() -> None:
    plan = plan_one(Made(0.85))
    assert plan.verdict is Verdict.HIGH
    assert plan.remove_now_mm == spared_mm(Belief.normal(0.85 - AIM, 0.03))
    words = " ".join(steps(plan))
    for caution in ("eye protection", "Slacken", "cannot put material back", "measure before", "Stop when"):
        assert caution in words
    assert f"{plan.remove_now_mm:.2f} mm" in words


@pytest.mark.parametrize("nut", [Nut.LOCKING, Nut.ZERO_FRET])
def test_only_a_slotted_nut_is_filed(nut: Nut) -> None:
    plan = plan_one(Made(0.85), nut=nut)
    assert plan.verdict is Verdict.HIGH
    assert plan.remove_now_mm == 0.0
    assert "never filed" in steps(plan)[0]
    assert plan.after_cents is None


@pytest.mark.parametrize("cause", [Cause.CATCHING_SLOT, Cause.WORN_STRING, Cause.EAR_METER_DISAGREE])
def test_another_explanation_spares_the_slot_it_names_and_no_other(cause: Cause) -> None:
    finding = Finding(cause, (1,), (), 2.0, "cent", ())
    spared = plan_one(Made(0.85), finding)
    assert spared.verdict is Verdict.HIGH
    assert spared.remove_now_mm == 0.0
    assert spared.doubts == spared.slot.bars
    assert len(spared.doubts) == 1
    assert all(step.startswith("Do not file yet") for step in steps(spared))
    assert plan_one(Made(0.85), replace(finding, strings=(2,))).remove_now_mm > 0


@pytest.mark.parametrize(
    "cause", [Cause.SADDLE, Cause.NUT_POSITION, Cause.TOUCH, Cause.DRIFT, Cause.SLOT_HIGH]
)
def test_what_the_press_test_already_allows_for_spares_nothing(cause: Cause) -> None:
    assert plan_one(Made(0.85), Finding(cause, (1,), (), 0.5, "mm", ())).remove_now_mm > 0


def test_a_fret_spares_the_slot_only_when_it_is_as_sharp_as_the_excess() -> None:
    excess = float(neck_cents(0.85)[0] - neck_cents(AIM)[0])
    small = Finding(Cause.FRET, (1,), (1,), 0.9 * excess, "cent", ())
    assert plan_one(Made(0.85), small).remove_now_mm > 0
    assert plan_one(Made(0.85), replace(small, size=1.1 * excess)).remove_now_mm == 0.0
    assert plan_one(Made(0.85), replace(small, size=100.0, frets=(9,))).remove_now_mm > 0


def test_without_presses_only_the_symptom_is_told() -> None:
    plan = plan_one(Made(1.5, pressed=False))
    assert plan.slot.looks_high
    assert plan.verdict is Verdict.UNSURE  # a heavy hand sounds the same: nobody says "high"
    assert plan.remove_now_mm == 0.0
    assert plan.slot.bars == plan.doubts == (Bar(BarKind.SYMPTOM_ONLY),)
    assert any("press 1" in step for step in steps(plan))


def test_a_slot_that_was_gauged_may_be_filed_without_presses() -> None:
    plan = plan_one(Made(0.85, pressed=False, gauged=True))
    assert plan.remove_now_mm > 0
    assert plan.doubts == (NotPressed(),)
    assert plan_one(Made(0.85, pressed=False)).remove_now_mm == 0


def test_nothing_is_said_or_filed_until_a_contradiction_is_settled() -> None:
    fit = make_fit([Made(0.85)], targets_mm=AIM)
    wrong = Unsettled(UnsettledKind.LEAF, (1,), MeterQuantity.CLEARANCE_OPEN, 0.2, 0.4, 0.03)
    plan = make_plan(make_job(ONE, target_heights={1: AIM}), replace(fit, unsettled=(wrong,)), ()).strings[0]
    assert (plan.verdict, plan.remove_now_mm) == (Verdict.UNSURE, 0.0)
    assert plan.doubts == (Bar(BarKind.UNSETTLED),)
    other = replace(fit, unsettled=(replace(wrong, strings=(2,)),))
    assert make_plan(make_job(ONE, target_heights={1: AIM}), other, ()).strings[0].remove_now_mm > 0


def test_wrong_notes_spare_a_slot_left_without_press() -> None:
    settings = make_job(ONE, target_heights={1: AIM})
    wrong = Finding(Cause.WRONG_NOTE, (1,), (1,), 1.0, "takes", ())
    fit = make_fit([Made(0.85)], targets_mm=AIM)
    assert make_plan(settings, fit, (wrong,), survey=EMPTY_SURVEY).strings[0].remove_now_mm == 0.0
    assert make_plan(settings, fit, (wrong,)).strings[0].remove_now_mm > 0


def test_a_low_slot_is_raised_and_checked_for_buzz() -> None:
    plan = plan_one(Made(-0.05, 0.03))
    assert plan.verdict is Verdict.LOW
    assert plan.remove_now_mm == 0.0
    assert plan.raise_mm == pytest.approx(AIM + 0.05, abs=1e-3)
    words = " ".join(steps(plan))
    for part in ("Do not file", "buzz", "shim", "fill", "replace"):
        assert part in words
    assert plan_one(Made(AIM)).raise_mm is None


def test_below_target_but_above_the_floor_is_left_and_said() -> None:
    plan = plan_one(Made(0.2, 0.03))
    assert plan.verdict is Verdict.FINE
    assert "below its target" in steps(plan)[0]


def test_unsure_takes_nothing_off_and_names_the_next_take() -> None:
    settings = make_job(ONE, target_heights={1: AIM})
    take = NextTake(Position(1, Stop.PRESS, 3), Narrowing(1, 0.33, 0.4))
    plan = make_plan(
        settings, make_fit([Made(0.5, 0.2)], targets_mm=AIM), (), upcoming=NextTakes((take.position,), take)
    )
    assert plan.next_take is take
    assert plan.next_takes == (take.position,)
    assert plan.strings[0].verdict is Verdict.UNSURE
    assert plan.strings[0].remove_now_mm == 0.0
    said = slot_steps(plan.strings[0], instrument=settings.instrument, next_take=take)
    assert "press 3" in said[1]
    assert "±0.33 mm" in said[1]
    assert "40 %" in said[1]


def test_where_no_take_settles_a_slot_a_leaf_does_and_its_thickness_is_told() -> None:
    settings = make_job(ONE, target_heights={1: AIM})
    fit = make_fit([Made(AIM + 0.15, 0.08)], targets_mm=AIM)
    take = NextTake(Position(1, Stop.PRESS, 3), Narrowing(1, 0.13, 0.2))
    asked = make_plan(settings, fit, (), upcoming=NextTakes((take.position,), take)).strings[0]
    assert asked.leaf_decides_mm is None  # there is something to play first
    plan = make_plan(settings, fit, ()).strings[0]
    # target + tolerance + 1.28 x 0.027 mm, held behind fret 3: 0.4856 of a height, from the fret table
    assert plan.leaf_decides_mm == pytest.approx(0.4856 * (AIM + 0.10 + 0.034), abs=1e-3)
    assert plan.stop_clearance_mm == pytest.approx(0.4856 * AIM, abs=1e-4)
    said = " ".join(slot_steps(plan, instrument=settings.instrument, next_take=None))
    assert "above 0.24 mm" in said
    assert plan_one(Made(AIM, 0.02)).leaf_decides_mm is None  # decided
    assert plan_one(Made(AIM + 0.15, 0.08), nut=Nut.LOCKING).leaf_decides_mm is None


def test_every_string_of_the_settings_appears() -> None:
    settings = make_job()
    plan = make_plan(settings, make_fit([Made(0.8), None, Made(0.4)], targets_mm=0.4), ())
    assert [s.number for s in plan.strings] == [1, 2, 3, 4, 5, 6]
    blank = plan.strings[1]
    assert (blank.height_mm, blank.excess_mm, blank.clearance_third_mm, blank.raise_mm) == (None,) * 4
    assert (blank.verdict, blank.remove_now_mm) == (Verdict.UNSURE, 0.0)
    nothing = make_plan(settings, None, ())
    assert all(s.verdict is Verdict.UNSURE and s.remove_now_mm == 0 for s in nothing.strings)
    assert isinstance(nothing, Plan)


def test_doubts_name_the_floating_bridge_the_scalloped_board_and_the_bad_take() -> None:
    settings = make_job(ONE)
    board = replace(settings.instrument, tailpiece=Tailpiece.FLOATING, board=Board.SCALLOPED)
    bad = Residual(Position(1, Stop.PRESS, 1), 7, 30.0, 24.0, 0.5, 0.1)
    fit = make_fit([Made(0.5, pressed=False)], residuals=(bad,))
    plan = make_plan(replace(settings, instrument=board), fit, ()).strings[0]
    assert plan.doubts == (
        Bar(BarKind.SYMPTOM_ONLY),
        ScallopedBoard(),
        FloatingBridge(),
        HardlyUsed(7, Position(1, Stop.PRESS, 1), 6.0),
    )
    said = " ".join(slot_doubt(what) for what in plan.doubts)
    for part in ("floats", "scalloped", "row 7", "+6.0 cents"):
        assert part in said


def test_a_sharp_first_fret_over_a_fine_slot_is_not_the_slot() -> None:
    plan = plan_one(Made(AIM, 0.03, first_fret_cents=14.0))
    assert plan.verdict is Verdict.FINE
    (shown,) = (piece for piece in plan.evidence if isinstance(piece, NotTheSlot))
    assert shown.heard_cents == 14.0
    parts = shown.slot_cents + shown.touch_cents + shown.nut_cents + shown.usual_cents + shown.left_cents
    assert parts == pytest.approx(shown.heard_cents)
    assert "it is not the slot" in lines([shown])[0]
    near = plan_one(Made(AIM, first_fret_cents=2.0))
    assert not any(isinstance(piece, NotTheSlot) for piece in near.evidence)


def test_prediction_after_a_pass_follows_the_square_law() -> None:
    # The made-up curves are exact squares, so the way between them must be met exactly.
    plan = plan_one(Made(0.85))
    after = 0.85 - plan.remove_now_mm
    assert plan.after_cents == pytest.approx(float(neck_cents(after)[0]), abs=1e-3)
    assert plan.after_clearance_mm == pytest.approx(0.4856 * after, abs=1e-4)


@given(st.floats(0.1, 2.0), st.floats(0.0, 0.6), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_share_of_way_runs_from_nothing_to_all(excess: float, touch: float, a: float, b: float) -> None:
    low, high = sorted((a, b))
    shares = [
        share_of_way(0.3 + excess, target_mm=0.3, removed_mm=part * excess, touch_mm=touch)
        for part in (0.0, low, high, 1.0)
    ]
    assert shares[0] == 0.0
    assert shares[-1] == pytest.approx(1.0)
    assert shares == sorted(shares) or shares[1] == pytest.approx(shares[2])
