"""What a comparison of two passes takes for granted, and what makes it weaker, in whole sentences."""

from __future__ import annotations

from pitchcheck.compare.records import Assumption, AssumptionKind, HeardIn, Weakness, WeaknessKind
from pitchcheck.words import phrases


def assumption(what: Assumption) -> str:
    """Return one thing that is taken to be the same, or reckoned with."""
    if what.kind is AssumptionKind.SAME_INSTRUMENT:
        return (
            "Frets, the place of the nut, the saddle and the strings are taken to be the same in both "
            "passes: if strings were changed for another set or the frets were dressed in between, do not "
            "compare."
        )
    if what.kind is AssumptionKind.SMALL_CHANGES:
        return (
            "A touch a little lighter or heavier, a neck that moved a little and another place of the rod "
            "are allowed for."
        )
    if what.kind is AssumptionKind.ACTION_RESTATED:
        assert what.lengths_mm is not None
        before, after = what.lengths_mm
        return (
            f"The action over fret 12 was given as {before:.2f} mm before, {after:.2f} mm after; that is "
            "reckoned with."
        )
    verb = "was" if len(what.strings) == 1 else "were"
    strings = phrases.strings(what.strings, capital=True)
    return f"{strings} {verb} tuned otherwise in the second pass; that is reckoned with."


def weakness(what: Weakness) -> str:
    """Return one thing that makes a comparison weaker than it could be."""
    if what.kind is WeaknessKind.NO_PRESSES:
        strings = phrases.strings(what.strings)
        return f"No press takes on {strings}: fretted notes alone hardly tell how a slot changed."
    return "The comparison did not settle; its figures are rougher than they look."


def heard_in(what: HeardIn) -> str:
    """Return in which two passes a string was heard, where they are not those of the others."""
    return f"String {what.string} is told from {what.before} and {what.after}, the passes that heard it."
