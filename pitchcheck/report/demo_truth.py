"""The truth beside the estimate, where the truth is known: only ever for an imaginary instrument."""

from __future__ import annotations

from collections.abc import Mapping

from rich.console import Console
from rich.table import Table
from rich.text import Text

from pitchcheck.measurement import Measurement
from pitchcheck.plan import StringPlan
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
UNKNOWN = "–"


def truth_rows(measurement: Measurement, true_mm: Mapping[int, float]) -> tuple[tuple[str, ...], ...]:
    """One row per string under HEADS; ``true_mm`` holds the true slot heights by string number. [mm]"""
    return tuple(_row(plan, true_mm[plan.number]) for plan in measurement.plan.strings)


def truth_summary(measurement: Measurement, true_mm: Mapping[int, float]) -> str:
    """How many intervals hold the truth, in a sentence."""
    plans = [p for p in measurement.plan.strings if p.height_mm is not None]
    inside = sum(is_inside(p, true_mm[p.number]) for p in plans)
    return (
        f"The true height lies inside the stated 90 % interval for {inside} of {len(plans)} strings. "
        "An honest interval misses about one time in ten."
    )


def print_truth(measurement: Measurement, true_mm: Mapping[int, float], console: Console) -> None:
    """Print the table and its sentence."""
    table = Table(show_lines=True, show_edge=False, pad_edge=False, header_style="")
    for head in HEADS:
        table.add_column(Text(head), overflow="fold", justify="left")
    for row in truth_rows(measurement, true_mm):
        table.add_row(*(Text(cell) for cell in row))
    console.print(Text("What is true of this imaginary instrument", style="bold"))
    console.print(table)
    console.print(Text(truth_summary(measurement, true_mm)))


def is_inside(plan: StringPlan, true_mm: float) -> bool:
    """Whether the 90 % interval holds the truth, judged on unrounded values."""
    return plan.height_mm is not None and plan.height_mm.low <= true_mm <= plan.height_mm.high


def _row(plan: StringPlan, true_mm: float) -> tuple[str, ...]:
    name = f"{plan.number} {plan.note}"
    if plan.height_mm is None:
        return (name, numbers.mm(true_mm), UNKNOWN, UNKNOWN, UNKNOWN, phrases.UNMEASURED, UNKNOWN)
    left_mm = true_mm - plan.remove_now_mm - plan.target_mm
    return (
        name,
        numbers.mm(true_mm),
        numbers.mm(plan.height_mm.median),
        numbers.interval(plan.height_mm),
        "yes" if is_inside(plan, true_mm) else "no",
        phrases.verdict(plan),
        numbers.mm(left_mm),
    )
