"""The plan for the whole nut, string by string and as one piece.

Conventions: mm and cents; verdicts and removals follow docs/formats.md and are made on unrounded beliefs.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcheck.diagnosis.finding import Finding
from pitchcheck.diagnosis.limits import DiagnosisLimits
from pitchcheck.diagnosis.sharpness import not_the_nut
from pitchcheck.diagnosis.slots import SlotGoal, slot_goal
from pitchcheck.diagnosis.words import belief_mm, cents, mm
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Fit, StringFit
from pitchcheck.instrument import Board, Nut, SessionSettings, Tailpiece
from pitchcheck.physics.gauges import third_fret_clearance_mm, third_fret_ratio
from pitchcheck.plan.blocks import reasons_not_to_file
from pitchcheck.plan.bottom import nut_bottom
from pitchcheck.plan.judge import safe_removal_mm, verdict
from pitchcheck.plan.predict import first_fret_after_cents
from pitchcheck.plan.records import NextTake, NutBottom, Plan, StringPlan, Verdict
from pitchcheck.plan.steps import (
    AfterRemoval,
    steps_bottom,
    steps_fine,
    steps_high,
    steps_low,
    steps_unmeasured,
    steps_unsure,
)
from pitchcheck.survey import Survey
from pitchcheck.takes import Stop

_SET_ASIDE = 0.5  # weight below which a take is mentioned as hardly used: chosen


def make_plan(
    settings: SessionSettings,
    fit: Fit | None,
    findings: Sequence[Finding],
    *,
    survey: Survey | None = None,
    next_take: NextTake | None = None,
) -> Plan:
    """Turn beliefs into verdicts, safe removals and steps.

    Parameters
    ----------
    job : Job
        Instrument, targets, gauge readings.
    fit : Fit or None
        None when nothing could be measured: every string is then unsure and nothing comes off.
    findings : sequence of Finding
        What the diagnosis found; some of them forbid filing.
    survey : Survey, optional
        Gives the notes as heard for the evidence.
    next_take : NextTake, optional
        Handed on, and told to the string it concerns.

    Returns
    -------
    Plan
        One entry per string of the instrument, in its order.
    """
    fits = {} if fit is None else {string.number: string for string in fit.strings}
    strings: list[StringPlan] = []
    barred: set[int] = set()
    for spec in settings.instrument.strings:
        if fit is None or spec.number not in fits:
            strings.append(_unmeasured(settings, spec.number))
            continue
        string = fits[spec.number]
        reasons = reasons_not_to_file(string, settings=settings, findings=findings, survey=survey)
        if reasons:
            barred.add(spec.number)
        strings.append(
            _plan_string(settings, fit, string, reasons=reasons, survey=survey, next_take=next_take)
        )
    cut = None if fit is None or barred else _plan_bottom(settings, fit, strings)
    return Plan(
        strings=tuple(strings),
        nut_bottom=cut,
        next_take=next_take,
        steps=() if cut is None else steps_bottom(cut),
    )


def _unmeasured(settings: SessionSettings, number: int) -> StringPlan:
    """Return the entry of a string without any measurement."""
    return StringPlan(
        number=number,
        note=settings.instrument.string(number).note,
        target_mm=slot_goal(settings, number).target_mm,
        height_mm=None,
        clearance_third_mm=None,
        excess_mm=None,
        verdict=Verdict.UNSURE,
        remove_now_mm=0.0,
        raise_mm=None,
        after_cents=None,
        after_clearance_mm=None,
        evidence=(),
        doubts=("not measured: no usable takes",),
        steps=steps_unmeasured(press=settings.instrument.board is not Board.SCALLOPED),
    )


def _plan_string(
    settings: SessionSettings,
    fit: Fit,
    string: StringFit,
    *,
    reasons: tuple[str, ...],
    survey: Survey | None,
    next_take: NextTake | None,
) -> StringPlan:
    """Judge one measured slot."""
    goal = slot_goal(settings, string.number)
    height, excess = string.height_mm, string.height_mm.shifted(-goal.target_mm)
    said = verdict(goal, height)
    nut = settings.instrument.nut
    may_file = said is Verdict.HIGH and nut is Nut.SLOTTED and not reasons
    remove = safe_removal_mm(excess) if may_file else 0.0
    after = _after(fit, string, goal, remove) if remove > 0 else None
    rise = max(0.0, -excess.median) if said is Verdict.LOW else None
    if said is Verdict.HIGH:
        steps = steps_high(goal, nut=nut, after=after, reasons=reasons)
    elif said is Verdict.LOW:
        steps = steps_low(goal, nut=nut, raise_mm=rise or 0.0)
    elif said is Verdict.FINE:
        steps = steps_fine(goal, height_mm=height.median)
    else:
        steps = steps_unsure(string.number, next_take=next_take)
    return StringPlan(
        number=string.number,
        note=settings.instrument.string(string.number).note,
        target_mm=goal.target_mm,
        height_mm=height,
        clearance_third_mm=height.scaled(third_fret_ratio()),
        excess_mm=excess,
        verdict=said,
        remove_now_mm=remove,
        raise_mm=rise,
        after_cents=None if after is None else after.first_fret_cents,
        after_clearance_mm=None if after is None else after.clearance_mm,
        evidence=_evidence(settings, string, goal, survey),
        doubts=_doubts(settings, fit, string, reasons),
        steps=steps,
    )


def _after(fit: Fit, string: StringFit, goal: SlotGoal, removed_mm: float) -> AfterRemoval:
    """Predict the first fret and the gap after a removal."""
    return AfterRemoval(
        removed_mm=removed_mm,
        first_fret_cents=first_fret_after_cents(
            string,
            target_mm=goal.target_mm,
            removed_mm=removed_mm,
            touch_mm=max(0.0, fit.touch_mm.median),
        ),
        clearance_mm=third_fret_clearance_mm(string.height_mm.median - removed_mm),
    )


def _evidence(
    settings: SessionSettings, string: StringFit, goal: SlotGoal, survey: Survey | None
) -> tuple[str, ...]:
    """Say what the verdict rests on."""
    words: list[str] = []
    if string.first_fret_cents is not None:
        words.append(f"the first fret was heard {cents(string.first_fret_cents[0])}")
    heard: dict[int, list[float]] = {}
    for stopped in () if survey is None else survey.stopped:
        place = stopped.take.position
        if place.string == string.number and place.stop is Stop.PRESS and place.fret and not place.capo:
            heard.setdefault(place.fret, []).append(stopped.error_cents)
    words += [
        f"press {fret} was heard {cents(float(np.mean(values)))}"
        + (f" (mean of {len(values)})" if len(values) > 1 else "")
        for fret, values in sorted(heard.items())
    ]
    words.append(f"slot height {belief_mm(string.height_mm)}; target {mm(goal.target_mm)}")
    spared = not_the_nut(string, goal=goal, scale_mm=settings.instrument.scale_mm, limits=DiagnosisLimits())
    if spared is not None:
        words.append(spared)
    return tuple(words)


def _doubts(
    settings: SessionSettings, fit: Fit, string: StringFit, reasons: tuple[str, ...]
) -> tuple[str, ...]:
    """Say what the verdict might suffer from."""
    words = list(reasons)
    if not string.pressed and not any("symptom" in reason for reason in reasons):
        words.append("no press takes: the height rests on gauge readings and fretted notes")
    if not string.pressed and settings.instrument.board is Board.SCALLOPED:
        words.append("a scalloped board gets no press test: gauge the slot instead")
    if settings.instrument.tailpiece is Tailpiece.FLOATING:
        words.append("the bridge floats and gives when the string is pressed, so the interval is wider")
    goal = slot_goal(settings, string.number)
    if goal.target_mm < goal.floor_mm:
        words.append("its target lies below the height where an open string is likely to buzz")
    words += [
        f"row {residual.row} ({residual.position.words()}) was hardly used: "
        f"{residual.heard_cents - residual.expected_cents:+.1f} cents from what the others lead one to expect"
        for residual in fit.residuals
        if residual.position.string == string.number and residual.weight < _SET_ASIDE
    ]
    return tuple(words)


def _plan_bottom(settings: SessionSettings, fit: Fit, strings: Sequence[StringPlan]) -> NutBottom | None:
    """Return the cut at the bottom of the nut, if all slots ask for it."""
    if settings.instrument.nut is not Nut.SLOTTED or any(s.verdict is not Verdict.HIGH for s in strings):
        return None
    excess: dict[int, Belief] = {s.number: s.excess_mm for s in strings if s.excess_mm is not None}
    numbers = sorted(excess)
    order = {string.number: i for i, string in enumerate(fit.strings)}
    chosen = [order[number] for number in numbers]
    return nut_bottom(
        [excess[number] for number in numbers],
        numbers=numbers,
        covariance_mm2=fit.height_covariance_mm2[np.ix_(chosen, chosen)],
        tolerance_mm=settings.target.tolerance_mm,
    )
