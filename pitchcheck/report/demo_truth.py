"""The truth beside the estimate, where the truth is known: only ever for an imaginary instrument."""

from __future__ import annotations

from collections.abc import Mapping

from pitchcheck.measurement import Measurement
from pitchcheck.plan import StringPlan
from pitchcheck.report.records import Sheet
from pitchcheck.words import numbers, phrases

HEADS = (
    "String",
    "True\nheight",
    "Measured",
    "90 % sure\nbetween",
    "Truth\ninside",
    "Verdict",
    "Left above target\nafter filing",
)


def truth_sheet(measurement: Measurement, true_mm: Mapping[int, float]) -> Sheet:
    """Return the truth as a sheet; ``true_mm`` holds the true slot heights by string number. [mm]"""
    plans = measurement.plan.strings
    heard = [p for p in plans if p.height_mm is not None]
    inside = sum(is_inside(p, true_mm[p.number]) for p in heard)
    return Sheet(
        title="",
        headline="What is true of this imaginary instrument",
        summary=(
            f"The true height lies inside the stated 90 % interval for {inside} of {len(heard)} strings. "
            "An honest interval misses about one time in ten.",
        ),
        heads=HEADS,
        rows=tuple(_row(plan, true_mm[plan.number]) for plan in plans),
    )


def is_inside(plan: StringPlan, true_mm: float) -> bool:
    """Whether the 90 % interval holds the truth, judged on unrounded values."""
    return plan.height_mm is not None and plan.height_mm.low <= true_mm <= plan.height_mm.high


def _row(plan: StringPlan, true_mm: float) -> tuple[str, ...]:
    """Return one string's row."""
    name = f"{plan.number} {plan.note}"
    if plan.height_mm is None:
        unknown = numbers.UNKNOWN
        return (name, numbers.mm(true_mm), unknown, unknown, unknown, phrases.UNMEASURED, unknown)
    return (
        name,
        numbers.mm(true_mm),
        numbers.mm(plan.height_mm.median),
        numbers.interval(plan.height_mm),
        "yes" if is_inside(plan, true_mm) else "no",
        phrases.verdict(plan),
        numbers.mm(true_mm - plan.remove_now_mm - plan.target_mm),
    )
