"""What to do at the bench, in plain words, with the caution where the hand is.

Conventions: lengths are told in mm and thousandths of an inch, rounded for reading; nothing is decided here.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.diagnosis.slots import SlotGoal
from pitchcheck.diagnosis.words import cents, mm, removal_mm
from pitchcheck.instrument import Nut
from pitchcheck.physics.gauges import third_fret_clearance_mm
from pitchcheck.plan.records import NextTake, NutBottom

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


@dataclass(frozen=True)
class AfterRemoval:
    """What one pass would bring: the removal, then the first fret and the gap to expect."""

    removed_mm: float
    first_fret_cents: float
    clearance_mm: float


def steps_high(
    goal: SlotGoal, *, nut: Nut, after: AfterRemoval | None, reasons: tuple[str, ...]
) -> tuple[str, ...]:
    """Return the steps for a high slot: file a little, or why not to."""
    if nut is not Nut.SLOTTED:
        return (NEVER_FILED[nut],)
    if reasons:
        return tuple(f"Do not file yet: {reason}." for reason in reasons)
    if after is None:
        return (
            "High, but how high is not known well enough to take anything off safely. Play its press takes "
            "again.",
        )
    return (
        "Wear eye protection and keep your face clear of the string. Slacken it and lift it out of the slot.",
        f"Take off at most {removal_mm(after.removed_mm)} now, in a few light strokes, the slot falling away "
        "towards the tuner so that the string bears on the front edge. You cannot put material back.",
        f"The first fret should then be about {cents(after.first_fret_cents)}, and the gap over fret 1 with "
        f"the string held at fret 3 about {mm(after.clearance_mm)}. This is an estimate.",
        LISTEN_AGAIN,
        f"Stop when that gap is {mm(third_fret_clearance_mm(goal.target_mm))} or the slot is no longer "
        f"called high; up to {mm(goal.tolerance_mm)} above target is not worth filing.",
    )


def steps_low(goal: SlotGoal, *, nut: Nut, raise_mm: float) -> tuple[str, ...]:
    """Return the steps for a low slot: how much to raise, how, and how to make sure."""
    check = (
        "Check by ear: play the open string firmly. A buzz that goes away when you hold fret 1 comes from "
        "fret 1 under a low slot. If nothing buzzes you may leave it."
    )
    if nut is not Nut.SLOTTED:
        return (check, f"It lies about {mm(raise_mm)} below its target. {NEVER_FILED[nut]}")
    return (
        "Do not file this slot.",
        check,
        f"To reach its target it has to come up by about {mm(raise_mm)}: shim the whole nut if all slots "
        "are low "
        "(the high ones then come down by filing); fill this slot and cut it again if it is the only one; or "
        "replace the nut.",
        "Filling with glue: air the room, keep it off skin, eyes and finish; it can get hot as it sets. "
        "Let it "
        f"harden, then cut from {mm(goal.target_mm)} or more above the frets downwards, a little at a time.",
    )


def steps_fine(goal: SlotGoal, *, height_mm: float) -> tuple[str, ...]:
    """Return the step for a slot that is fine: leave it."""
    if height_mm < goal.target_mm:
        return (
            f"Leave it. It lies {mm(goal.target_mm - height_mm)} below its target but above the height "
            "where open strings buzz.",
        )
    return ("Leave it. It is near enough to its target.",)


def steps_unsure(number: int, *, next_take: NextTake | None) -> tuple[str, ...]:
    """Return the steps for a slot that cannot be judged yet: nothing comes off, listen more."""
    steps = ["Take nothing off: it cannot be told yet whether this slot is high."]
    if next_take is not None and next_take.position.string == number:
        steps.append(f"Play {next_take.position.words()} next: {next_take.why}")
    else:
        steps.append("Play press 1 and press 2 again, twice each with an open take before and after.")
    return tuple(steps)


def steps_unmeasured(*, press: bool) -> tuple[str, ...]:
    """Return the steps for a string without a usable take."""
    if not press:
        return ("Not measured: play it open, at frets 1, 2, 3 and 12, and open again.",)
    return (
        "Not measured: play it open, at frets 1, 2, 3 and 12, press 1 and press 2, with open takes between.",
    )


def steps_bottom(cut: NutBottom) -> tuple[str, ...]:
    """Return the steps for a cut at the bottom of the nut, and what it excludes."""
    amount = (
        f"{removal_mm(cut.bass_mm)} evenly"
        if cut.bass_mm == cut.treble_mm
        else f"{removal_mm(cut.bass_mm)} under the bass end and {removal_mm(cut.treble_mm)} under the treble "
        "end, straight in between"
    )
    return (
        "All slots are high by an even or straight-line amount, so the bottom of the nut is the place to "
        "cut, not the slots. Do one or the other, never both in one pass.",
        "Slacken the strings evenly and take the nut out without chipping the finish; if it is glued fast, "
        "have it done by a qualified repairer.",
        f"Take {amount} off the bottom, on a flat surface, keeping it square; wear a dust mask, and do not "
        "let a filled plastic get hot. This leaves every slot at or above its target with 97.5 % belief. You "
        "cannot put material back.",
        "Clean the bed, set the nut back, string and tune, let it settle, and measure all strings again. "
        "What is then still high comes off slot by slot.",
    )
