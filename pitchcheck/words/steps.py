"""What to do at the bench, in English, with the caution where the hand is.

Conventions: whole sentences; lengths in mm and thousandths of an inch, rounded for reading; nothing is
decided here.
"""

from __future__ import annotations

from pitchcheck.instrument import Board, Instrument, Nut
from pitchcheck.judgement import Verdict
from pitchcheck.physics.gauges import third_fret_clearance_mm
from pitchcheck.plan.records import AfterRemoval, NutBottom, StringPlan
from pitchcheck.takes import Narrowing, NextTake
from pitchcheck.units import LengthUnit
from pitchcheck.words import numbers, phrases
from pitchcheck.words.slots import bar

LISTEN_AGAIN = "Tune, let the string settle, play its takes again and measure before any more comes off."
NEVER_FILED = {
    Nut.LOCKING: (
        "A locking nut is never filed: its height is set by the shims under it. Slacken the strings "
        "before you touch it, and follow the maker's service instructions."
    ),
    Nut.ZERO_FRET: (
        "A zero fret is never filed slot by slot: its height is that of the fret. If it is high on all "
        "strings, levelling it is a job for a qualified repairer."
    ),
}


def slot_steps(
    plan: StringPlan,
    *,
    instrument: Instrument,
    next_take: NextTake | None,
    unit: LengthUnit | None = None,
) -> tuple[str, ...]:
    """Return what to do with one slot.

    Parameters
    ----------
    plan : StringPlan
    instrument : Instrument
        Its board tells whether presses can be played.
    next_take : NextTake or None
        Named where it is a take of this string.
    unit : LengthUnit, optional
        What lengths are shown in; both by default.
    """
    if plan.height_mm is None:
        return _unmeasured(press=instrument.board is not Board.SCALLOPED)
    if plan.verdict is Verdict.HIGH:
        return _high(plan, unit)
    if plan.verdict is Verdict.LOW:
        return _low(plan, unit)
    if plan.verdict is Verdict.FINE:
        return _fine(plan, unit)
    return _unsure(plan, next_take=next_take, unit=unit)


def _high(plan: StringPlan, unit: LengthUnit | None) -> tuple[str, ...]:
    """Return the steps for a high slot: file a little, or why not to."""
    slot = plan.slot
    if slot.nut is not Nut.SLOTTED:
        return (NEVER_FILED[slot.nut],)
    if slot.bars:
        return tuple(f"Do not file yet: {bar(what)}." for what in slot.bars)
    if plan.leaf_decides_mm is not None:
        return (
            "High, but how high the sound alone will not tell well enough to take anything off safely.",
            _by_leaf(plan.leaf_decides_mm, unit),
        )
    if plan.after is None:
        return (
            "High, but how high is not known well enough to take anything off safely. Play its press takes "
            "again.",
        )
    return (
        "Wear eye protection and keep your face clear of the string. Slacken it and lift it out of the slot.",
        f"Take off at most {numbers.removal(plan.after.removed_mm, unit=unit)} now, in a few light strokes, "
        "the slot falling away towards the tuner so that the string bears on the front edge. You cannot "
        "put material back.",
        _expected(plan.after, unit),
        LISTEN_AGAIN,
        f"Stop when that gap is {numbers.length(third_fret_clearance_mm(slot.goal.target_mm), unit=unit)} "
        f"or the slot is no longer called high; up to {numbers.length(slot.goal.tolerance_mm, unit=unit)} "
        "above target is not worth filing.",
    )


def _expected(after: AfterRemoval, unit: LengthUnit | None) -> str:
    """Return what to expect after a removal."""
    return (
        f"The first fret should then be about {numbers.off(after.first_fret_cents)}, and the gap over fret 1 "
        f"with the string held at fret 3 about {numbers.length(after.clearance_mm, unit=unit)}. This is an "
        "estimate."
    )


def _low(plan: StringPlan, unit: LengthUnit | None) -> tuple[str, ...]:
    """Return the steps for a low slot: how much to raise, how, and how to make sure."""
    check = (
        "Check by ear: play the open string firmly. A buzz that goes away when you hold fret 1 comes from "
        "fret 1 under a low slot. If nothing buzzes you may leave it."
    )
    nut, rise = plan.slot.nut, numbers.length(plan.raise_mm or 0.0, unit=unit)
    if nut is not Nut.SLOTTED:
        return (check, f"It lies about {rise} below its target. {NEVER_FILED[nut]}")
    return (
        "Do not file this slot.",
        check,
        f"To reach its target it has to come up by about {rise}: shim the whole nut if all slots are low "
        "(the high ones then come down by filing); fill this slot and cut it again if it is the only one; "
        "or replace the nut.",
        "Filling with glue: air the room, keep it off skin, eyes and finish; it can get hot as it sets. "
        f"Let it harden, then cut from {numbers.length(plan.target_mm, unit=unit)} or more above the frets "
        "downwards, a little at a time.",
    )


