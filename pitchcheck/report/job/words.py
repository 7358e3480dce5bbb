"""Words of a comparison: how far a slot moved, how sure that is, and whether it is what was told.

Conventions: cells ready to be shown; lengths in mm and thou. "Lower" and "higher" are said only at 99.5 %
belief, "no change" at 90 %; otherwise it says "not sure".
"""

from __future__ import annotations

from pitchcheck.compare import Change, Match
from pitchcheck.compare.records import SlotChange
from pitchcheck.diagnosis.words import percent
from pitchcheck.fit.belief import Belief
from pitchcheck.words import numbers, phrases

UNHEARD = "not heard in both"


def changed(slot: SlotChange) -> str:
    """Return how far a slot moved: ``"0.31 mm (12.2 thou) lower"``."""
    if slot.change_mm is None:
        return UNHEARD
    amount = numbers.length(abs(slot.change_mm.median))
    if slot.change is Change.LOWER:
        return f"{amount} lower"
    if slot.change is Change.HIGHER:
        return f"{amount} higher"
    if slot.change is Change.SAME and slot.told_mm:
        return "too little to be sure"  # something was noted as filed off, so "no change" would say too much
    return "no change" if slot.change is Change.SAME else "not sure"


def between(slot: SlotChange) -> str:
    """Return the 90 % interval of a change, as amounts taken off or gained."""
    if slot.change_mm is None:
        return ""
    low, high = slot.change_mm.low, slot.change_mm.high
    if slot.change is Change.LOWER:
        return f"{_mm(-high)} to {_mm(-low)} mm lower"
    if slot.change is Change.HIGHER:
        return f"{_mm(low)} to {_mm(high)} mm higher"
    return f"{_signed(low)} to {_signed(high)} mm"


def sure(slot: SlotChange, *, tolerance_mm: float) -> str:
    """Return how sure what is said of a change is; of an unsure one, to which side it leans."""
    if slot.change_mm is None or slot.lower_belief is None:
        return numbers.UNKNOWN
    if slot.change is Change.LOWER:
        return percent(slot.lower_belief)
    if slot.change is Change.HIGHER:
        return percent(1 - slot.lower_belief)
    if slot.change is Change.SAME:
        within = slot.change_mm.below(tolerance_mm) - slot.change_mm.below(-tolerance_mm)
        return percent(within)
    side, belief = (
        ("lower", slot.lower_belief) if slot.lower_belief >= 0.5 else ("higher", 1 - slot.lower_belief)
    )
    return f"{percent(belief)} that it is {side}"


def told(slot: SlotChange) -> str:
    """Return what was told to have come off, and whether the sound agrees."""
    if slot.match is Match.UNTOLD:
        return "nothing noted, but it changed"
    if slot.told_mm is None or slot.told_mm <= 0:
        return "nothing"
    amount = numbers.length(slot.told_mm)
    verdict = {
        Match.AGREES: "the sound agrees",
        Match.LESS: "the sound says less",
        Match.MORE: "the sound says more",
        Match.UNHEARD: "not heard",
    }[slot.match]
    return f"{amount}: {verdict}"


def told_sentences(slots: tuple[SlotChange, ...]) -> tuple[str, ...]:
    """Return what a reader should know of told against heard, in whole sentences."""
    wrong = [s for s in slots if s.match in (Match.LESS, Match.MORE)]
    untold = [s for s in slots if s.match is Match.UNTOLD]
    agree = [s.number for s in slots if s.match is Match.AGREES]
    found = []
    for slot in wrong:
        assert slot.change_mm is not None
        assert slot.told_mm is not None
        found.append(
            f"String {slot.number}: {numbers.mm(slot.told_mm)} was noted as filed off, but the sound says "
            f"{_heard(slot.change_mm)}. Measure this slot with a gauge."
        )
    for slot in untold:
        assert slot.change_mm is not None
        found.append(
            f"String {slot.number}: nothing was noted as filed off, but the sound says {changed(slot)}. "
            "If neither a file nor a shim touched it, play it again."
        )
    if agree and not wrong:
        found.append(f"What was heard agrees with what was noted as filed off {phrases.strings(agree)}.")
    return tuple(found)


def state(slot: SlotChange) -> tuple[str, str]:
    """Return the state of a slot now: a key for the style sheet, and its word."""
    if slot.after_mm is None:
        return "unmeasured", phrases.UNMEASURED
    return str(slot.verdict.value), phrases.VERDICT_WORDS[slot.verdict]


def _heard(change_mm: Belief) -> str:
    """Return what the sound says came off."""
    low, high = -change_mm.high, -change_mm.low
    return f"{_mm(low)} to {_mm(high)} mm"


def _mm(value: float) -> str:
    return numbers.rounded(value, decimals=numbers.MM_DECIMALS)


def _signed(value: float) -> str:
    return numbers.rounded(value, decimals=numbers.MM_DECIMALS, signed=True)
