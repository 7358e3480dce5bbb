"""Where on the neck a pitch belongs: the place that was asked for, or another one, by name.

Conventions: cents from the place asked for, + = sharp. A stopped note is held against the string's own open
takes, so that a string a little off its note does no harm; an open one against the note of its string.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.instrument import Instrument
from pitchcheck.takes import Position, Stop
from pitchcheck.tuning import CENTS_PER_SEMITONE
from pitchcheck.units import CENTS_PER_OCTAVE, cents_between

OPEN_CENTS = 70.0  # an open string further off its note is to be tuned first (as in placing)
FRET_FLAT_CENTS = 35.0  # a fretted note lies -3 to +43 from its place on the instruments of the fixtures
FRET_SHARP_CENTS = 70.0
PRESS_FLAT_CENTS = 35.0  # a press +3 to +99
PRESS_SHARP_CENTS = 130.0
PRESS_USUAL_CENTS = 45.0  # where a press is looked for


@dataclass(frozen=True)
class Known:
    """A take that was accepted before: what later ones are held against."""

    position: Position
    hz: float
    stiffness: float | None = None


@dataclass(frozen=True)
class Place:
    """Where a take should lie.

    Attributes
    ----------
    hz : float
        Its place by equal temperament above the reference. [Hz]
    low_cents, high_cents : float
        Room around it that is believed. [cent]
    own : bool
        True when the reference is the string's own open take, False for the note it is tuned to.
    """

    hz: float
    low_cents: float
    high_cents: float
    own: bool

    @property
    def hint_hz(self) -> float:
        """Pitch at which the reading looks for it. [Hz]"""
        middle = (self.low_cents + self.high_cents) / 2
        return float(self.hz * 2 ** (middle / CENTS_PER_OCTAVE))


def open_hz(string: int, *, capo: int, instrument: Instrument, known: Sequence[Known]) -> tuple[float, bool]:
    """Pitch of an open string: its last accepted take, else its note. [Hz] And whether it was heard."""
    for take in reversed(known):
        place = take.position
        if place.stop is Stop.OPEN and (place.string, place.capo) == (string, capo):
            return take.hz, True
    nominal = instrument.string(string).nominal_hz
    return float(nominal * 2 ** (capo * CENTS_PER_SEMITONE / CENTS_PER_OCTAVE)), False


def find_place(position: Position, *, instrument: Instrument, known: Sequence[Known]) -> Place:
    """Where a take should lie.

    Parameters
    ----------
    position : Position
    instrument : Instrument
    known : sequence of Known
        Accepted takes, oldest first.
    """
    reference, own = open_hz(position.string, capo=position.capo, instrument=instrument, known=known)
    hz = float(reference * 2 ** (position.semitones * CENTS_PER_SEMITONE / CENTS_PER_OCTAVE))
    if position.stop is Stop.OPEN:
        nominal = open_hz(position.string, capo=position.capo, instrument=instrument, known=())[0]
        return Place(nominal, -OPEN_CENTS, OPEN_CENTS, own=False)
    more = 0.0 if own else OPEN_CENTS / 2  # the string may be off its note
    if position.stop is Stop.PRESS:
        return Place(hz, -PRESS_FLAT_CENTS - more, PRESS_SHARP_CENTS + more, own)
    return Place(hz, -FRET_FLAT_CENTS - more, FRET_SHARP_CENTS + more, own)


def off_cents(place: Place, hz: float) -> float:
    """How far a pitch lies from a place. [cent]"""
    return cents_between(place.hz, hz)