def _fine(plan: StringPlan, unit: LengthUnit | None) -> tuple[str, ...]:
    """Return the step for a slot that is fine: leave it."""
    below = 0.0 if plan.excess_mm is None else -plan.excess_mm.median
    if below > 0:
        return (
            f"Leave it. It lies {numbers.length(below, unit=unit)} below its target but above the height "
            "where open strings buzz.",
        )
    return ("Leave it. It is near enough to its target.",)


def _unsure(plan: StringPlan, *, next_take: NextTake | None, unit: LengthUnit | None) -> tuple[str, ...]:
    """Return the steps for a slot that cannot be judged yet: nothing comes off, listen more."""
    if plan.slot.surely_not_high:
        first = "Take nothing off: this slot is not high. It cannot be told yet whether it is low."
    else:
        first = "Take nothing off: it cannot be told yet whether this slot is high."
    if next_take is not None and next_take.position.string == plan.number:
        return (first, f"Play {next_take.position.words()} next: {narrowing(next_take.why)}")
    if plan.leaf_decides_mm is not None:
        return (first, _by_leaf(plan.leaf_decides_mm, unit))
    return (first, "Play press 1 and press 2 again, twice each with an open take before and after.")


def _by_leaf(gap_mm: float, unit: LengthUnit | None) -> str:
    """Return how a leaf settles a slot that no further take would."""
    gap = numbers.length(gap_mm, unit=unit)
    return (
        "More plucking would not settle it; a leaf does. Hold the string down at fret 3 and measure the gap "
        f"over fret 1: above {gap} it is to be filed, below that leave it. Enter the gap and measure again."
    )


def narrowing(why: Narrowing) -> str:
    """Return why a take is worth playing, without a capital at its beginning."""
    helps = f" and helps {phrases.strings(why.helps)} as well" if why.helps else ""
    return (
        f"the slot of string {why.string} is known to ±{why.half_width_mm:.2f} mm, too little to decide; "
        f"this take should narrow that by about {round(100 * why.share)} %{helps}. Play the open string "
        "before and after it."
    )


def _unmeasured(*, press: bool) -> tuple[str, ...]:
    """Return the steps for a string without a usable take."""
    if not press:
        return ("Not measured: play it open, at frets 1, 2, 3 and 12, and open again.",)
    return (
        "Not measured: play it open, at frets 1, 2, 3 and 12, press 1 and press 2, with open takes between.",
    )


def bottom_steps(cut: NutBottom, *, unit: LengthUnit | None = None) -> tuple[str, ...]:
    """Return the steps for a cut at the bottom of the nut, and what it excludes."""
    bass, treble = numbers.removal(cut.bass_mm, unit=unit), numbers.removal(cut.treble_mm, unit=unit)
    if cut.bass_mm == cut.treble_mm:
        amount = f"{bass} evenly"
    else:
        amount = f"{bass} under the bass end and {treble} under the treble end, straight in between"
    heard = "The two outer slots" if cut.outer_only else "All slots"
    between = (
        "The slots between were not heard: lay a straightedge in the two outer ones, and cut only if none of "
        "the others lies below it.",
    )
    left = ", ".join(f"string {number} {numbers.removal(mm, unit=unit)}" for number, mm in cut.rest_mm)
    rest = (f"Left for the slots after that, about: {left}; file only what the new measurement says.",)
    return (
        f"{heard} can spare a straight cut, so the bottom of the nut is the place to "
        "cut, not the slots. Do one or the other, never both in one pass.",
        *(between if cut.outer_only else ()),
        "Slacken the strings evenly and take the nut out without chipping the finish; if it is glued fast, "
        "have it done by a qualified repairer.",
        f"Take {amount} off the bottom, on a flat surface, keeping it square; wear a dust mask, and do not "
        "let a filled plastic get hot. This leaves every slot that was heard at or above its target with "
        "97.5 % belief. You cannot put material back.",
        "Clean the bed, set the nut back, string and tune, let it settle, and measure all strings again. "
        "What is then still high comes off slot by slot.",
        *(rest if cut.rest_mm else ()),
    )
