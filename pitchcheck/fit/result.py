"""What the joint fit hands on: beliefs, predictions and what could not be separated."""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.clip import FloatArray
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.joint import Joint
from pitchcheck.takes import Position

HARDLY_USED = 0.3  # [-] weight below which the fit set a take aside: 4.2 sd off under its Student law


@dataclass(frozen=True)
class StringFit:
    """What the fit says of one string.

    Attributes
    ----------
    number : int
    height_mm : Belief
        Slot height above the line through the tops of frets 1 and 3. [mm]
    stretch : Belief
        EA/T, shared length included: how strongly extra path becomes tension. [-]
    saddle_mm : Belief
        Extra speaking length at the saddle. [mm]
    nut_offset_mm : Belief
        This string's nut edge away from its place, + away from fret 1. [mm]
    pressed : bool
        Whether press takes were among its data; without them only the symptom is known.
    first_fret_cents : tuple of float, or None
        Error of the ordinary first-fret note as it was heard: value and standard uncertainty. [cent]
    neck_now_cents, neck_target_cents : array, shape (12,)
        Predicted error of a note fretted with this player's usual touch at frets 1 to 12, with the slot as it
        is and with the slot at its target. [cent]
    neck_touch_cents : array, shape (12,)
        The part of ``neck_now_cents`` that comes from the finger. [cent]
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


@dataclass(frozen=True, repr=False)
class Fit:
    """The whole instrument after the joint fit."""

    strings: tuple[StringFit, ...]
    fret_height_mm: Belief
    nut_offset_mm: Belief
    touch_mm: Belief  # how far the fretting finger pushes the string below the fret tops
    height_covariance_mm2: FloatArray  # of the slot heights, in the order of ``strings``
    residuals: tuple[Residual, ...]
    meter: tuple[MeterResidual, ...]
    unseparated: tuple[str, ...]  # in plain words
    notes: tuple[str, ...]  # e.g. wider prior for a floating bridge
    joint: Joint | None = None  # for asking what more takes would tell

    def __repr__(self) -> str:
        """Return one line: the strings, and how well they are known."""
        heights = ", ".join(f"{s.number} {s.height_mm.median:.2f} mm" for s in self.strings)
        return f"<Fit of {len(self.strings)} strings: {heights}>"
