"""Words of one slot of a comparison: its state, how far it moved, how sure that is, whether that was told.

Conventions: cells ready to be shown; lengths in mm and thou. "Lower" and "higher" are said only at 99.5 %
belief, "no change" at 90 %; otherwise it says "unsure".
"""

from __future__ import annotations

from pitchcheck.compare import Change, Match
from pitchcheck.compare.records import SlotChange
from pitchcheck.units import LengthUnit
from pitchcheck.words import numbers, phrases

UNHEARD = "not heard in both"
ONCE = "heard once"  # so its slot is told, and no change
MATCH_WORDS = {
    Match.AGREES: "the sound agrees",
    Match.LESS: "the sound says less",
    Match.MORE: "the sound says more",
    Match.UNHEARD: "not heard",
}


def state(slot: SlotChange) -> tuple[str, str]:
    """Return the state of a slot now: a key for the style sheet, and its word."""
    if slot.after_mm is None:
        return "unmeasured", phrases.UNMEASURED
    return str(slot.verdict.value), phrases.VERDICT_WORDS[slot.verdict]


def changed(slot: SlotChange, *, unit: LengthUnit | None = None) -> str:
    """Return how far a slot moved: ``"0.31 mm (12.2 thou) lower"``."""
    if slot.change_mm is None:
        return UNHEARD if slot.after_mm is None else ONCE
    amount = numbers.length(abs(slot.change_mm.median), unit=unit)
    if slot.change is Change.LOWER:
        return f"{amount} lower"
    if slot.change is Change.HIGHER:
        return f"{amount} higher"
    if slot.change is Change.SAME and slot.told_mm:
        return "too little to be sure"  # something was noted as filed off, so "no change" would say too much
    return "no change" if slot.change is Change.SAME else "unsure"


def between(slot: SlotChange, *, unit: LengthUnit = LengthUnit.MM, side: bool = True) -> str:
    """Return the 90 % interval of a change, as amounts taken off or gained; ``side`` says which."""
    if slot.change_mm is None:
        return ""
    if slot.change is Change.LOWER:
        return came_off(slot, unit) + (" lower" if side else "")
    if slot.change is Change.HIGHER:
        return numbers.interval(slot.change_mm, unit=unit) + (" higher" if side else "")
    ends = (numbers.figure(mm, unit=unit, signed=True) for mm in (slot.change_mm.low, slot.change_mm.high))
    return f"{' to '.join(ends)} {unit}"


def came_off(slot: SlotChange, unit: LengthUnit) -> str:
    """Return the 90 % interval of what came off a slot that was heard in both."""
    assert slot.change_mm is not None
    ends = (numbers.figure(-mm, unit=unit) for mm in (slot.change_mm.high, slot.change_mm.low))
    return f"{' to '.join(ends)} {unit}"


def sure(slot: SlotChange, *, tolerance_mm: float) -> str:
    """Return how sure what is said of a change is; of an unsure one, to which side it leans."""
    if slot.change_mm is None or slot.lower_belief is None:
        return numbers.UNKNOWN
    if slot.change is Change.LOWER:
        return numbers.percent(slot.lower_belief)
    if slot.change is Change.HIGHER:
        return numbers.percent(1 - slot.lower_belief)
    if slot.change is Change.SAME:
        within = slot.change_mm.below(tolerance_mm) - slot.change_mm.below(-tolerance_mm)
        return numbers.percent(within)
    side, belief = (
        ("lower", slot.lower_belief) if slot.lower_belief >= 0.5 else ("higher", 1 - slot.lower_belief)
    )
    return f"{numbers.percent(belief)} that it is {side}"


def told(slot: SlotChange, *, unit: LengthUnit | None = None) -> str:
    """Return what was told to have come off, and whether the sound agrees."""
    if slot.match is Match.UNTOLD:
        return "nothing noted, but it changed"
    if slot.told_mm is None or slot.told_mm <= 0:
        return "nothing"
    return f"{numbers.length(slot.told_mm, unit=unit)}: {MATCH_WORDS[slot.match]}"
