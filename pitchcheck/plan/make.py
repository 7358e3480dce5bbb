"""The plan for the whole nut, string by string and as one piece.

Conventions: mm and cents; verdicts and removals follow docs/formats.md and are made on unrounded beliefs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from pitchcheck.diagnosis.limits import DiagnosisLimits
from pitchcheck.diagnosis.sharpness import not_the_slot
from pitchcheck.findings import Evidence, Finding, FirstFretHeard, PressHeard, SlotAgainstTarget
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import HARDLY_USED, Fit, StringFit
from pitchcheck.instrument import Aim, Board, Nut, SessionSettings, Tailpiece
from pitchcheck.judgement import SlotJudgement, Verdict, Witness, bar_filing, judge_slots
from pitchcheck.physics.gauges import third_fret_clearance_mm
from pitchcheck.plan.bottom import LEAST_FITTED_MM, LEAST_NEW_MM, nut_bottom
from pitchcheck.plan.predict import first_fret_after_cents
from pitchcheck.plan.records import (
    NOTHING_MORE,
    AfterRemoval,
    FloatingBridge,
    HardlyUsed,
    NextTakes,
    NotMeasured,
    NotPressed,
    NutBottom,
    Plan,
    ScallopedBoard,
    SlotDoubt,
    StringPlan,
    TargetBelowFloor,
    WorthTelling,
)
from pitchcheck.plan.removal import is_worth_a_pass, removal_mm
from pitchcheck.survey import Survey
from pitchcheck.takes import Stop

# [mm] A leaf tells the gap to 0.013 mm, so the height to 0.027; with 90 % belief that is 1.28 times as much.
LEAF_MARGIN_MM = 0.034


def make_plan(
    settings: SessionSettings,
    fit: Fit | None,
    findings: Sequence[Finding],
    *,
    slots: Sequence[SlotJudgement] | None = None,
    survey: Survey | None = None,
    upcoming: NextTakes = NOTHING_MORE,
    lengths: tuple[WorthTelling, ...] = (),
) -> Plan:
    """Turn judgements into safe removals and what is known besides.

    Parameters
    ----------
    settings : SessionSettings
        Instrument, targets, gauge readings.
    fit : Fit or None
        None when nothing could be measured: every string is then unsure and nothing comes off.
    findings : sequence of Finding
        What the diagnosis found; some of them forbid filing.
    slots : sequence of SlotJudgement, optional
        The judgement of the slots, with what bars filing; made here when left out.
    survey : Survey, optional
        Gives the notes as heard for the evidence.
    upcoming : NextTakes, optional
        What is worth playing next; handed on.
    lengths : tuple of WorthTelling, optional
        What is worth measuring; handed on.

    Returns
    -------
    Plan
        One entry per string of the instrument, in its order.
    """
    if slots is None:
        slots = bar_filing(judge_slots(settings, fit), fit=fit, findings=findings, survey=survey)
    fits = {} if fit is None else {string.number: string for string in fit.strings}
    removals = _removals(settings, slots)
    strings = tuple(
        StringPlan(slot, doubts=(NotMeasured(),))
        if fit is None or slot.number not in fits
        else replace(
            _plan_string(settings, fit, fits[slot.number], slot, survey, removals.get(slot.number, 0.0)),
            leaf_decides_mm=_leaf_decides_mm(settings, slot, removals.get(slot.number, 0.0), upcoming),
        )
        for slot in slots
    )
    cut = None if fit is None else _plan_bottom(settings, fit, slots, removals)
    return Plan(
        strings=strings,
        nut_bottom=cut,
        next_take=upcoming.first,
        next_takes=upcoming.takes,
        lengths=lengths,
    )


def _leaf_decides_mm(
    settings: SessionSettings, slot: SlotJudgement, removed_mm: float, upcoming: NextTakes
) -> float | None:
    """Return the gap above which a slot is filed that no further press would settle. [mm]"""
    if slot.height_mm is None or slot.nut is not Nut.SLOTTED or slot.bars or removed_mm > 0:
        return None
    if any(take.stop in (Stop.PRESS, Stop.FRET) for take in upcoming.takes):
        return None
    if slot.surely_not_high or slot.verdict in (Verdict.LOW, Verdict.FINE):
        return None
    height = slot.goal.target_mm + settings.target.worth_filing_mm + LEAF_MARGIN_MM
    return third_fret_clearance_mm(height)


def _removals(settings: SessionSettings, slots: Sequence[SlotJudgement]) -> dict[int, float]:
    """What may come off every slot now; nothing where it is not worth slackening the strings for. [mm]"""
    found = {}
    for slot in slots:
        excess = slot.excess_mm
        if excess is None or not slot.spares(settings.target.aim):
            continue
        amount = removal_mm(
            excess,
            above_floor_mm=slot.goal.target_mm - slot.goal.floor_mm,
            worth_mm=settings.target.worth_filing_mm,
        )
        if amount > 0:
            found[slot.number] = amount
    return found if is_worth_a_pass(found, settings.target.aim) else {}


def _plan_string(
    settings: SessionSettings,
    fit: Fit,
    string: StringFit,
    slot: SlotJudgement,
    survey: Survey | None,
    remove: float,
) -> StringPlan:
    """Plan one measured slot."""
    excess = string.height_mm.shifted(-slot.goal.target_mm)
    return StringPlan(
        slot,
        remove_now_mm=remove,
        raise_mm=max(0.0, -excess.median) if slot.verdict is Verdict.LOW else None,
        after=_after(fit, string, slot, remove) if remove > 0 else None,
        evidence=_evidence(settings, string, slot, survey),
        doubts=_doubts(settings, fit, slot),
    )


def _after(fit: Fit, string: StringFit, slot: SlotJudgement, removed_mm: float) -> AfterRemoval:
    """Predict the first fret and the gap after a removal."""
    return AfterRemoval(
        removed_mm=removed_mm,
        first_fret_cents=first_fret_after_cents(
            string,
            target_mm=slot.goal.target_mm,
            removed_mm=removed_mm,
            touch_mm=max(0.0, fit.touch_mm.median),
        ),
        clearance_mm=third_fret_clearance_mm(string.height_mm.median - removed_mm),
    )


def _evidence(
    settings: SessionSettings, string: StringFit, slot: SlotJudgement, survey: Survey | None
) -> tuple[Evidence, ...]:
    """Return what the verdict rests on."""
    shown: list[Evidence] = []
    if string.first_fret_cents is not None:
        shown.append(FirstFretHeard(string.first_fret_cents[0]))
    heard: dict[int, list[float]] = {}
    for stopped in () if survey is None else survey.stopped:
        place = stopped.take.position
        if place.string == string.number and place.stop is Stop.PRESS and place.fret and not place.capo:
            heard.setdefault(place.fret, []).append(stopped.error_cents)
    shown += [PressHeard(fret, float(np.mean(values)), len(values)) for fret, values in sorted(heard.items())]
    shown.append(SlotAgainstTarget(string.height_mm, slot.goal.target_mm))
    spared = not_the_slot(string, slot, scale_mm=settings.instrument.scale_mm, limits=DiagnosisLimits())
    return (*shown, spared) if spared is not None else tuple(shown)


def _doubts(settings: SessionSettings, fit: Fit, slot: SlotJudgement) -> tuple[SlotDoubt, ...]:
    """Return what the verdict might suffer from."""
    doubts: list[SlotDoubt] = list(slot.bars)
    if slot.witness is Witness.GAUGE:
        doubts.append(NotPressed())
    if slot.witness is not Witness.PRESS and settings.instrument.board is Board.SCALLOPED:
        doubts.append(ScallopedBoard())
    if settings.instrument.tailpiece is Tailpiece.FLOATING:
        doubts.append(FloatingBridge())
    if slot.goal.target_mm < slot.goal.floor_mm:
        doubts.append(TargetBelowFloor())
    doubts += [
        HardlyUsed(residual.row, residual.position, residual.heard_cents - residual.expected_cents)
        for residual in fit.residuals
        if residual.position.string == slot.number and residual.weight < HARDLY_USED
    ]
    return tuple(doubts)


def _plan_bottom(
    settings: SessionSettings, fit: Fit, slots: Sequence[SlotJudgement], removals: Mapping[int, float]
) -> NutBottom | None:
    """Return the cut at the bottom of the nut, if all slots or the two outer ones alone ask for it."""
    numbers = sorted(slot.number for slot in slots)
    heard = sorted(slot.number for slot in slots if slot.height_mm is not None)
    ends = [numbers[0], numbers[-1]]
    if settings.instrument.nut is not Nut.SLOTTED or len(numbers) < 2 or heard not in (numbers, ends):
        return None
    if any(slot.bars for slot in slots) or 2 * len(removals) <= len(heard):
        return None
    order = {string.number: i for i, string in enumerate(fit.strings)}
    excess: dict[int, Belief] = {s.number: s.excess_mm for s in slots if s.excess_mm is not None}
    chosen = [order[number] for number in heard]
    again = fit.joint is not None and len(fit.joint.effects) > 1
    fresh = settings.target.aim is Aim.NEW_NUT and not again
    return nut_bottom(
        [excess[number] for number in heard],
        numbers=heard,
        covariance_mm2=fit.height_covariance_mm2[np.ix_(chosen, chosen)],
        least_mm=LEAST_NEW_MM if fresh else LEAST_FITTED_MM,
        removals_mm=removals,
        outer_only=heard != numbers,
    )
