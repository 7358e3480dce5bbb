"""The top of the page: what a customer understands in ten seconds.

Conventions: whole sentences; counts in words; the verdict words are those of ``phrases``.
"""

from __future__ import annotations

from pitchcheck.diagnosis import Cause
from pitchcheck.fit.result import StringFit
from pitchcheck.instrument import Nut
from pitchcheck.measurement import Measurement
from pitchcheck.plan import StringPlan, Verdict
from pitchcheck.words import numbers, phrases

_SLOT_CAUSES = (Cause.SLOT_HIGH, Cause.SLOT_LOW)
_TOLD = 2  # [-] amounts that are told in the summary; more stand in the table


def headline(measurement: Measurement) -> str:
    """Return the one sentence that matters most."""
    plans = measurement.plan.strings
    total = len(plans)
    heard = [p for p in plans if p.height_mm is not None]
    if not heard:
        return "No slot could be measured."
    high, low = _having(heard, Verdict.HIGH), _having(heard, Verdict.LOW)
    if high and low:
        of_all = f"{phrases.count(len(high), capital=True)} of {phrases.count(total)} slots"
        return f"{of_all} {_are(len(high))} high and {phrases.count(len(low))} {_are(len(low))} low."
    if high or low:
        word = "high" if high else "low"
        bad = len(high or low)
        if bad == total > 1:
            return f"All {phrases.count(total)} slots are {word}."
        return f"{phrases.count(bad, capital=True)} of {phrases.count(total)} slots {_are(bad)} {word}."
    fine = _having(heard, Verdict.FINE)
    if len(fine) == total:
        return f"All {phrases.count(total)} slots are fine." if total > 1 else "The slot is fine."
    if not fine:
        return "Not sure about any slot yet."
    known = f"{phrases.count(len(fine), capital=True)} of {phrases.count(total)} slots {_are(len(fine))} fine"
    rest = "other is" if total - len(fine) == 1 else "others are"
    return f"{known}, the {rest} not known yet."


def summary(measurement: Measurement) -> tuple[str, ...]:
    """Return the sentences below the headline: which strings, what is heard, what is next."""
    sentences = [_which(measurement.plan.strings), _heard(measurement), _what_now(measurement)]
    return tuple(s for s in sentences if s)


def _having(plans: list[StringPlan], verdict: Verdict) -> list[StringPlan]:
    """Return the plans with that verdict."""
    return [p for p in plans if p.verdict is verdict]


def _are(number: int) -> str:
    """Return the verb for a count."""
    return "is" if number == 1 else "are"


def _which(plans: tuple[StringPlan, ...]) -> str:
    """Return which strings have which verdict, in one sentence."""
    groups: dict[str, list[int]] = {}
    for word in (*phrases.VERDICT_WORDS.values(), phrases.UNMEASURED):
        numbers_of = [p.number for p in plans if phrases.verdict(p) == word]
        if numbers_of:
            groups[word] = numbers_of
    if len(groups) == 1 and phrases.UNMEASURED in groups:
        return "The recordings could not be read, so nothing can be said about this nut."
    if len(groups) == 1:
        return ""
    parts = []
    for word, members in groups.items():
        parts.append(f"{phrases.strings(members)} {_are(len(members))} {word}")
    return phrases.sentence("; ".join(parts)) + "."


def _heard(measurement: Measurement) -> str:
    """Return what the player hears of it."""
    if measurement.fit is None:
        return ""
    known = [s for s in measurement.fit.strings if s.first_fret_cents is not None]
    if not known:
        return ""
    worst = max(known, key=lambda s: abs(_first_cents(s)))
    value = _first_cents(worst)
    if abs(value) <= phrases.AUDIBLE_CENTS:
        return "Notes at the first fret are close to true."
    side = "sharp" if value > 0 else "flat"
    amount = numbers.rounded(abs(value), decimals=numbers.CENT_DECIMALS)
    said = (
        f"Notes at the first fret are off, most on string {worst.number}: "
        f"{amount} cents {side} (100 cents are one fret)."
    )
    return f"{said} {_whose_fault(measurement, worst.number)}".strip()


def _whose_fault(measurement: Measurement, number: int) -> str:
    """Say that the worst note is not its slot's fault, if that slot is fine and something else was found."""
    fine = {p.number for p in measurement.plan.strings if p.verdict is Verdict.FINE}
    if number not in fine or not any(f.cause not in _SLOT_CAUSES for f in measurement.findings):
        return ""
    them = "the slots" if len(fine) == len(measurement.plan.strings) else "its slot, which is fine"
    return f"That is not {them}: see what was found below."


def _first_cents(string: StringFit) -> float:
    """Return the first-fret error of a string that has one. [cent]"""
    return string.first_fret_cents[0] if string.first_fret_cents is not None else 0.0


def _what_now(measurement: Measurement) -> str:
    """Return the next thing to do in one sentence."""
    plan = measurement.plan
    nut = measurement.settings.instrument.nut
    if nut is not Nut.SLOTTED:
        return f"Nothing is filed: this instrument has a {phrases.NUT_WORDS[nut]}, and that is never filed."
    if plan.nut_bottom is not None:
        return "They are high by a like amount: cut at the bottom of the nut, not in the slots."
    filed = [p for p in plan.strings if p.remove_now_mm > 0]
    if len(filed) == len(plan.strings) > _TOLD:
        return f"Next: file all {phrases.count(len(filed))} slots a little, then listen again."
    if len(filed) > _TOLD:
        return f"Next: file {phrases.strings([p.number for p in filed])} a little, then listen again."
    if filed:
        unit = measurement.settings.unit
        amounts = [
            f"string {p.number} by at most {numbers.removal(p.remove_now_mm, unit=unit)}" for p in filed
        ]
        return f"Next: file {phrases.listed(amounts)}. Then listen again."
    if any(p.verdict is Verdict.LOW for p in plan.strings):
        return "Nothing is to be filed. A low slot is raised, not filed."
    if plan.next_take is not None:
        return "Nothing is to be filed yet. Play the take named below first."
    return "Nothing is to be filed."
