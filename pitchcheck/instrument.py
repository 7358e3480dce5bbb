"""What a user knows of an instrument before anything is heard.

Conventions: lengths in mm; ``sd`` is a standard deviation; ``None`` is "not known". Strings are numbered
from 1 (nearest the floor in playing position).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

from pitchcheck.errors import BadValue
from pitchcheck.tuning import CONCERT_A4_HZ, fret_place, note_hz
from pitchcheck.units import MM_PER_INCH, LengthUnit


class Nut(StrEnum):
    """How the strings are held at the nut. Only a slotted nut is ever filed."""

    SLOTTED = "slotted"
    ZERO_FRET = "zero_fret"
    LOCKING = "locking"


class Tailpiece(StrEnum):
    """How the strings are held beyond the saddle. Floating shares the tension with springs."""

    FIXED = "fixed"
    FLOATING = "floating"


class Board(StrEnum):
    """The fretboard's surface between the frets. Scalloped: no press test."""

    NORMAL = "normal"
    SCALLOPED = "scalloped"


class Handedness(StrEnum):
    """Which hand plucks; drawings of a left-handed instrument are mirrored."""

    RIGHT = "right"
    LEFT = "left"


class Fretwork(StrEnum):
    """What is declared of frets and board. Level: frets within about 0.02 mm, board parallel to them."""

    LEVEL = "level"
    UNKNOWN = "unknown"


class MeterQuantity(StrEnum):
    """What a gauge reading measures."""

    CLEARANCE_THIRD = "clearance_third"  # over fret 1, string held behind fret 3
    CLEARANCE_OPEN = "clearance_open"  # over fret 1, open string
    SLOT_FLOOR = "slot_floor"  # slot floor above the board
    FRET_HEIGHT = "fret_height"
    ACTION_12 = "action_12"
    RELIEF = "relief"


SLOT_QUANTITIES = frozenset(
    (MeterQuantity.CLEARANCE_THIRD, MeterQuantity.CLEARANCE_OPEN, MeterQuantity.SLOT_FLOOR)
)  # readings of one string's slot; they need its number


@dataclass(frozen=True)
class Length:
    """A measured length and its standard error. [mm]"""

    value_mm: float
    sd_mm: float


_WOUND = ("wound", "bronze", "brass", "monel", "copper", "silver")  # words that only a wrapping has
_PLATED = ("nickel", "cobalt")  # said of wrappings, and of whole sets with their plain strings
_PLAIN = ("plain", "unwound")
LEAST_WOUND_MM = 0.508  # 0.020 in: thinner strings of a plated set are plain (common practice, no source)


def taken_as_wound(material: str, *, gauge_mm: float | None = None, core_mm: float | None = None) -> bool:
    """Whether a string is wound, where nobody said so: by its core, the words of its packet, its gauge.

    Examples
    --------
    >>> taken_as_wound("nickel-plated steel", gauge_mm=1.17), taken_as_wound("plain steel", gauge_mm=0.43)
    (True, False)
    """
    words = material.lower()
    if core_mm is not None:
        return True
    if any(word in words for word in _PLAIN):
        return False
    thick = gauge_mm is None or gauge_mm >= LEAST_WOUND_MM
    return any(word in words for word in _WOUND) or (thick and any(word in words for word in _PLATED))


@dataclass(frozen=True)
class StringSpec:
    """One string as the packet and the tuning say.

    ``material`` is the user's words; ``physics.materials`` turns them into constants. Whether it is ``wound``
    is decided where the settings are read, and nowhere else. ``a4_hz`` is the pitch to
    which the instrument is tuned. [Hz]
    """

    number: int
    note: str
    gauge_mm: float | None
    material: str
    wound: bool
    core_mm: float | None = None
    target_height_mm: float | None = None
    scale_mm: float | None = None  # its own scale length, where frets are fanned
    # where its own nut stands on the board, for a short string; its frets count from there
    nut_at_fret: int = 0
    a4_hz: float = CONCERT_A4_HZ

    @property
    def nominal_hz(self) -> float:
        """Pitch the string is meant to be tuned to. [Hz]"""
        return note_hz(self.note, a4_hz=self.a4_hz)


