"""Sentences of a comparison: what must be put right, what changed, and how the nut stands.

Conventions: as in ``slot_change``, which words the single slots.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.compare import Change, Comparison, Match
from pitchcheck.compare.records import SlotChange
from pitchcheck.fit.result import Fit
from pitchcheck.plan import Verdict
from pitchcheck.units import LengthUnit
from pitchcheck.words import numbers, phrases
from pitchcheck.words.slot_change import came_off, changed

LOW_UNLIKELY = 0.05  # [-] belief of being below the floor up to which "not too low" is said; our choice
LOW_SUSPECTED = 0.5  # [-] belief of being below the floor from which a slot is named as a worry; our choice


def headline(slots: Sequence[SlotChange]) -> str:
    """Return the one sentence that matters most: what moved, and how the nut stands now."""
    heard = [s for s in slots if s.change_mm is not None]
    if not heard:
        return "No slot was heard both before and after."
    lower, higher = _of(heard, Change.LOWER), _of(heard, Change.HIGHER)
    parts = [_count(lower, "lower"), _count(higher, "higher")]
    moved = " and ".join(part for part in parts if part)
    if moved:
        first = f"{phrases.sentence(moved)} than before"
    elif all(s.change is Change.SAME and not s.told_mm for s in heard):
        first = "No slot has changed"
    else:
        first = "No change is sure"
    return f"{first}; {_now(slots)}."


def alarm(slots: Sequence[SlotChange]) -> tuple[str, ...]:
    """Return what must be put right before the instrument goes back."""
    low = [s for s in slots if s.verdict is Verdict.LOW and s.after_mm is not None]
    feared = [s for s in slots if s not in low and s.low_belief is not None and s.low_belief >= LOW_SUSPECTED]
    sentences = []
    if low:
        it = "it" if len(low) == 1 else "them"
        sentences.append(
            f"{_who(low)}: now too low. The open string is likely to buzz on the first fret. Do not "
            f"file {it} further; the slot has to be raised."
        )
    if feared:
        sentences.append(
            f"{_who(feared)}: perhaps too low now. Listen for buzz on the open string before anything else "
            "is filed."
        )
    return tuple(sentences)


def summary(
    comparison: Comparison, *, unit: LengthUnit = LengthUnit.MM, amounts: bool = True, checks: bool = True
) -> tuple[str, ...]:
    """Return the sentences that say what changed, what is heard of it, and what is unsure.

    Without ``amounts`` the sentence that lists them is left out, for a page that has them in a table; without
    ``checks`` what the workshop is to look at once more.
    """
    slots = comparison.strings
    sentences = [
        _which(slots, unit) if amounts else "",
        _first_frets(comparison),
        _unsure(slots),
        _missing(slots),
        _standing(slots),
    ]
    return tuple(s for s in (*sentences, *(_told_against_heard(slots, unit) if checks else ())) if s)


def _of(slots: Sequence[SlotChange], change: Change) -> list[SlotChange]:
    return [s for s in slots if s.change is change]


def _count(slots: Sequence[SlotChange], word: str) -> str:
    """Return ``"two slots are lower"``, or nothing."""
    if not slots:
        return ""
    many = len(slots)
    return f"{phrases.count(many)} {'slot is' if many == 1 else 'slots are'} {word}"


def _now(slots: Sequence[SlotChange]) -> str:
    """Return how the nut stands now."""
    total = len(slots)
    known = [s for s in slots if s.after_mm is not None]
    fine, low, high = (
        [s for s in known if s.verdict is v] for v in (Verdict.FINE, Verdict.LOW, Verdict.HIGH)
    )
    if len(fine) == total:
        return "it is fine now" if total == 1 else f"all {phrases.count(total)} are fine now"
    parts = [
        f"{phrases.count(len(group))} {'is' if len(group) == 1 else 'are'} {word}"
        for group, word in ((low, "too low"), (high, "still high"), (fine, "fine"))
        if group
    ]
    rest = total - len(fine) - len(low) - len(high)
    if rest:
        parts.append(f"{phrases.count(rest)} {'is' if rest == 1 else 'are'} {_rest(slots)}")
    return f"of all {phrases.count(total)}, {phrases.listed(parts)}"


def _rest(slots: Sequence[SlotChange]) -> str:
    """Return what the slots are that are neither fine nor high nor low: unsure, or not measured."""
    return "unsure or not measured" if any(s.after_mm is None for s in slots) else "unsure"


def _which(slots: Sequence[SlotChange], unit: LengthUnit) -> str:
    """Return which strings moved, and by how much."""
    moved = [s for s in slots if s.change in (Change.LOWER, Change.HIGHER)]
    if not moved:
        return ""
    sentences = []
    for change, word in ((Change.LOWER, "Lower"), (Change.HIGHER, "Higher")):
        parts = [
            f"string {s.number} ({s.note}) by {numbers.length(abs(s.change_mm.median), unit=unit)}"
            for s in moved
            if s.change is change and s.change_mm is not None
        ]
        if parts:
            sentences.append(f"{word}: {phrases.listed(parts)}.")
    return " ".join(sentences)


def _first_frets(comparison: Comparison) -> str:
    """Return what the player hears of it, at the first fret and with one touch in both passes."""
    was, now = (_first(fit, comparison.strings) for fit in (comparison.before, comparison.after))
    if not was or not now:
        return ""
    worst = max(was, key=lambda n: abs(was[n]))
    left = max(now, key=lambda n: abs(now[n]))
    if max(abs(was[worst]), abs(now[left])) <= phrases.AUDIBLE_CENTS:
        return "Notes at the first fret were close to true before, and are now."
    said = (
        f"At the first fret string {worst} was most off, {_off(was[worst])}; now it is {_off(now[worst])} "
        "(100 cents are one fret)."
    )
    if abs(now[left]) <= phrases.AUDIBLE_CENTS:
        return f"{said} No string is off by more than {phrases.AUDIBLE_CENTS:g} cents there now."
    fine = next(s for s in comparison.strings if s.number == left).verdict is Verdict.FINE
    elsewhere = " Its slot is fine, so the rest is not the nut." if fine else ""
    if left == worst:
        return f"{said}{elsewhere}"
    return f"{said} Most off now is string {left}, {_off(now[left])}.{elsewhere}"


def _first(fit: Fit | None, slots: Sequence[SlotChange]) -> dict[int, float]:
    """Return the error of the first-fret note of every string that was compared. [cent]"""
    if fit is None:
        return {}
    compared = {s.number for s in slots if s.change_mm is not None}
    return {s.number: float(s.neck_now_cents[0]) for s in fit.strings if s.number in compared}


def _off(cents: float) -> str:
    """Return ``"8.2 cents sharp"``."""
    amount = numbers.rounded(abs(cents), decimals=numbers.CENT_DECIMALS)
    return f"{amount} cents {'sharp' if cents >= 0 else 'flat'}"


def _unsure(slots: Sequence[SlotChange]) -> str:
    """Return which changes are unsure."""
    unsure = [s.number for s in slots if s.change is Change.UNSURE and s.change_mm is not None]
    if not unsure:
        return ""
    return f"{phrases.strings(unsure, capital=True)}: unsure whether the slot changed; the sound fits both."


def _missing(slots: Sequence[SlotChange]) -> str:
    """Return which strings were not heard in both passes, where others were."""
    missing = [s for s in slots if s.change_mm is None]
    if len(missing) == len(slots):
        return ""
    alone = [s.number for s in missing if s.after_mm is not None and not s.told_mm]
    rest = [s.number for s in missing if s.number not in alone]
    ends = (
        (rest, "not heard both before and after."),
        (alone, "heard once, so no change is told; nothing was noted as filed off."),
    )
    return " ".join(
        f"{phrases.strings(few, capital=True)} {'was' if len(few) == 1 else 'were'} {end}"
        for few, end in ends
        if few
    )


def _standing(slots: Sequence[SlotChange]) -> str:
    """Return what the slots may be that could not be judged."""
    open_ones = [s for s in slots if s.verdict is Verdict.UNSURE and s.low_belief is not None]
    high = [s.number for s in open_ones if s.low_belief is not None and s.low_belief < LOW_UNLIKELY]
    rest = [s.number for s in open_ones if s.number not in high]
    parts = []
    if high:
        parts.append(f"{phrases.strings(high, capital=True)}: fine or still a little high, not too low.")
    if rest:
        them = "it" if len(rest) == 1 else "them"
        parts.append(f"{phrases.strings(rest, capital=True)}: unsure; play {them} again.")
    return " ".join(parts)


def _who(slots: Sequence[SlotChange]) -> str:
    return phrases.strings([s.number for s in slots], capital=True)


def _told_against_heard(slots: Sequence[SlotChange], unit: LengthUnit) -> tuple[str, ...]:
    """Return what a reader should know of told against heard, in whole sentences."""
    wrong = [s for s in slots if s.match in (Match.LESS, Match.MORE)]
    untold = [s for s in slots if s.match is Match.UNTOLD]
    agree = [s.number for s in slots if s.match is Match.AGREES]
    found = []
    for slot in wrong:
        assert slot.change_mm is not None
        assert slot.told_mm is not None
        found.append(
            f"String {slot.number}: {numbers.length(slot.told_mm, unit=unit)} was noted as filed off, "
            f"but the sound says {came_off(slot, unit)}. Measure this slot with a gauge."
        )
    if untold:
        moved = phrases.listed([changed(slot, unit=unit) for slot in untold])
        it = "it" if len(untold) == 1 else "one of them"
        found.append(
            f"{_who(untold)}: nothing was noted as filed off, but the sound says {moved}. If neither a file "
            f"nor a shim touched {it}, play it again."
        )
    if agree and not wrong:
        found.append(f"What was heard agrees with what was noted as filed off {phrases.strings(agree)}.")
    return tuple(found)
