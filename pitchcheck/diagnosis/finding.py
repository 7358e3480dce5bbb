"""Findings: what is behind the numbers, each with its evidence."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pitchcheck.doubts import Doubt
from pitchcheck.takes import Position


class Cause(StrEnum):
    """What a finding blames."""

    SLOT_HIGH = "slot_high"
    SLOT_LOW = "slot_low"
    NUT_POSITION = "nut_position"
    SADDLE = "saddle"
    TOUCH = "touch"
    FRET = "fret"
    CATCHING_SLOT = "catching_slot"
    DRIFT = "drift"
    WORN_STRING = "worn_string"
    WRONG_NOTE = "wrong_note"
    CAPO = "capo"
    EAR_METER_DISAGREE = "ear_meter_disagree"


@dataclass(frozen=True)
class DoubtedTake:
    """A take and what it is doubted for."""

    row: int
    position: Position
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True)
class Finding:
    """One cause, where it acts, how large it is and what shows it."""

    cause: Cause
    strings: tuple[int, ...]
    frets: tuple[int, ...]
    size: float
    unit: str  # mm or cent; takes, %, times where nothing has a length
    evidence: tuple[str | DoubtedTake, ...]
