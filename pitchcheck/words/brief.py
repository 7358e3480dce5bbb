"""What to do in a few lines, for a screen of 80 columns and the top of a page.

Conventions: each line is a sentence of at most 80 letters on an instrument of usual size, the first thing
first. Amounts are not in these lines but in `amounts`, which stands last on a screen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pitchcheck.instrument import Nut
from pitchcheck.judgement import FIRST_SUSPECTS
from pitchcheck.measurement import Measurement
from pitchcheck.plan import StringPlan, Verdict
from pitchcheck.takes import Stop
from pitchcheck.units import LengthUnit
from pitchcheck.words import numbers, phrases
from pitchcheck.words.causes import SLOT_CAUSES, cause_lines
from pitchcheck.words.lengths import length_briefs
from pitchcheck.words.questions import question_briefs

FILING = "Eye protection on, face clear. What is filed off you cannot put back."
CARE = "Judge and file only with the strings settled, relief and action set."


def caution(measurement: Measurement) -> str:
    """Return the one caution that matters most now."""
    return FILING if any(p.remove_now_mm > 0 for p in measurement.plan.strings) else CARE


def steps(measurement: Measurement) -> tuple[str, ...]:
    """Return what to do, in the order in which it is done."""
    plan, nut = measurement.plan, measurement.settings.instrument.nut
    others = [line for line in cause_lines(measurement) if line.cause not in SLOT_CAUSES]
    lines = [f"{line.title}{f' ({line.where})' if line.where else ''}: {line.cure}." for line in others]
    if nut is not Nut.SLOTTED:
        lines.append(f"A {phrases.NUT_WORDS[nut]} is never filed.")
    elif plan.nut_bottom is not None:
        lines += [
            "All are high alike: cut the bottom of the nut, not the slots; never both in one pass.",
            "Take the nut out; the amount comes off its bottom, flat and square.",
            "Set it back, tune, let it settle, and measure all strings again.",
        ]
    elif filed := [p.number for p in plan.strings if p.remove_now_mm > 0]:
        one = ", one at a time" if len(filed) > 1 else ""
        lines += [
            f"Slacken {phrases.strings(filed)}{one}, lift aside; a few light strokes.",
            "The slot falls away towards the tuner. Check the first with a leaf: the gap falls by half of "
            "what comes off the slot.",
            "Tune, let it settle, play its takes again and measure before more comes off.",
        ]
    return (*lines, *_others(measurement))


def needs(measurement: Measurement) -> tuple[str, ...]:
    """Return what is needed to act on it, and when it is work for a repairer."""
    plan = measurement.plan
    if measurement.settings.instrument.nut is not Nut.SLOTTED:
        return ()
    lines = []
    if plan.nut_bottom is not None:
        lines.append("To act on it: a flat abrasive surface, feeler leaves, eye protection, a dust mask.")
    elif any(p.remove_now_mm > 0 for p in plan.strings):
        lines.append(
            "To act on it: a nut file as wide as the string or a little wider, feeler leaves, eye "
            "protection. Without them, or on a valuable instrument, take this page to a repairer."
        )
    if any(p.raise_mm for p in plan.strings):
        lines.append(
            "A slot that is too low is filled and cut again, or the nut replaced: work for a repairer."
        )
    return tuple(lines)


def amounts(measurement: Measurement) -> str:
    """Return what may come off now, in one sentence."""
    plan, unit = measurement.plan, measurement.settings.unit
    if measurement.settings.instrument.nut is not Nut.SLOTTED:
        return "File nothing."
    if plan.nut_bottom is not None:
        bass, treble = (
            numbers.removal(mm, unit=unit) for mm in (plan.nut_bottom.bass_mm, plan.nut_bottom.treble_mm)
        )
        ends = f"{bass} evenly" if bass == treble else f"bass end {bass}, treble end {treble}"
        return f"Off the bottom of the nut now, at most: {ends}."
    groups: dict[str, list[int]] = {}
    for string in plan.strings:
        if string.remove_now_mm > 0:
            groups.setdefault(numbers.removal(string.remove_now_mm, unit=unit), []).append(string.number)
    if not groups:
        return "File nothing now."
    parts = [f"{phrases.strings(members)}: {amount}" for amount, members in groups.items()]
    return f"File off the slot now, at most: {', '.join(parts)}."


def truth(measurement: Measurement, true_heights_mm: Mapping[int, float]) -> str:
    """Return how many of the stated intervals hold the true height of an imaginary instrument."""
    heard = [p for p in measurement.plan.strings if p.height_mm is not None]
    inside = sum(is_inside(p, true_heights_mm[p.number]) for p in heard)
    return f"The truth lies inside {inside} of {len(heard)} intervals; honest ones miss one time in ten."


def is_inside(plan: StringPlan, true_height_mm: float) -> bool:
    """Whether the 90 % interval holds the true height, judged on unrounded values."""
    return plan.height_mm is not None and plan.height_mm.low <= true_height_mm <= plan.height_mm.high


def _others(measurement: Measurement) -> list[str]:
    """Return what becomes of the slots that are not filed now."""
    plan = measurement.plan
    lines = _raised([p for p in plan.strings if p.raise_mm], measurement.settings.unit)
    kept = plan.nut_bottom is not None or measurement.settings.instrument.nut is not Nut.SLOTTED
    barred = [p.number for p in plan.strings if p.verdict is Verdict.HIGH and p.remove_now_mm <= 0]
    if barred and not kept:
        lines.append(f"{_who(barred)}: high, but do not file yet.")
    unheard = [p.number for p in plan.strings if p.height_mm is None]
    tried = {take.position.string for take in measurement.takes}
    if len(unheard) == len(plan.strings):
        lines.append("Play the takes again; why each was refused is told with them.")
    elif refused := [n for n in unheard if n in tried or measurement.problems]:  # else it was left out
        lines.append(f"{_who(refused)}: not measured. Play the takes again.")
    unsure = [p.number for p in plan.strings if p.verdict is Verdict.UNSURE and p.height_mm is not None]
    play = _what_tells(measurement)
    not_high = [p.number for p in plan.strings if p.number in unsure and p.slot.surely_not_high]
    open_ = [number for number in unsure if number not in not_high]
    if open_:
        lines.append(f"{_who(open_)}: unsure, take nothing off; {play}.")
    if not_high:
        lines.append(f"{_who(not_high)}: not high, may be low{'' if open_ else f'; {play}'}.")
    lines += question_briefs(measurement.questions)
    lines += length_briefs(plan.lengths)
    fine = [p.number for p in plan.strings if p.verdict is Verdict.FINE]
    if fine and len(fine) < len(plan.strings):
        lines.append(f"{_who(fine)}: leave {'it' if len(fine) == 1 else 'them'}.")
    return lines


def _what_tells(measurement: Measurement) -> str:
    """Return what to play or to lay for a slot that is unsure."""
    if measurement.suspects:
        return f"play press 1 and 2 on {phrases.strings(measurement.suspects[:FIRST_SUSPECTS])}"
    best = measurement.plan.next_take
    if best is not None:
        repairer = ", or have a repairer gauge it" if best.position.stop is Stop.LEAF else ""
        return f"next play {best.position.words()}{repairer}"
    if any(p.leaf_decides_mm is not None for p in measurement.plan.strings):
        return "plucking tells no more, a leaf under the string does"
    return "play press 1 and press 2 again"


def _raised(low: Sequence[StringPlan], unit: LengthUnit) -> list[str]:
    """Return what to do with slots that are too low."""
    return [
        f"String {p.number}: too low, do not file. If it buzzes open, raise it by "
        f"{numbers.length(p.raise_mm, unit=unit)}."
        for p in low
        if p.raise_mm
    ]


def _who(members: Sequence[int]) -> str:
    """Return some strings, at the beginning of a sentence."""
    return phrases.strings(members, capital=True)
