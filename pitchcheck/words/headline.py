"""The answer, first and whole: is it the nut or not; what is heard of it; what is next.

Conventions: whole sentences. "High", "low" and "fine" are those of the verdicts, never more than they say.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.fit.result import StringFit
from pitchcheck.judgement import FIRST_SUSPECTS, BarKind
from pitchcheck.measurement import Measurement
from pitchcheck.plan import StringPlan, Verdict
from pitchcheck.words import numbers, phrases
from pitchcheck.words.causes import SLOT_CAUSES, cause_lines

_TOLD = 2  # [-] causes that are named in the sentence; the list has all


def headline(measurement: Measurement) -> str:
    """Return whether it is the nut, in one sentence."""
    plans = measurement.plan.strings
    heard = [p for p in plans if p.height_mm is not None]
    if not heard:
        return "No slot could be measured."
    high, low = (_having(heard, verdict) for verdict in (Verdict.HIGH, Verdict.LOW))
    if high or low:
        told = [
            f"{_who(group, len(plans))} too {word}" for group, word in ((high, "high"), (low, "low")) if group
        ]
        return f"It is the nut: {' and '.join(told)}."
    if any(bar.kind is BarKind.UNSETTLED for p in heard for bar in p.slot.bars):
        return (
            "Not known yet whether it is the nut: something stated, gauged or pressed contradicts the rest."
        )
    if measurement.suspects:
        first = phrases.listed([str(number) for number in measurement.suspects[:FIRST_SUSPECTS]])
        strings = "string" if len(measurement.suspects[:FIRST_SUSPECTS]) == 1 else "strings"
        return f"Not known yet whether it is the nut. First to suspect: {strings} {first}."
    fine = _having(heard, Verdict.FINE)
    if len(fine) < len(plans) == len(heard) and all(p.slot.surely_not_high for p in heard):
        perhaps = [p.number for p in heard if p.verdict is not Verdict.FINE]
        return (
            f"No slot is too high. Not known yet whether {phrases.strings(perhaps)} {_are(perhaps)} too low."
        )
    if len(fine) == len(plans):
        all_fine = f"all {phrases.count(len(fine))} slots are fine" if len(fine) > 1 else "the slot is fine"
        return f"It is not the nut: {all_fine}."
    if fine:
        return f"Not known yet whether it is the nut: {_who(fine, len(plans))} fine, the rest is not known."
    return "Not known yet whether it is the nut: no slot is sure."


def standing(measurement: Measurement) -> str:
    """Return how the slots stand that the headline does not name; empty if there are none."""
    plans = measurement.plan.strings
    if not measurement.anything_measured:
        return "The recordings could not be read, so nothing can be said about this nut."
    named = any(p.verdict in (Verdict.HIGH, Verdict.LOW) for p in plans)
    words = [phrases.VERDICT_WORDS[Verdict.FINE]] if named else []
    groups = []
    for word in (*words, phrases.VERDICT_WORDS[Verdict.UNSURE], phrases.UNMEASURED):
        members = [p.number for p in plans if phrases.verdict(p) == word]
        if members and len(members) < len(plans):
            groups.append(f"{phrases.strings(members)} {_are(members)} {word}")
    return phrases.sentence("; ".join(groups)) + "." if groups else ""


def first_fret_sentence(measurement: Measurement) -> str:
    """Return what is heard of it at the first fret; empty where no ordinary note was played there."""
    known = [] if measurement.fit is None else [s for s in measurement.fit.strings if s.first_fret_cents]
    if not known:
        return ""
    worst = max(known, key=lambda s: abs(_first_cents(s)))
    value = _first_cents(worst)
    if abs(value) <= phrases.AUDIBLE_CENTS:
        return "Notes at the first fret are close to true."
    amount = numbers.rounded(abs(value), decimals=numbers.CENT_DECIMALS)
    side = "sharp" if value > 0 else "flat"
    return f"First-fret notes are off, most on string {worst.number}: {amount} cents {side} (a fret is 100)."


def summary(measurement: Measurement) -> tuple[str, ...]:
    """Return the sentences below the headline: other strings, what is heard, what it is instead."""
    sentences = (
        standing(measurement),
        first_fret_sentence(measurement),
        _instead(measurement),
    )
    return tuple(s for s in sentences if s)


def _having(plans: Sequence[StringPlan], verdict: Verdict) -> list[int]:
    """Return the strings with that verdict."""
    return [p.number for p in plans if p.verdict is verdict]


def _who(members: Sequence[int], total: int) -> str:
    """Return which strings, with the verb: ``"strings 2 and 5 are"``."""
    if len(members) == total > 1:
        return f"all {phrases.count(total)} slots are"
    return f"{phrases.strings(members)} {_are(members)}"


def _are(members: Sequence[int]) -> str:
    """Return the verb for some strings."""
    return "is" if len(members) == 1 else "are"


def _first_cents(string: StringFit) -> float:
    """Return the first-fret error of a string that has one. [cent]"""
    return string.first_fret_cents[0] if string.first_fret_cents is not None else 0.0


def _instead(measurement: Measurement) -> str:
    """Return what it is where it is not the nut: the causes that make most cents."""
    plans = measurement.plan.strings
    if any(p.verdict is not Verdict.FINE or p.height_mm is None for p in plans):
        return ""
    others = [line for line in cause_lines(measurement) if line.cause not in SLOT_CAUSES]
    if not others:
        return EQUAL_TEMPERAMENT
    told = [f"{phrases.CAUSE_NAMES[line.cause]}{f' ({line.size})' if line.size else ''}" for line in others]
    return f"What it is instead: {', then '.join(told[:_TOLD])}."


EQUAL_TEMPERAMENT = (
    "What still sounds sour in a chord is equal temperament itself: its major thirds are 14 cents wide "
    "on every fretted instrument, and nothing at the nut changes that."
)  # 400 cents against 5/4, which is 386.3 cents: 1200 log2(5/4)
