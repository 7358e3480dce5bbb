"""What the joint fit hands on: beliefs, predictions, misfits and what could not be separated."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from pitchcheck.fit.belief import Belief
from pitchcheck.fit.hand import Scatter
from pitchcheck.fit.joint import Joint
from pitchcheck.instrument import MeterQuantity
from pitchcheck.takes import Position
from pitchcheck.types import FloatArray

HARDLY_USED = 0.3  # [-] weight below which the fit set a take aside: 4.2 sd off under its Student law


@dataclass(frozen=True)
class StringFit:
    """What the fit says of one string.

    Attributes
    ----------
    number : int
    height_mm : Belief
        Slot height above the line through the tops of frets 1 and 3. [mm]
    stretch_factor : Belief
        EA/T, shared length included: how strongly extra path becomes tension. [-]
    saddle_mm : Belief
        Extra speaking length at the saddle. [mm]
    nut_offset_mm : Belief
        This string's nut edge away from its place, + away from fret 1. [mm]
    pressed : bool
        Whether press takes were among its data; without them only the symptom is known.
    first_fret_cents : tuple of float, or None
        Error of the ordinary first-fret note as it was heard, takes left out that the fit hardly used: value
        and standard uncertainty, the hand's scatter in it. [cent]
    neck_now_cents, neck_target_cents : array, shape (12,)
        Predicted error of a note fretted with this player's usual touch at frets 1 to 12, with the slot as it
        is and with the slot at its target. [cent]
    neck_touch_cents : array, shape (12,)
        The part of ``neck_now_cents`` that comes from the finger. [cent]
    gauged : bool
        Whether a gauge reading or leaf of its own slot was used.
    heard_before : bool
        Whether only earlier passes heard it: its height is theirs, less what was removed.
    """

    number: int
    height_mm: Belief
    stretch_factor: Belief
    saddle_mm: Belief
    nut_offset_mm: Belief
    pressed: bool
    first_fret_cents: tuple[float, float] | None
    neck_now_cents: FloatArray
    neck_target_cents: FloatArray
    neck_touch_cents: FloatArray
    gauged: bool = False
    heard_before: bool = False


@dataclass(frozen=True)
class Residual:
    """One stopped take held against the fit. [cent]"""

    position: Position
    row: int
    heard_cents: float
    expected_cents: float
    sd_cents: float
    weight: float  # 1 = fully used, towards 0 = set aside as a bad take


@dataclass(frozen=True)
class MeterResidual:
    """One gauge reading held against what the sound alone says. [mm]"""

    index: int  # into the meter readings of the settings
    read_mm: float
    expected_mm: float
    sd_mm: float  # of the difference, gauge and ear together
    likely_slip_mm: float | None  # the reading if its decimal point slipped and that fits; else None
    questioned: bool = False  # too far from the sound to be believed: shown, and left out of the fit


class Confounder(StrEnum):
    """What a slot height could not be told apart from."""

    EVERYTHING = "everything"  # nothing heard narrows it much
    FRET_HEIGHT = "fret_height"
    NUT_POSITION = "nut_position"
    STRETCH_FACTOR = "stretch_factor"
    FRET_1 = "fret_1"
    FRET_2 = "fret_2"
    TOUCH = "touch"


@dataclass(frozen=True)
class Unseparated:
    """A slot height that the data could not tell apart from something else, with their correlation."""

    string: int
    confounder: Confounder
    correlation: float


class RemarkKind(StrEnum):
    """What a reader should know of a fit."""

    FLOATING_BRIDGE = "floating_bridge"  # stretch less certain, every interval wider
    NO_PRESSES = "no_presses"  # fretted notes show the symptom, heights stay wide
    NOT_SETTLED = "not_settled"  # the solver did not settle
    FRETWORK_UNKNOWN = "fretwork_unknown"  # frets and board as they come: every interval wider


class UnsettledKind(StrEnum):
    """Why no verdict can be given until something is settled."""

    GAUGE = "gauge"  # a gauge reading of a slot that the sound contradicts
    LEAF = "leaf"  # a leaf that the sound contradicts
    STATED_LENGTH = "stated_length"  # fret height, relief or action that the sound contradicts
    FRET_HEIGHT = "fret_height"  # the sound asks for frets higher or lower than frets are
    PRESSES = "presses"  # presses that no instrument gives: not down, a neck that bends, the wrong place


@dataclass(frozen=True)
class Unsettled:
    """A contradiction that must be settled before a verdict.

    Attributes
    ----------
    kind : UnsettledKind
    strings : tuple of int
        Whose verdict waits for it.
    quantity : MeterQuantity or None
        What was gauged or stated.
    read_mm, expected_mm, sd_mm : float or None
        As read or stated; as the sound says; standard uncertainty of their difference. [mm]
    """

    kind: UnsettledKind
    strings: tuple[int, ...]
    quantity: MeterQuantity | None = None
    read_mm: float | None = None
    expected_mm: float | None = None
    sd_mm: float | None = None


class MisfitCause(StrEnum):
    """The likely cause of presses that do not fit."""

    NOT_DOWN = "not_down"  # flat of what is expected, or pressing harder sharpens them
    NECK_BENDS = "neck_bends"  # sharp of what is expected
    UNSTEADY_HAND = "unsteady_hand"  # repeats disagree among themselves
    UNEVEN = "uneven"  # places disagree: frets, board or friction


@dataclass(frozen=True)
class PressMisfit:
    """Presses that scatter or miss by more than a careful hand on the declared fretwork does.

    Attributes
    ----------
    cause : MisfitCause
    scatter : Scatter
        Overdispersion that the fit was widened by.
    chi_square, freedom : float
        Of the presses before widening.
    strings : tuple of int
        Where it is worst, worst first.
    again : Position
        The press that tells most: to be played once more, clearly harder.
    """

    cause: MisfitCause
    scatter: Scatter
    chi_square: float
    freedom: float
    strings: tuple[int, ...]
    again: Position


@dataclass(frozen=True, repr=False)
class Fit:
    """The whole instrument after the joint fit, as it is in the last pass."""

    strings: tuple[StringFit, ...]
    fret_height_mm: Belief
    nut_offset_mm: Belief
    touch_mm: Belief  # how far the fretting finger pushes the string below the fret tops
    height_covariance_mm2: FloatArray  # of the slot heights, in the order of ``strings``
    residuals: tuple[Residual, ...]
    meter: tuple[MeterResidual, ...]
    unseparated: tuple[Unseparated, ...]
    remarks: tuple[RemarkKind, ...]
    joint: Joint | None = None  # for asking what more takes would tell
    scatter: Scatter = field(default_factory=Scatter)
    unsettled: tuple[Unsettled, ...] = ()
    misfit: PressMisfit | None = None

    def __repr__(self) -> str:
        """Return one line: the strings, and how well they are known."""
        heights = ", ".join(f"{s.number} {s.height_mm.median:.2f} mm" for s in self.strings)
        return f"<Fit of {len(self.strings)} strings: {heights}>"
