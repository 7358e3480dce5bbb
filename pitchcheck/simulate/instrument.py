"""An imaginary instrument whose every measure is known, and the pitch of any note on it.

Conventions: lengths in mm, cents against the open string at the same moment. Nothing here is random: chance
is the hand's (``player``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.errors import BadValue
from pitchcheck.instrument import Instrument
from pitchcheck.physics.materials import Make, string_constants
from pitchcheck.physics.stops import FRET_ERRORS, Setup, Touch, force_left_n, side_cents, stop_cents
from pitchcheck.takes import Stop
from pitchcheck.tuning import fret_place
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_LOG, CENTS_PER_OCTAVE

USUAL_ACTION_MM = 2.0  # [mm] at fret 12, common practice
USUAL_SADDLE_MM = {  # [mm] usual extra speaking length, common practice
    Make.PLAIN_STEEL: 1.2,
    Make.WOUND_STEEL: 2.2,
    Make.POLYMER: 1.3,
    Make.WOUND_POLYMER: 1.3,
}


@dataclass(frozen=True)
class StringTruth:
    """One string as it really is.

    Attributes
    ----------
    number : int
    note : str
    slot_height_mm : float
        Underside at the nut's front edge above the line through the tops of frets 1 and 3. [mm]
    nut_offset_mm : float
        This string's nut edge away from its place, + away from fret 1, the nut's own offset included. [mm]
    saddle_mm : float
        Extra speaking length at the saddle. [mm]
    action_12_mm : float
        Gap over fret 12. [mm]
    stretch_factor : float
        EA/T, tails included. [-]
    bend_mm : float
        sqrt(EI/T) of the open string. [mm]
    tension_n : float
        [N]
    tuned_cents : float
        How far from its note it was tuned. [cent]
    """

    number: int
    note: str
    slot_height_mm: float
    nut_offset_mm: float
    saddle_mm: float
    action_12_mm: float
    stretch_factor: float
    bend_mm: float
    tension_n: float
    tuned_cents: float = 0.0


@dataclass(frozen=True)
class InstrumentTruth:
    """An instrument as it really is. Lengths in mm, the angle in rad."""

    scale_mm: float
    strings: tuple[StringTruth, ...]
    fret_height_mm: float
    fret_error_mm: tuple[float, ...]  # of frets 1 to 4, above the plane
    nut_offset_mm: float  # of the nut itself
    relief_mm: float
    break_rad: float
    fret_place_mm: tuple[
        float, ...
    ] = ()  # how far frets 1, 2, ... sit from their places, + towards the saddle

    def string(self, number: int) -> StringTruth:
        """Return the string of that number, or raise BadValue."""
        for truth in self.strings:
            if truth.number == number:
                return truth
        raise BadValue(f"string {number} is not one of this imaginary instrument's. Correct the number.")


@dataclass(frozen=True)
class Press:
    """What a hand adds to one stopped note beyond the ideal.

    ``slide`` multiplies the stretch (friction at the nut lets more or less tail share it), ``side_mm`` is the
    push sideways at a press's rod, ``give_mm`` how far the board gives for each newton that ``rod_force_n``
    leaves once the string is down, ``more_cents`` anything else. [-, mm, mm/N, N, cent]
    """

    slide: float = 1.0
    side_mm: float = 0.0
    give_mm: float = 0.0
    rod_force_n: float = 0.0
    more_cents: float = 0.0


@dataclass(frozen=True)
class Grip:
    """How one note is stopped: the finger's force and place, the rod's, and what the hand adds.

    Lengths in mm, force in N; see ``physics.stops.Touch``.
    """

    force_n: float
    behind_mm: float
    pad_mm: float
    rod_half_mm: float
    rod_mm: float = 0.0
    press: Press = Press()


def string_truth(
    instrument: Instrument, number: int, *, slot_height_mm: float, tail_mm: float, nut_offset_mm: float = 0.0
) -> StringTruth:
    """One string with the usual measures of its make; ``dataclasses.replace`` plants others.

    Parameters
    ----------
    instrument : Instrument
        Its ``action_12``, if known, is every string's.
    number : int
    slot_height_mm : float
    tail_mm : float >= 0
        String beyond nut and saddle that shares the stretch. [mm]
    nut_offset_mm : float
        + away from fret 1. [mm]
    """
    spec = instrument.string(number)
    known = string_constants(spec, scale_mm=instrument.scale_mm)
    action = instrument.action_12
    return StringTruth(
        number=number,
        note=spec.note,
        slot_height_mm=slot_height_mm,
        nut_offset_mm=nut_offset_mm,
        saddle_mm=USUAL_SADDLE_MM[known.make],
        action_12_mm=USUAL_ACTION_MM if action is None else action.value_mm,
        stretch_factor=known.stretch_factor * instrument.scale_mm / (instrument.scale_mm + tail_mm),
        bend_mm=known.bend_mm,
        tension_n=known.tension_n,
    )


def true_cents(
    truth: InstrumentTruth, numbers: Sequence[int], grips: Sequence[Grip], *, stop: Stop, fret: int | None
) -> FloatArray:
    """Error of notes stopped alike, on any strings, each with its own grip. [cent]

    Parameters
    ----------
    truth : InstrumentTruth
    numbers : sequence of int, length m
        String of each note.
    grips : sequence of Grip, length m
    stop : Stop
    fret : int or None
        None for open strings.

    Returns
    -------
    array, shape (m,)
        Against the open string at the same moment.
    """
    if fret is None or stop is Stop.OPEN:
        return np.zeros(len(numbers))
    strings = [truth.string(number) for number in numbers]
    setup = _setup(truth, strings, grips)
    touch = Touch(
        force=_column([g.force_n / s.tension_n for g, s in zip(grips, strings, strict=True)]),
        behind_mm=_column([g.behind_mm for g in grips]),
        pad_mm=_column([g.pad_mm for g in grips]),
        rod_half_mm=_column([g.rod_half_mm for g in grips]),
        rod_mm=_column([g.rod_mm for g in grips]),
        sink_mm=_sink_mm(setup, strings, grips, fret=fret) if stop is Stop.PRESS else 0.0,
    )
    cents = stop_cents(setup, touch, stop=stop, fret=fret)
    cents = cents + _column([g.press.more_cents for g in grips])
    if stop is Stop.PRESS:
        cents = cents + side_cents(setup, _column([g.press.side_mm**2 for g in grips]), fret=fret)
    if fret <= len(truth.fret_place_mm):
        sounding_mm = truth.scale_mm - fret_place(truth.scale_mm, fret)
        cents = cents + CENTS_PER_LOG * truth.fret_place_mm[fret - 1] / sounding_mm
    return np.asarray(cents, dtype=np.float64)


def inharmonicity(truth: InstrumentTruth, number: int, *, fret: int | None, cents: float) -> float:
    """Inharmonicity coefficient B of a note. [-]

    B = pi^2 lambda^2 / L^2 for pinned ends; the tension that sharpens a stopped note stiffens it less.

    References
    ----------
    H. Fletcher (1964), J. Acoust. Soc. Am. 36(1), 203-209.
    """
    string = truth.string(number)
    length_mm = truth.scale_mm - fret_place(truth.scale_mm, fret or 0) + string.saddle_mm
    tension_ratio = 2 ** (2 * cents / CENTS_PER_OCTAVE)
    return float(np.pi**2 * string.bend_mm**2 / (length_mm**2 * tension_ratio))


def _setup(truth: InstrumentTruth, strings: Sequence[StringTruth], grips: Sequence[Grip]) -> Setup:
    """Geometry of each note."""

    def same(value: float) -> FloatArray:
        return np.full(len(strings), value)

    errors = (*truth.fret_error_mm, *[0.0] * FRET_ERRORS)[:FRET_ERRORS]
    return Setup(
        scale_mm=same(truth.scale_mm),
        slot_height_mm=_column([s.slot_height_mm for s in strings]),
        nut_offset_mm=_column([s.nut_offset_mm for s in strings]),
        saddle_mm=_column([s.saddle_mm for s in strings]),
        action_12_mm=_column([s.action_12_mm for s in strings]),
        relief_mm=same(truth.relief_mm),
        fret_height_mm=same(truth.fret_height_mm),
        fret_error_mm=np.tile(errors, (len(strings), 1)),
        break_rad=same(truth.break_rad),
        stretch_factor=_column(
            [s.stretch_factor * g.press.slide for s, g in zip(strings, grips, strict=True)]
        ),
        bend_mm=_column([s.bend_mm for s in strings]),
    )


def _sink_mm(setup: Setup, strings: Sequence[StringTruth], grips: Sequence[Grip], *, fret: int) -> FloatArray:
    """How far the rod sinks into the board with the force that the string leaves it. [mm]"""
    pushed_n = _column([g.press.rod_force_n for g in grips])
    left_n = force_left_n(setup, _column([s.tension_n for s in strings]), pushed_n, fret=fret, capo=0)
    return np.asarray(_column([g.press.give_mm for g in grips]) * left_n)


def _column(values: Sequence[float]) -> FloatArray:
    return np.array(values, dtype=np.float64)
