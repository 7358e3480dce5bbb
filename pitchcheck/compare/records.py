"""What a comparison of two passes hands on.

Conventions: "before" and "after" are two passes over one instrument; a change is after less before, so a slot
that was filed has a negative one. Lengths in mm, intervals in cents; beliefs are unrounded.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Fit
from pitchcheck.judgement import Verdict
from pitchcheck.takes import Position, Stop

BEFORE, AFTER = 0, 1  # places of the two passes in their common fit


class Change(StrEnum):
    """What can be said of the change of a slot."""

    LOWER = "lower"  # at least 99.5 % sure
    HIGHER = "higher"  # at least 99.5 % sure
    SAME = "same"  # at least 90 % sure that it moved by less than the tolerance
    UNSURE = "unsure"


class Match(StrEnum):
    """How what was told to have come off a slot agrees with what was heard."""

    AGREES = "agrees"
    LESS = "less"  # less came off than was told
    MORE = "more"  # more came off than was told
    NOT_TOLD = "not_told"  # nothing was told, and nothing is missing
    UNTOLD = "untold"  # nothing was told, but the slot changed
    UNHEARD = "unheard"  # the string was not heard in both passes


@dataclass(frozen=True)
class PositionChange:
    """Takes at one place of one string, before and after. Means over the repeats. [cent]

    ``expected_cents`` is what the change of the slot alone would do there.
    """

    position: Position
    before_cents: float
    before_takes: int
    after_cents: float
    after_takes: int
    change_cents: float
    sd_cents: float
    expected_cents: float


@dataclass(frozen=True)
class SlotChange:
    """One slot before and after; ``None`` where it was not heard in both passes.

    Attributes
    ----------
    number, note
    before_mm, after_mm, change_mm : Belief or None
        Heights from both passes together, and their difference. [mm]
    lower_belief : float or None
        Belief that the slot is lower than it was, 0 to 1.
    change : Change
    told_mm : float or None
        What was told to have come off between the passes. [mm]
    match : Match
    target_mm, floor_mm : float
        Where the slot should be, and where it begins to buzz. [mm]
    low_belief : float or None
        Belief that the slot is now below its floor, 0 to 1.
    verdict : Verdict
        Of the slot as it is now.
    positions : tuple of PositionChange
    """

    number: int
    note: str
    before_mm: Belief | None
    after_mm: Belief | None
    change_mm: Belief | None
    lower_belief: float | None
    change: Change
    told_mm: float | None
    match: Match
    target_mm: float
    floor_mm: float
    low_belief: float | None
    verdict: Verdict
    positions: tuple[PositionChange, ...]


@dataclass(frozen=True)
class Repeats:
    """How well repeats of one kind of take agree, over all strings and both passes. [cent]

    ``expected_cents`` is the scatter that the fit expects of a careful hand.
    """

    stop: Stop
    fret: int
    pairs: int
    sd_cents: float
    expected_cents: float


class AssumptionKind(StrEnum):
    """What a comparison takes to be the same in both passes, or reckons with."""

    SAME_INSTRUMENT = "same_instrument"  # frets, place of the nut, saddle, strings
    SMALL_CHANGES = "small_changes"  # touch, neck, place of the rod: allowed for
    ACTION_RESTATED = "action_restated"  # the action was given otherwise in the second pass
    RETUNED = "retuned"  # strings tuned otherwise in the second pass


@dataclass(frozen=True)
class Assumption:
    """One of them, with its strings, or with the action before and after. [mm]"""

    kind: AssumptionKind
    strings: tuple[int, ...] = ()
    lengths_mm: tuple[float, float] | None = None


class WeaknessKind(StrEnum):
    """What makes a comparison weaker than it could be."""

    NO_PRESSES = "no_presses"  # fretted notes alone hardly tell how a slot changed
    NOT_SETTLED = "not_settled"


@dataclass(frozen=True)
class Weakness:
    """One of them, with its strings."""

    kind: WeaknessKind
    strings: tuple[int, ...] = ()


@dataclass(frozen=True)
class HeardIn:
    """The names of the two passes that one string is compared in, where they are not those of the others."""

    string: int
    before: str
    after: str


@dataclass(frozen=True)
class Comparison:
    """Two passes over one instrument.

    Attributes
    ----------
    strings : tuple of SlotChange
        Every string of the instrument.
    repeats : tuple of Repeats
    scatter : float >= 1
        How many times the usual scatter this hand has; every uncertainty here is widened by it.
    assumptions : tuple of Assumption
    weaknesses : tuple of Weakness
    heard_in : tuple of HeardIn
        Strings that are told from other passes than the two compared, as a pass may hold a few only.
    before, after : Fit or None
        Each pass as both tell it together, with one touch: heights and fretted notes over the neck. None when
        no string was heard in both.
    """

    strings: tuple[SlotChange, ...]
    repeats: tuple[Repeats, ...]
    scatter: float
    assumptions: tuple[Assumption, ...]
    weaknesses: tuple[Weakness, ...] = ()
    before: Fit | None = None
    after: Fit | None = None
    heard_in: tuple[HeardIn, ...] = ()
