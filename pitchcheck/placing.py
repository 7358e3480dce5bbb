"""Whether each take sounds where it was said to be played: a wrong note is never used in silence.

Conventions: distances in cents, + = sharp. An open take is held against the note the string is tuned to; a
stopped one against its own open string, so that a whole string a little off its note does no harm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pitchcheck.doubts import (
    Doubt,
    LeafOffItsNotes,
    NoOpenTake,
    NoOpenTakeOn,
    OpenOffItsNote,
    PressTooFar,
    Side,
    StoppedOffItsPlace,
    TunedBetween,
)
from pitchcheck.instrument import Instrument
from pitchcheck.physics.materials import string_constants
from pitchcheck.physics.stops import rough_press_cents
from pitchcheck.survey import find_bracket, interval_error_cents, is_usable
from pitchcheck.takes import Stop, Take
from pitchcheck.tuning import CENTS_PER_SEMITONE, SEMITONES_PER_OCTAVE
from pitchcheck.units import cents_between

TUNED_CENTS = 15.0  # [cent] no slot holds an open string back so much: it was tuned, or slipped; our choice


@dataclass(frozen=True)
class PlaceLimits:
    """How far from its place a take may be before it is set aside. [cent]

    Half a fret is 50 cents; ordinary takes of a badly high slot reach +45, so 70 tells neighbouring frets
    apart. A press sharpens by up to 100 on loose wound strings over tall frets (measured on the simulated
    instruments of the fixtures: 3 to 99) and by more on short scales, so it gets room above by its string,
    ``press_sharp_cents`` at least, and a doubt where a press one fret too far would sound alike.
    """

    open_cents: float = 70.0
    fret_cents: float = 70.0
    press_flat_cents: float = 40.0
    press_sharp_cents: float = 130.0
    press_doubt_cents: float = 100.0
    tuned_cents: float = TUNED_CENTS
    leaf_cents: float = 60.0  # below the open note, or above the fret's: half a fret and the leaf's own rise


# The sharpest press that is believed: a new, high nut over tall frets. Common practice, no source. [mm]
HIGH_SLOT_MM, TALL_FRET_MM = 1.2, 1.3
DOUBTED_PART = 0.77  # [-] of that limit from which a press is doubted, 100 of 130 cents; our choice


def _press_sharp_cents(instrument: Instrument, take: Take, *, least: float) -> float:
    """How sharp a press of this string may be. [cent]"""
    number, fret = take.position.string, take.position.semitones
    scale_mm = instrument.string_scale_mm(number)
    constants = string_constants(instrument.string(number), scale_mm=scale_mm)
    most = rough_press_cents(
        constants.stretch_factor, scale_mm=scale_mm, slot_mm=HIGH_SLOT_MM, fret_mm=TALL_FRET_MM, fret=fret
    )
    return max(least, most)


def check_places(
    takes: Sequence[Take], *, instrument: Instrument, limits: PlaceLimits | None = None
) -> tuple[Take, ...]:
    """Set aside takes that sound far from their place, and say which brackets are incomplete.

    Parameters
    ----------
    takes : sequence of Take
        In playing order.
    instrument : Instrument
        Gives the note of each string.
    limits : PlaceLimits, optional

    Returns
    -------
    tuple of Take
        The same takes; those set aside have ``used`` False, and every change has its doubt.
    """
    limits = limits or PlaceLimits()
    opened = [_check_open(take, instrument=instrument, limit_cents=limits.open_cents) for take in takes]
    return tuple(_check_stopped(take, takes=opened, limits=limits, instrument=instrument) for take in opened)


def _check_open(take: Take, *, instrument: Instrument, limit_cents: float) -> Take:
    """Hold an open take against the note of its string (under its capo)."""
    if take.hz is None or take.position.stop is not Stop.OPEN:
        return take
    spec = instrument.string(take.position.string)
    off = cents_between(spec.nominal_hz * 2 ** (take.position.capo / SEMITONES_PER_OCTAVE), take.hz)
    if abs(off) <= limit_cents:
        return take
    return _set_aside(take, OpenOffItsNote(off, spec.note, take.position.capo, limit_cents))


def _check_stopped(take: Take, *, takes: Sequence[Take], limits: PlaceLimits, instrument: Instrument) -> Take:
    """Hold a stopped take against the open takes around it."""
    if not is_usable(take) or take.position.stop is Stop.OPEN:
        return take
    bracket = find_bracket(take, takes)
    if bracket is None:
        return _set_aside(take, NoOpenTake())
    if abs(bracket.change_cents) > limits.tuned_cents:
        return _set_aside(take, TunedBetween(bracket.change_cents, limits.tuned_cents))
    off = interval_error_cents(take, bracket)
    if take.position.stop is Stop.LEAF:
        return _check_leaf(take, off_cents=off, limit_cents=limits.leaf_cents)
    press = take.position.stop is Stop.PRESS
    flat = limits.press_flat_cents if press else limits.fret_cents
    sharp = limits.fret_cents
    if press:
        sharp = _press_sharp_cents(instrument, take, least=limits.press_sharp_cents)
    if not -flat <= off <= sharp:
        return _set_aside(take, StoppedOffItsPlace(off, flat, sharp))
    doubts = take.doubts
    if press and off > max(limits.press_doubt_cents, DOUBTED_PART * sharp):
        doubts += (PressTooFar(off),)
    if bracket.before is bracket.after:
        doubts += (NoOpenTakeOn(Side.BEFORE if bracket.before.when > take.when else Side.AFTER),)
    return replace(take, doubts=doubts)


def _check_leaf(take: Take, *, off_cents: float, limit_cents: float) -> Take:
    """Hold a leaf take against the open note and the fret's note; between the two anything may be heard."""
    low = -CENTS_PER_SEMITONE * take.position.semitones - limit_cents
    if low <= off_cents <= limit_cents:
        return take
    return _set_aside(take, LeafOffItsNotes(off_cents, take.position.fret or 1))


def _set_aside(take: Take, doubt: Doubt) -> Take:
    """Return the take, not used, with the reason."""
    return replace(take, used=False, doubts=(*take.doubts, doubt))
