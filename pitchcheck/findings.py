"""What is found behind the numbers, and what shows it: records with their numbers, no sentences.

Conventions: cents, + = sharp; mm; beliefs are unrounded. ``words.evidence`` says them in English.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pitchcheck.doubts import Doubt
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import MeterQuantity
from pitchcheck.takes import Position, Stop


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
class SlotAgainstTarget:
    """Slot height and where it should be. [mm]"""

    height_mm: Belief
    target_mm: float


@dataclass(frozen=True)
class SurelyHigh:
    """Belief, 0 to 1, that a slot lies more than the tolerance above its target."""

    belief: float
    tolerance_mm: float


@dataclass(frozen=True)
class BelowFloor:
    """A slot below the height under which an open string is likely to buzz on fret 1. [mm]"""

    height_mm: Belief
    floor_mm: float


@dataclass(frozen=True)
class FirstFretHeard:
    """Error of the ordinary first-fret note as heard. [cent]"""

    error_cents: float


@dataclass(frozen=True)
class PressHeard:
    """Mean error of the press takes behind one fret. [cent]"""

    fret: int
    error_cents: float
    takes: int


@dataclass(frozen=True)
class NotTheSlot:
    """A sharp first fret over a fine slot, and what makes it sharp. [cent]"""

    string: int
    heard_cents: float
    slot_cents: float  # what setting the slot to its target would take away
    touch_cents: float
    nut_cents: float
    usual_cents: float  # a slot at its target, the saddle and the stiffness make so much of any such note
    left_cents: float  # nothing explains it: how the note was played, or its fret


@dataclass(frozen=True)
class NutOffset:
    """The nut's front edge away from its place, + away from fret 1, and what that alone makes of a note."""

    strings: tuple[int, ...]
    offset_mm: Belief
    error_cents: float


@dataclass(frozen=True)
class Fret12AtTarget:
    """Error of a lightly fretted note at fret 12 with the slot at its target, and the saddle's way.

    In cents; ``move_mm`` is how far the saddle wants to go, + away from the nut.
    """

    error_cents: float
    sd_cents: float
    move_mm: float


@dataclass(frozen=True)
class FingerDepth:
    """What the finger makes of frets 1 to 3 of some strings, and how deep it pushes. [cent, mm]"""

    strings: tuple[int, ...]
    error_cents: float
    depth_mm: Belief


@dataclass(frozen=True)
class AboveLightTouch:
    """How far frets 1 to 3 of a string sound above the prediction without a finger. [cent]"""

    string: int
    error_cents: float


@dataclass(frozen=True)
class FretOff:
    """How far the notes of one fret lie off what the rest of the neck leads one to expect. [cent]"""

    stop: Stop
    fret: int
    error_cents: float
    strings: int
    limit_cents: float


@dataclass(frozen=True)
class GaugeAgainstSound:
    """A gauge reading and what the sound alone says. [mm]"""

    what: MeterQuantity | None  # None: a length of the instrument itself
    string: int | None
    read_mm: float
    heard_mm: float
    sd_mm: float
    likely_slip_mm: float | None


@dataclass(frozen=True)
class OpenJumped:
    """An open note that jumped after stopped takes and came back after the next. [cent]"""

    between: tuple[Position, ...]
    change_cents: float
    row_before: int
    row_after: int
    limit_cents: float


@dataclass(frozen=True)
class OpenRan:
    """An open note that ran steadily from its first take to its last. [cent]"""

    string: int
    run_cents: float


@dataclass(frozen=True)
class OpenSlipped:
    """An open note that jumped and was not heard to come back. [cent]"""

    string: int
    change_cents: float
    row_before: int
    row_after: int


@dataclass(frozen=True)
class FalseOvertones:
    """How many of a string's takes have overtones off those of one even string, and how far. [cent]"""

    takes: int
    of: int
    scatter_cents: float


@dataclass(frozen=True)
class InharmonicityRatio:
    """Heard inharmonicity over that of a string of the given gauge and stretch. [-]"""

    ratio: float


@dataclass(frozen=True)
class CapoBends:
    """A capo'd open note against a lightly fretted note at the same place. [cent]"""

    string: int
    capo: int
    error_cents: float
    limit_cents: float


Evidence = (
    DoubtedTake
    | SlotAgainstTarget
    | SurelyHigh
    | BelowFloor
    | FirstFretHeard
    | PressHeard
    | NotTheSlot
    | NutOffset
    | Fret12AtTarget
    | FingerDepth
    | AboveLightTouch
    | FretOff
    | GaugeAgainstSound
    | OpenJumped
    | OpenRan
    | OpenSlipped
    | FalseOvertones
    | InharmonicityRatio
    | CapoBends
)


@dataclass(frozen=True)
class Question:
    """A cause that looks likely but that no take played so far can tell, and the take that would.

    ``heard``: that take was played, but not so that it could tell: a firm finger sounds the same.
    """

    cause: Cause
    strings: tuple[int, ...]
    take: Position
    heard: bool = False


@dataclass(frozen=True)
class Finding:
    """One cause, where it acts, how large it is and what shows it."""

    cause: Cause
    strings: tuple[int, ...]
    frets: tuple[int, ...]
    size: float
    unit: str  # mm or cent; takes, %, times where nothing has a length
    evidence: tuple[Evidence, ...]
