"""The plan's records: a verdict, a removal and its steps per string, and the nut as a whole.

Conventions: mm and cents; beliefs are unrounded, ``remove_now_mm`` is already rounded down.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pitchcheck.fit.belief import Belief
from pitchcheck.takes import NextTake as NextTake
from pitchcheck.takes import Position


class Verdict(StrEnum):
    """What can be said of a slot with 90 % belief."""

    HIGH = "high"
    LOW = "low"
    FINE = "fine"
    UNSURE = "unsure"


@dataclass(frozen=True)
class StringPlan:
    """What to do with one slot. ``None`` beliefs: the string was not measured."""

    number: int
    note: str
    target_mm: float
    height_mm: Belief | None
    clearance_third_mm: Belief | None
    excess_mm: Belief | None
    verdict: Verdict
    remove_now_mm: float
    raise_mm: float | None
    after_cents: float | None  # first-fret error expected after removing remove_now_mm
    after_clearance_mm: float | None  # third-fret clearance expected after it
    evidence: tuple[str, ...]
    doubts: tuple[str, ...]
    steps: tuple[str, ...]  # what to do, in plain words, cautions in place


@dataclass(frozen=True)
class NutBottom:
    """Cut at the bottom of the nut that leaves every slot at or above its target. [mm]"""

    bass_mm: float
    treble_mm: float


@dataclass(frozen=True)
class Plan:
    """The plan for the whole nut."""

    strings: tuple[StringPlan, ...]
    nut_bottom: NutBottom | None
    next_take: NextTake | None
    next_takes: tuple[Position, ...] = ()  # run worth playing next, opens included; next_take is in it
    steps: tuple[str, ...] = ()  # for the nut as a whole, in plain words
