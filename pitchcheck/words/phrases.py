"""Plain words for counts, lists, verdicts and causes.

Conventions: British spelling, no full stop unless a whole sentence is returned.
"""

from __future__ import annotations

from pitchcheck.course import Thoroughness, string_positions
from pitchcheck.diagnosis import Cause, Finding
from pitchcheck.instrument import MeterQuantity, Nut
from pitchcheck.plan import StringPlan, Verdict
from pitchcheck.tuning import AUDIBLE_CENTS as AUDIBLE_CENTS
from pitchcheck.units import LengthUnit
from pitchcheck.words import numbers
from pitchcheck.words.lists import count as count
from pitchcheck.words.lists import listed as listed
from pitchcheck.words.lists import sentence as sentence
from pitchcheck.words.lists import strings as strings

VERDICT_WORDS = {
    Verdict.HIGH: "high",
    Verdict.LOW: "low",
    Verdict.FINE: "fine",
    Verdict.UNSURE: "unsure",
}
UNMEASURED = "not measured"
_COARSE_MM = 1.5  # [mm] from here a rule is what one measures with, so tenths of a millimetre will do

GAUGE_WORDS = {
    MeterQuantity.CLEARANCE_THIRD: "gap over fret 1, held behind fret 3",
    MeterQuantity.CLEARANCE_OPEN: "gap over fret 1, open string",
    MeterQuantity.SLOT_FLOOR: "slot floor above the board",
    MeterQuantity.FRET_HEIGHT: "fret height",
    MeterQuantity.ACTION_12: "action at fret 12",
    MeterQuantity.RELIEF: "neck relief",
}

# How a take is played, in the same words on the take sheet and the page.
FRETTING = "as you normally fret, just behind the fret"
PRESSING = (
    "with the rod upright, its rounded end on the string, hold it down onto the board midway between the "
    "fret named and the one before it (press 1: between nut and fret 1), thumb under the neck there; then "
    "pluck"
)
LEAF = "lay the leaf flat on fret 1 under the string, touch nothing else, pluck the open string"

COURSE_WORDS = {
    Thoroughness.BASE: "the press test, then only what a decision still needs; the usual one, for filing",
    Thoroughness.QUICK: "fret 1 and the press test, once each; for filing, with the first fret heard too",
    Thoroughness.FULL: "frets 1, 2, 3 and 12 and the press test; chords and saddle too, for before and after",
    Thoroughness.THOROUGH: "the same and presses 1 to 4, four times; for the last hundredths of a millimetre",
}
TAKE_S = 12.0  # [s] a take, reckoned: prompt, pluck, ringing, damping

NUT_WORDS = {
    Nut.SLOTTED: "slotted nut",
    Nut.ZERO_FRET: "zero fret",
    Nut.LOCKING: "locking nut",
}

CAUSE_TITLES = {
    Cause.SLOT_HIGH: "Slot too high",
    Cause.SLOT_LOW: "Slot too low",
    Cause.NUT_POSITION: "The nut sits in the wrong place",
    Cause.SADDLE: "The saddle",
    Cause.TOUCH: "The fretting hand",
    Cause.FRET: "A single fret",
    Cause.CATCHING_SLOT: "The string catches in its slot",
    Cause.DRIFT: "The tuning drifted",
    Cause.WORN_STRING: "A worn or false string",
    Cause.WRONG_NOTE: "A wrong note",
    Cause.CAPO: "The capo bends the string",
    Cause.EAR_METER_DISAGREE: "Gauge and sound disagree",
}

