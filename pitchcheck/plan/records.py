"""The plan's records: a verdict, a removal and its steps per string, and the nut as a whole.

Conventions: mm and cents; beliefs are unrounded, ``remove_now_mm`` is already rounded down.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pitchcheck.findings import Evidence
from pitchcheck.fit.belief import Belief
from pitchcheck.judgement import Bar, SlotJudgement
from pitchcheck.judgement import Verdict as Verdict
from pitchcheck.physics.gauges import third_fret_clearance_mm, third_fret_ratio
from pitchcheck.takes import Narrowing, Position
from pitchcheck.takes import NextTake as NextTake


@dataclass(frozen=True)
class NotMeasured:
    """The string has no usable take."""


@dataclass(frozen=True)
class NotPressed:
    """The height rests on gauge readings and fretted notes."""


@dataclass(frozen=True)
class ScallopedBoard:
    """A scalloped board gets no press test."""


@dataclass(frozen=True)
class FloatingBridge:
    """The bridge gives when the string is pressed, so the interval is wider."""


@dataclass(frozen=True)
class TargetBelowFloor:
    """The target lies below the height where an open string is likely to buzz."""


@dataclass(frozen=True)
class HardlyUsed:
    """A take that the fit hardly used, and how far it lies from what the others lead one to expect. [cent]"""

    row: int
    position: Position
    off_cents: float


SlotDoubt = Bar | NotMeasured | NotPressed | ScallopedBoard | FloatingBridge | TargetBelowFloor | HardlyUsed


@dataclass(frozen=True)
class AfterRemoval:
    """What one pass would bring: the removal, then the first fret and the gap to expect."""

    removed_mm: float
    first_fret_cents: float
    clearance_mm: float


@dataclass(frozen=True)
class StringPlan:
    """What to do with one slot.

    Attributes
    ----------
    slot : SlotJudgement
    remove_now_mm : float
        What may come off now, already rounded down. [mm]
    raise_mm : float or None
        The way up to the target of a slot that is low. [mm]
    after : AfterRemoval or None
        What to expect once ``remove_now_mm`` is off.
    evidence : tuple of Evidence
        What the verdict rests on.
    doubts : tuple of SlotDoubt
        What it might suffer from.
    leaf_decides_mm : float or None
        Where no further take settles whether it is to be filed: the gap over fret 1, string held behind fret
        3, above which it is, and below which it is left. [mm]
    """

    slot: SlotJudgement
    remove_now_mm: float = 0.0
    raise_mm: float | None = None
    after: AfterRemoval | None = None
    evidence: tuple[Evidence, ...] = ()
    doubts: tuple[SlotDoubt, ...] = ()
    leaf_decides_mm: float | None = None

    @property
    def number(self) -> int:
        """Number of the string."""
        return self.slot.number

    @property
    def note(self) -> str:
        """Note of the open string."""
        return self.slot.note

    @property
    def target_mm(self) -> float:
        """Height at which the slot should be. [mm]"""
        return self.slot.goal.target_mm

    @property
    def height_mm(self) -> Belief | None:
        """Slot height; None where it was not measured. [mm]"""
        return self.slot.height_mm

    @property
    def excess_mm(self) -> Belief | None:
        """Slot height less its target. [mm]"""
        return self.slot.excess_mm

    @property
    def clearance_third_mm(self) -> Belief | None:
        """Gap over fret 1 with the string held behind fret 3. [mm]"""
        return None if self.slot.height_mm is None else self.slot.height_mm.scaled(third_fret_ratio())

    @property
    def stop_clearance_mm(self) -> float:
        """The same gap at which filing stops, whatever was said: that of the target. [mm]"""
        return third_fret_clearance_mm(self.target_mm)

    @property
    def verdict(self) -> Verdict:
        """What can be said of the slot."""
        return self.slot.verdict

    @property
    def after_cents(self) -> float | None:
        """First-fret error expected after the removal. [cent]"""
        return None if self.after is None else self.after.first_fret_cents

    @property
    def after_clearance_mm(self) -> float | None:
        """Third-fret clearance expected after the removal. [mm]"""
        return None if self.after is None else self.after.clearance_mm


@dataclass(frozen=True)
class NutBottom:
    """Cut at the bottom of the nut that leaves every slot at or above its target. [mm]

    Attributes
    ----------
    bass_mm, treble_mm : float
        Under the last and the first string, straight in between. [mm]
    rest_mm : tuple of (int, float)
        String and what is then about left to file in its slot, once it was measured again. [mm]
    outer_only : bool
        Whether the two outer strings alone were heard: nothing is known of the slots between.
    """

    bass_mm: float
    treble_mm: float
    rest_mm: tuple[tuple[int, float], ...] = ()
    outer_only: bool = False


@dataclass(frozen=True)
class NextTakes:
    """What is worth playing next.

    Attributes
    ----------
    takes : tuple of Position
        In playing order, open takes included; empty when listening is over.
    first : NextTake or None
        The first stopped take among them, and why.
    """

    takes: tuple[Position, ...] = ()
    first: NextTake | None = None


NOTHING_MORE = NextTakes()


class SharedLength(StrEnum):
    """What can be measured once for the whole instrument and told in the settings."""

    RELIEF = "relief"
    BEHIND_NUT = "behind_nut"  # how far the strings fall from the nut to their posts


@dataclass(frozen=True)
class WorthTelling:
    """A length that would narrow the slots, were it measured and told.

    Attributes
    ----------
    what : SharedLength
    why : Narrowing
        Of the slot that it narrows most among those on which something hangs.
    """

    what: SharedLength
    why: Narrowing


@dataclass(frozen=True)
class Plan:
    """The plan for the whole nut."""

    strings: tuple[StringPlan, ...]
    nut_bottom: NutBottom | None
    next_take: NextTake | None
    next_takes: tuple[Position, ...] = ()  # run worth playing next, opens included; next_take is in it
    lengths: tuple[WorthTelling, ...] = ()  # worth measuring and telling, the one that saves most first