@dataclass(frozen=True)
class BehindNut:
    """The way of a middle string from the nut's front edge to its tuner post. [mm]

    ``fall_mm`` is how much lower than at the edge the string lies at the post, square to the fretboard.
    """

    distance_mm: float
    fall_mm: float

    @property
    def angle_rad(self) -> float:
        """Angle by which the string turns over the nut. [rad]"""
        return math.atan2(self.fall_mm, self.distance_mm)


@dataclass(frozen=True)
class Instrument:
    """A fretted instrument as its owner can describe it. Lengths that were gauged carry their error."""

    kind: str
    scale_mm: float
    strings: tuple[StringSpec, ...]
    nut: Nut = Nut.SLOTTED
    tailpiece: Tailpiece = Tailpiece.FIXED
    board: Board = Board.NORMAL
    fret_height: Length | None = None
    action_12: Length | None = None
    relief: Length | None = None
    fretwork: Fretwork = Fretwork.UNKNOWN
    hand: Handedness = Handedness.RIGHT
    behind_nut: BehindNut | None = None

    def string_scale_mm(self, number: int) -> float:
        """Scale length of one string, counted from its own nut where that stands on the board. [mm]"""
        spec = self.string(number)
        whole = self.scale_mm if spec.scale_mm is None else spec.scale_mm
        return whole - fret_place(whole, spec.nut_at_fret) if spec.nut_at_fret else whole

    def string(self, number: int) -> StringSpec:
        """Return the string of that number, or raise BadValue."""
        for spec in self.strings:
            if spec.number == number:
                return spec
        known = ", ".join(str(s.number) for s in self.strings)
        raise BadValue(
            f"string {number} is not one of this instrument's strings ({known}). Correct the number."
        )


@dataclass(frozen=True)
class MeterReading:
    """One reading of a feeler gauge, rule or dial gauge. ``string`` is None where it does not matter.

    Feeler leaves may give bounds instead of a value: the leaf ``passes_mm`` goes through the gap, the leaf
    ``stops_mm`` does not. ``value_mm`` is then the middle of the two, or the only bound. [mm]
    """

    what: MeterQuantity
    string: int | None
    value_mm: float
    sd_mm: float
    passes_mm: float | None = None
    stops_mm: float | None = None

    @property
    def is_interval(self) -> bool:
        """Whether feeler leaves bound the quantity instead of measuring it."""
        return self.passes_mm is not None or self.stops_mm is not None


class Aim(StrEnum):
    """What the owner wants of the slots. The verdicts are the same; what is worth filing is not."""

    SET_UP = "set-up"  # an instrument that plays sharp: what is within the tolerance is left
    NEW_NUT = "new nut"  # a nut being cut: down to the last 0.05 mm


NEW_NUT_TOLERANCE_MM = 0.05  # [mm] excess that is still worth filing on a new nut: definition


class RunsBy(StrEnum):
    """Along what clearances and floors run from the first string's to the last's."""

    NUMBER = "number"
    THICKNESS = "thickness"  # from the thinnest to the thickest: high fourth or fifth strings, paired courses


@dataclass(frozen=True)
class Target:
    """Where the slots should be, and what counts as near enough.

    Defaults: clearance over fret 1 with the string held behind fret 3, 0.006 in under string 1 to 0.010 in
    under the last string (common practice, no source); floors of 0.05 and 0.10 mm (from memory, common
    practice).
    """

    third_fret_clearance_mm: tuple[float, float] = (0.006 * MM_PER_INCH, 0.010 * MM_PER_INCH)
    tolerance_mm: float = 0.10
    floor_mm: tuple[float, float] = (0.05, 0.10)
    aim: Aim = Aim.SET_UP
    runs_by: RunsBy = RunsBy.NUMBER

    @property
    def worth_filing_mm(self) -> float:
        """Excess above which a slot is worth filing. [mm]"""
        return self.tolerance_mm if self.aim is Aim.SET_UP else min(self.tolerance_mm, NEW_NUT_TOLERANCE_MM)


@dataclass(frozen=True)
class Removal:
    """What was taken off one slot between two passes. [mm]"""

    string: int
    amount_mm: float


@dataclass(frozen=True)
class SessionSettings:
    """Everything of a session folder that is not a sound: the instrument and what is asked of it.

    ``unit`` is what its lengths are shown in: that in which the scale length was given.
    """

    instrument: Instrument
    target: Target = field(default_factory=Target)
    meter: tuple[MeterReading, ...] = ()
    removed: tuple[Removal, ...] = ()
    unit: LengthUnit = LengthUnit.MM
