"""View records of the slots: words and values for the table, the nut and the side views.

Conventions: lengths in mm; every value shown was judged unrounded and is printed by ``numbers``.
"""

from __future__ import annotations

from pitchcheck.diagnosis.slots import SlotGoal, slot_goal
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import Nut, StringSpec
from pitchcheck.measurement import Measurement
from pitchcheck.plan import StringPlan, Verdict
from pitchcheck.report.page.records import NutView, SlotView
from pitchcheck.words import numbers, phrases


def nut_view(measurement: Measurement) -> NutView:
    """Return the view of all slots of a measurement."""
    settings = measurement.settings
    instrument = settings.instrument
    slotted = instrument.nut is Nut.SLOTTED
    bottom = slotted and measurement.plan.nut_bottom is not None
    slots = tuple(
        _slot(
            plan,
            spec=instrument.string(plan.number),
            goal=slot_goal(settings, plan.number),
            slotted=slotted,
            bottom=bottom,
        )
        for plan in measurement.plan.strings
    )
    return NutView(slots=slots, scale_mm=instrument.scale_mm, slotted=slotted)


def _slot(plan: StringPlan, *, spec: StringSpec, goal: SlotGoal, slotted: bool, bottom: bool) -> SlotView:
    """Build one slot; with a cut at the ``bottom`` of the nut nothing is drawn or told to come off here."""
    top = plan.target_mm + goal.tolerance_mm
    limits = (goal.floor_mm, plan.target_mm, top, top + goal.tolerance_mm)
    belief = plan.height_mm
    return SlotView(
        number=plan.number,
        note=plan.note,
        mark="unmeasured" if belief is None else str(plan.verdict.value),
        word=phrases.verdict(plan),
        wound=spec.wound,
        gauge_mm=spec.gauge_mm,
        height_mm=belief,
        target_mm=plan.target_mm,
        floor_mm=goal.floor_mm,
        remove_mm=0.0 if bottom else plan.remove_now_mm,
        raise_mm=plan.raise_mm,
        lines=_lines(plan, floor=goal.floor_mm, limits=limits, bottom=bottom),
        height=numbers.UNKNOWN if belief is None else numbers.mm(belief.median, limits_mm=limits),
        height_thou="" if belief is None else numbers.in_thou(belief.median, limits_mm=limits),
        between=numbers.UNKNOWN if belief is None else numbers.interval(belief),
        target=numbers.mm(plan.target_mm),
        target_thou=numbers.in_thou(plan.target_mm),
        action=_action(plan, slotted=slotted, bottom=bottom),
        evidence=plan.evidence,
        doubts=plan.doubts,
    )


def _lines(
    plan: StringPlan, *, floor: float, limits: tuple[float, ...], bottom: bool
) -> tuple[tuple[str, str], ...]:
    """Return the list that stands beside a side view."""
    lines = _with_interval("Slot floor is at", plan.height_mm, limits=limits)
    lines.append(("It should be at", numbers.length(plan.target_mm)))
    if plan.clearance_third_mm is not None:
        lines += _gap(plan.clearance_third_mm)
    lines.append(("Likely to buzz below", numbers.length(floor)))
    if plan.remove_now_mm > 0 and not bottom:
        lines.append(("Take off now, at most", numbers.removal(plan.remove_now_mm)))
        if plan.after_clearance_mm is not None:
            lines.append(("That gap after it, about", numbers.length(plan.after_clearance_mm)))
        if plan.after_cents is not None:
            lines.append(("First-fret note after it, about", numbers.cents(plan.after_cents)))
    if plan.raise_mm is not None:
        lines.append(("Raise it by about", numbers.length(plan.raise_mm)))
    return tuple(lines)


def _gap(gap_mm: Belief) -> list[tuple[str, str]]:
    """Return the gap over fret 1, which is judged against nothing; a string on the fret has none."""
    if gap_mm.median <= 0:
        return [("Gap over fret 1", "none: the string lies on it")]
    return _with_interval("Gap over fret 1", gap_mm)


def _with_interval(
    name: str, belief: Belief | None, *, limits: tuple[float, ...] = ()
) -> list[tuple[str, str]]:
    """Return a measured length over two lines: its median, and how sure it is.

    The ends of the interval decide nothing (verdicts come from the whole belief), so they are held
    against no limit.
    """
    if belief is None:
        return [(name, "not measured")]
    return [
        (name, numbers.length(belief.median, limits_mm=limits)),
        ("… 90 % sure", numbers.interval(belief)),
    ]


def _action(plan: StringPlan, *, slotted: bool, bottom: bool) -> str:
    """Return what to do with one slot now, in a few words."""
    if plan.height_mm is None:
        return "Play it again"
    if plan.remove_now_mm > 0 and bottom:
        return "Not here: cut the bottom of the nut"
    if plan.remove_now_mm > 0 and slotted:
        return f"File off at most {numbers.removal(plan.remove_now_mm)}"
    if plan.verdict is Verdict.HIGH:
        return "Do not file: see what else was found" if slotted else "Do not file: this nut is never filed"
    if plan.raise_mm is not None:
        return f"Raise by about {numbers.length(plan.raise_mm)}"
    if plan.verdict is Verdict.LOW:
        return "Do not file: it is too low already"
    if plan.verdict is Verdict.FINE:
        return "Leave it"
    return "Do not file: play more takes"
