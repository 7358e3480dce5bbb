"""View records of the slots: words and values for the table, the nut and the side views.

Conventions: lengths in mm; every value shown was judged unrounded and is printed by ``numbers``.
"""

from __future__ import annotations

from pitchcheck.diagnosis.slots import SlotGoal, slot_goal
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import Nut, StringSpec
from pitchcheck.measurement import Measurement
from pitchcheck.physics.gauges import third_fret_clearance_mm
from pitchcheck.plan import StringPlan, Verdict
from pitchcheck.report import numbers, phrases
from pitchcheck.report.page_records import NutView, SlotView


def nut_view(measurement: Measurement) -> NutView:
    """Return the view of all slots of a measurement."""
    job = measurement.job
    instrument = job.instrument
    slots = tuple(
        _slot(plan, spec=instrument.string(plan.number), goal=slot_goal(job, plan.number), nut=instrument.nut)
        for plan in measurement.plan.strings
    )
    return NutView(slots=slots, scale_mm=instrument.scale_mm, slotted=instrument.nut is Nut.SLOTTED)


def _slot(plan: StringPlan, *, spec: StringSpec, goal: SlotGoal, nut: Nut) -> SlotView:
    """Build one slot."""
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
        remove_mm=plan.remove_now_mm,
        raise_mm=plan.raise_mm,
        lines=_lines(plan, floor=goal.floor_mm, limits=limits),
        height=numbers.UNKNOWN if belief is None else numbers.mm(belief.median, limits_mm=limits),
        height_thou="" if belief is None else numbers.in_thou(belief.median, limits_mm=limits),
        between=numbers.UNKNOWN if belief is None else numbers.interval(belief, limits_mm=_edges(limits)),
        target=numbers.mm(plan.target_mm),
        target_thou=numbers.in_thou(plan.target_mm),
        action=_action(plan, slotted=nut is Nut.SLOTTED),
        doubts=plan.doubts,
    )


def _lines(plan: StringPlan, *, floor: float, limits: tuple[float, ...]) -> tuple[tuple[str, str], ...]:
    """Return the list that stands beside a side view."""
    lines = _with_interval("Slot floor is at", plan.height_mm, limits=limits)
    lines.append(("It should be at", numbers.length(plan.target_mm)))
    if plan.clearance_third_mm is not None:
        gap_limits = tuple(third_fret_clearance_mm(limit) for limit in limits)
        lines += _gap(plan.clearance_third_mm, limits=gap_limits)
    lines.append(("Likely to buzz below", numbers.length(floor)))
    if plan.remove_now_mm > 0:
        lines.append(("Take off now, at most", numbers.removal(plan.remove_now_mm)))
        if plan.after_clearance_mm is not None:
            lines.append(("That gap after it, about", numbers.length(plan.after_clearance_mm)))
        if plan.after_cents is not None:
            lines.append(("First-fret note after it, about", numbers.cents(plan.after_cents)))
    if plan.raise_mm is not None:
        lines.append(("Raise it by about", numbers.length(plan.raise_mm)))
    return tuple(lines)


def _edges(limits: tuple[float, ...]) -> tuple[float, ...]:
    """Return the limits that the ends of an interval are held against: all but the target itself."""
    floor, _target, *tolerances = limits
    return (floor, *tolerances)


def _gap(gap_mm: Belief, *, limits: tuple[float, ...]) -> list[tuple[str, str]]:
    """Return the gap over fret 1; a string that lies on the fret has none."""
    if gap_mm.median <= 0:
        return [("Gap over fret 1", "none: the string lies on it")]
    return _with_interval("Gap over fret 1", gap_mm, limits=limits)


def _with_interval(name: str, belief: Belief | None, *, limits: tuple[float, ...]) -> list[tuple[str, str]]:
    """Return a measured length over two lines: its median, and how sure it is."""
    if belief is None:
        return [(name, "not measured")]
    between = numbers.interval(belief, limits_mm=_edges(limits))
    return [(name, numbers.length(belief.median, limits_mm=limits)), ("… 90 % sure", between)]


def _action(plan: StringPlan, *, slotted: bool) -> str:
    """Return what to do with one slot now, in a few words."""
    if plan.height_mm is None:
        return "Play it again"
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