CAUSE_MEANINGS = {
    Cause.SLOT_HIGH: "Fretting the first frets stretches the string too far, so those notes are sharp.",
    Cause.SLOT_LOW: "The open string may buzz on the first fret.",
    Cause.NUT_POSITION: "All stopped notes are off by a like amount, whatever the height of the slots. "
    "Filing slots does not cure it.",
    Cause.SADDLE: "The error grows up the neck. It is cured at the bridge, not at the nut.",
    Cause.TOUCH: "Pressing hard pulls notes sharp. A lighter touch cures it; a file does not.",
    Cause.FRET: "One fret is off on every string. It is cured at that fret.",
    Cause.CATCHING_SLOT: "The string does not come back to its pitch by itself. "
    "The slot may need to be smoothed, not lowered.",
    Cause.DRIFT: "The strings were still moving while they were played. Let them settle and play again.",
    Cause.WORN_STRING: "Its overtones do not fit one string of even weight. "
    "Change it before you judge the slot.",
    Cause.WRONG_NOTE: "What was heard is not the note on the list. Play it again.",
    Cause.CAPO: "The capo pulls strings sharp, so those takes say little about the nut.",
    Cause.EAR_METER_DISAGREE: "One of the two is wrong. Measure again before anything is filed.",
}


CAUSE_NAMES = {
    Cause.SLOT_HIGH: "high slots",
    Cause.SLOT_LOW: "low slots",
    Cause.NUT_POSITION: "the place of the nut",
    Cause.SADDLE: "the saddle",
    Cause.TOUCH: "the fretting hand",
    Cause.FRET: "a single fret",
    Cause.CATCHING_SLOT: "a string that catches in its slot",
    Cause.DRIFT: "tuning that drifted",
    Cause.WORN_STRING: "a worn string",
    Cause.WRONG_NOTE: "takes that were another note",
    Cause.CAPO: "the capo",
    Cause.EAR_METER_DISAGREE: "a gauge that disagrees with the sound",
}

CAUSE_CURES = {
    Cause.SLOT_HIGH: "filed a little at a time, listening in between",
    Cause.SLOT_LOW: "raise it, never file it",
    Cause.NUT_POSITION: "a matter of the nut's place; filing slots does not cure it",
    Cause.SADDLE: "set intonation at the bridge",
    Cause.TOUCH: "press more lightly",
    Cause.FRET: "see to that fret",
    Cause.CATCHING_SLOT: "smooth the slot's sides, do not lower it",
    Cause.DRIFT: "let the strings settle, play again",
    Cause.WORN_STRING: "change the string first",
    Cause.WRONG_NOTE: "play those takes again",
    Cause.CAPO: "play without the capo",
    Cause.EAR_METER_DISAGREE: "gauge again; if it was filed since, listen again",
}


def course_time(thoroughness: Thoroughness, *, strings: int) -> str:
    """Return how much a course plays and how long that takes: ``"5 notes a string, about 6 minutes"``."""
    notes = len(string_positions(1, thoroughness=thoroughness))
    minutes = round(notes * strings * TAKE_S / 60)
    more = ", then 3 to 8 more" if thoroughness is Thoroughness.BASE else ""
    return f"{notes} notes a string, about {minutes} minutes on {strings} strings{more}"


def size(finding: Finding, *, unit: LengthUnit | None = None) -> str:
    """Return how large a finding is, with its unit."""
    if finding.unit == "mm":
        if abs(finding.size) >= _COARSE_MM and unit is not LengthUnit.THOU:
            return f"{numbers.rounded(finding.size, decimals=1)} mm"
        side = {Cause.SLOT_HIGH: " above target", Cause.SLOT_LOW: " below target"}.get(finding.cause, "")
        return numbers.length(abs(finding.size) if side else finding.size, unit=unit) + side
    if finding.unit.startswith("cent"):
        return numbers.cents(finding.size)
    return f"{finding.size:.3g} {finding.unit}"


def place(finding: Finding) -> str:
    """Return where a finding acts: ``"strings 5 and 6, fret 1"``."""
    parts = [strings(finding.strings)] if finding.strings else []
    if finding.frets:
        word = "fret" if len(finding.frets) == 1 else "frets"
        parts.append(f"{word} {listed([str(f) for f in sorted(finding.frets)])}")
    return ", ".join(parts) or "the whole instrument"


def verdict(plan: StringPlan) -> str:
    """Return the verdict of one slot in words; a slot without a height is "not measured"."""
    return UNMEASURED if plan.height_mm is None else VERDICT_WORDS[plan.verdict]
