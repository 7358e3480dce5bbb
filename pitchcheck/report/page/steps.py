"""What to do, in the order in which it is done.

Conventions: each step has a title of a few words and whole sentences of detail; what several slots share is
said once. A cut at the bottom of the nut moves every slot, so it never stands in one list with amounts for
single slots.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.diagnosis import Cause
from pitchcheck.instrument import Nut
from pitchcheck.measurement import Measurement
from pitchcheck.plan import NutBottom, StringPlan, Verdict
from pitchcheck.report.records import Step
from pitchcheck.units import LengthUnit
from pitchcheck.words import cautions, numbers, phrases
from pitchcheck.words.lengths import length_steps
from pitchcheck.words.steps import bottom_steps, narrowing, slot_steps

_BEFORE_THE_FILE = (  # causes that are cured first, because they spoil what is said of the slots
    Cause.WRONG_NOTE,
    Cause.DRIFT,
    Cause.WORN_STRING,
    Cause.CAPO,
    Cause.EAR_METER_DISAGREE,
    Cause.CATCHING_SLOT,
)


@dataclass(frozen=True)
class StepsView:
    """What to do, in order; with ``bottom`` the slot steps are the other way, never done as well."""

    first: tuple[Step, ...]
    bottom: tuple[Step, ...]
    slots: tuple[Step, ...]


def steps_view(measurement: Measurement) -> StepsView:
    """Return everything that is to be done, in order."""
    plan, unit = measurement.plan, measurement.settings.unit
    slotted = measurement.settings.instrument.nut is Nut.SLOTTED
    bottom = plan.nut_bottom if slotted else None
    return StepsView(
        first=(Step("Look after the set-up first", cautions.FIRST), *_cures(measurement)),
        bottom=() if bottom is None else (_bottom_step(bottom, bottom_steps(bottom, unit=unit), unit),),
        slots=_slot_steps(measurement),
    )


def next_take_step(measurement: Measurement) -> Step | None:
    """Return the next take worth playing, with its reason."""
    take = measurement.plan.next_take
    if take is None:
        return None
    return Step(f"Play {take.position.words()}", (phrases.sentence(narrowing(take.why)),))


def length_views(measurement: Measurement) -> tuple[Step, ...]:
    """Return the lengths worth measuring, with what they bring and how it is done."""
    return tuple(Step(title, details) for title, details in length_steps(measurement.plan.lengths))


def next_note(measurement: Measurement) -> str:
    """Return what is said where no next take is named."""
    if measurement.suspects or measurement.questions or any(p.slot.bars for p in measurement.plan.strings):
        return "First what is named at the top of this page; then play those takes and measure again."
    if any(_unsure(plan) for plan in measurement.plan.strings):
        return "No single take stands out: play all takes of the unsure strings again."
    return "No further take would change these answers."


def _slot_steps(measurement: Measurement) -> tuple[Step, ...]:
    """Return the steps for the slots: file, then what must not be filed, then what is left alone."""
    plans = measurement.plan.strings
    filed = [p for p in plans if p.remove_now_mm > 0]
    rest = [p for p in plans if p.remove_now_mm <= 0]
    groups = (
        ("File, one slot at a time, only this much", filed),
        ("High, but do not file", [p for p in rest if p.verdict is Verdict.HIGH]),
        ("Low: do not file, raise", [p for p in rest if p.verdict is Verdict.LOW]),
        ("Unsure: do not file", [p for p in rest if _unsure(p) and p.height_mm is not None]),
        ("Not measured: do not file", [p for p in rest if _unsure(p) and p.height_mm is None]),
    )
    steps = [_group(title, members, measurement) for title, members in groups if members]
    fine = [p for p in rest if p.verdict is Verdict.FINE]
    return (*steps, _leave(fine)) if fine else tuple(steps)


def _leave(fine: Sequence[StringPlan]) -> Step:
    """Return the step for slots that are fine; those below target are named, so that nobody wonders."""
    them = "it" if len(fine) == 1 else "them"
    title = f"{phrases.strings([p.number for p in fine], capital=True)}: leave {them}"
    below = [p.number for p in fine if p.excess_mm is not None and p.excess_mm.median < 0]
    if not below:
        return Step(title, ())
    verb, its = ("lies", "its target") if len(below) == 1 else ("lie", "their targets")
    who = phrases.strings(below, capital=True)
    return Step(title, (f"{who} {verb} below {its}, but above the height where open strings buzz.",))


def _unsure(plan: StringPlan) -> bool:
    """Whether nothing can be said of a slot yet."""
    return plan.verdict is Verdict.UNSURE


def _group(title: str, members: Sequence[StringPlan], measurement: Measurement) -> Step:
    """Return one step for slots that are treated alike; sentences they all share are said once."""
    settings, upcoming = measurement.settings, measurement.plan.next_take
    each = [
        slot_steps(plan, instrument=settings.instrument, next_take=upcoming, unit=settings.unit)
        for plan in members
    ]
    shared = [step for step in each[0] if all(step in other for other in each)]
    own = [step for step in each[0] if step not in shared]
    split = each[0].index(own[0]) if own else len(shared)
    lead = tuple(step for step in each[0][:split] if step in shared)
    parts = tuple(
        Step(_slot_title(plan, settings.unit), tuple(step for step in steps if step not in shared))
        for plan, steps in zip(members, each, strict=True)
    )
    return Step(title, lead, parts, tuple(step for step in shared if step not in lead))


def _slot_title(plan: StringPlan, unit: LengthUnit) -> str:
    """Return the name of a slot and the one figure that matters for it."""
    name = f"String {plan.number} ({plan.note})"
    if plan.remove_now_mm > 0:
        return f"{name}: at most {numbers.removal(plan.remove_now_mm, unit=unit)}"
    if plan.raise_mm is not None:
        return f"{name}: raise by about {numbers.length(plan.raise_mm, unit=unit)}"
    return name


def _cures(measurement: Measurement) -> list[Step]:
    """Return what has to be put right before the slots can be judged."""
    steps = []
    for cause in _BEFORE_THE_FILE:
        found = [f for f in measurement.findings if f.cause is cause]
        members = sorted({number for f in found for number in f.strings})
        if found:
            where = f": {phrases.strings(members)}" if members else ""
            steps.append(Step(phrases.CAUSE_TITLES[cause] + where, (phrases.CAUSE_MEANINGS[cause],)))
    return steps


def _bottom_step(bottom: NutBottom, steps: tuple[str, ...], unit: LengthUnit) -> Step:
    """Return the step for a cut at the bottom of the nut."""
    return Step(
        "Cut at the bottom of the nut, not in the slots",
        (
            f"Bass end: at most {numbers.removal(bottom.bass_mm, unit=unit)}. "
            f"Treble end: at most {numbers.removal(bottom.treble_mm, unit=unit)}. Straight in between.",
            *steps,
            "The amounts for single slots on this sheet no longer hold once the bottom is cut.",
        ),
    )
