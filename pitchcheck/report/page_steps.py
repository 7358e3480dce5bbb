"""What to do, in the order in which it is done.

Conventions: each step has a title of a few words and whole sentences of detail. A cut at the bottom of the nut
moves every slot, so it never shares a list with amounts for single slots.
"""

from __future__ import annotations

from pitchcheck.diagnosis import Cause
from pitchcheck.instrument import Nut
from pitchcheck.measurement import Measurement
from pitchcheck.plan import NutBottom, StringPlan, Verdict
from pitchcheck.report import cautions, numbers, phrases
from pitchcheck.report.page_records import Step, StepsView

_BEFORE_THE_FILE = (  # causes that are cured first, because they spoil what is said of the slots
    Cause.WRONG_NOTE,
    Cause.DRIFT,
    Cause.WORN_STRING,
    Cause.CAPO,
    Cause.EAR_METER_DISAGREE,
    Cause.CATCHING_SLOT,
)
_ORDER = (Verdict.HIGH, Verdict.LOW, Verdict.UNSURE, Verdict.FINE)


def steps_view(measurement: Measurement) -> StepsView:
    """Return everything that is to be done, in order."""
    plan = measurement.plan
    slotted = measurement.job.instrument.nut is Nut.SLOTTED
    measured = [p for p in plan.strings if p.height_mm is not None]
    filing = slotted and any(p.remove_now_mm > 0 for p in measured)
    bottom = plan.nut_bottom if slotted else None
    first = [Step("Look after the set-up first", cautions.FIRST), *_cures(measurement)]
    return StepsView(
        first=tuple(first),
        bottom=() if bottom is None else _bottom_steps(bottom),
        slots=tuple(_slot_step(p) for p in sorted(measured, key=_rank) if _has_work(p)),
        after=(_listen_again(),) if filing or bottom is not None else (),
    )


def next_take_step(measurement: Measurement) -> Step | None:
    """Return the next take worth playing, with its reason."""
    take = measurement.plan.next_take
    if take is None:
        return None
    place = take.position.words()
    return Step(f"Play {place}", (take.why, "Play the open string before it and after it, as for every take."))


def _rank(plan: StringPlan) -> tuple[int, float, int]:
    """High slots first, the highest before the others."""
    return (_ORDER.index(plan.verdict), -plan.remove_now_mm, plan.number)


def _has_work(plan: StringPlan) -> bool:
    """Whether there is anything to say about a slot beyond leaving it."""
    return bool(plan.steps) or plan.verdict is not Verdict.FINE


def _slot_step(plan: StringPlan) -> Step:
    """Return the step for one slot."""
    name = f"String {plan.number} ({plan.note})"
    if plan.remove_now_mm > 0:
        title = f"{name}: file off at most {numbers.removal(plan.remove_now_mm)}"
    elif plan.raise_mm is not None:
        title = f"{name}: raise by about {numbers.length(plan.raise_mm)}"
    elif plan.verdict is Verdict.FINE:
        title = f"{name}: leave it"
    else:
        title = f"{name}: do not file, it is {phrases.verdict(plan)}"
    return Step(title, plan.steps)


def _cures(measurement: Measurement) -> list[Step]:
    """Return what has to be put right before the slots can be judged."""
    steps = []
    for cause in _BEFORE_THE_FILE:
        members = sorted({n for f in measurement.findings if f.cause is cause for n in f.strings})
        if any(f.cause is cause for f in measurement.findings):
            where = f", {phrases.strings(members)}" if members else ""
            steps.append(Step(phrases.CAUSE_TITLES[cause] + where, (phrases.CAUSE_MEANINGS[cause],)))
    return steps


def _bottom_steps(bottom: NutBottom) -> tuple[Step, ...]:
    """Return the steps for a cut at the bottom of the nut."""
    return (
        Step(
            "Cut at the bottom of the nut, not in the slots",
            (
                f"Bass end: take off at most {numbers.removal(bottom.bass_mm)}.",
                f"Treble end: take off at most {numbers.removal(bottom.treble_mm)}.",
                "In between, straight from one to the other. Keep the bottom flat and square.",
                "This leaves every slot at or above its target. Take off half, look, then the rest.",
            ),
        ),
        Step(
            "Measure the whole nut again",
            (
                "Put the nut back, tune, let the strings settle, and play all takes again.",
                "The amounts for single slots on this sheet no longer hold once the bottom is cut.",
            ),
        ),
    )


def _listen_again() -> Step:
    """Return the step that closes every pass."""
    return Step(
        "Tune, let the string settle, listen again",
        ("Play that string's takes again and measure before you take off any more.",),
    )
