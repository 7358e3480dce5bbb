"""The pitch that a take is expected to have, and the range around it that is believed.

Conventions: cents from the nominal place of the take, + = sharp. A stopped note is held against the string's
own open takes, so that a string a little off its note does no harm; an open one against its note.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.instrument import Instrument
from pitchcheck.physics.materials import Make, string_constants
from pitchcheck.takes import Position, Stop
from pitchcheck.tuning import CENTS_PER_SEMITONE
from pitchcheck.units import CENTS_PER_OCTAVE, cents_between

OPEN_CENTS = 25.0  # an open string further off its note is tuned before it becomes a reference (ours)
UNHEARD_CENTS = 35.0  # more room while the string's own open note has not been heard
# On the 60 instruments of the fixtures a fretted note lies -3 to +43 cents from its place, and a press +3 to
# +99: at most 0.23 cent per unit of the string's stretch EA/T on steel, 0.59 on polymers.
FRET_FLAT_CENTS = 25.0
FRET_SHARP_CENTS = 70.0  # a whole fret more is 100 and what that fret is sharp
PRESS_FLAT_CENTS = 10.0
PRESS_FLAT_PER_STRETCH = 0.03  # and at least 0.035 cent per unit of the stretch
PRESS_LEAST_CENTS = 25.0
PRESS_PER_STRETCH = {
    Make.PLAIN_STEEL: 0.24,
    Make.WOUND_STEEL: 0.24,
    Make.POLYMER: 0.6,
    Make.WOUND_POLYMER: 0.6,
}
PRESS_MOST_CENTS = 112.0  # a press one fret too far lies at 100 and more than 15 on the strings this concerns
LEAF_CENTS = 60.0  # below the open note, or above the fret's (as in placing)
LIKE_CENTS = 35.0  # two takes of one place differ by less (one cent by a careful hand, 29 in the fixtures)


@dataclass(frozen=True)
class EarlierTake:
    """An accepted take: what later ones are held against."""

    position: Position
    hz: float


@dataclass(frozen=True)
class ExpectedPitch:
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

    def cents_off(self, hz: float) -> float:
        """How far a pitch lies from the nominal place. [cent]"""
        return cents_between(self.hz, hz)

    def believes(self, hz: float) -> bool:
        """Whether a pitch lies within the range that is believed."""
        return self.low_cents <= self.cents_off(hz) <= self.high_cents

    @property
    def range_hz(self) -> tuple[float, float]:
        """Lowest and highest pitch that is believed. [Hz]"""
        return (
            float(self.hz * 2 ** (self.low_cents / CENTS_PER_OCTAVE)),
            float(self.hz * 2 ** (self.high_cents / CENTS_PER_OCTAVE)),
        )

    @property
    def hint_hz(self) -> float:
        """Pitch at which the reading looks for it. [Hz]"""
        middle = (self.low_cents + self.high_cents) / 2
        return float(self.hz * 2 ** (middle / CENTS_PER_OCTAVE))


def open_hz(
    string: int, *, capo: int, instrument: Instrument, known: Sequence[EarlierTake]
) -> tuple[float, bool]:
    """Pitch of an open string: its last accepted take, else its note. [Hz] And whether it was heard."""
    for take in reversed(known):
        place = take.position
        if place.stop is Stop.OPEN and (place.string, place.capo) == (string, capo):
            return take.hz, True
    nominal = instrument.string(string).nominal_hz
    return float(nominal * 2 ** (capo * CENTS_PER_SEMITONE / CENTS_PER_OCTAVE)), False


def expected_pitch(
    position: Position, *, instrument: Instrument, known: Sequence[EarlierTake]
) -> ExpectedPitch:
    """Where a take should lie.

    Parameters
    ----------
    position : Position
    instrument : Instrument
    known : sequence of EarlierTake
        Accepted takes, oldest first.
    """
    reference, own = open_hz(position.string, capo=position.capo, instrument=instrument, known=known)
    hz = float(reference * 2 ** (position.semitones * CENTS_PER_SEMITONE / CENTS_PER_OCTAVE))
    if position.stop is Stop.OPEN:
        nominal = open_hz(position.string, capo=position.capo, instrument=instrument, known=())[0]
        return ExpectedPitch(nominal, -OPEN_CENTS, OPEN_CENTS, own=False)
    if position.stop is Stop.LEAF:  # the open note, the fret's, or a buzz between the two
        up = position.semitones * CENTS_PER_SEMITONE
        return ExpectedPitch(hz, -up - LEAF_CENTS, LEAF_CENTS, own)
    low, high = _stopped_cents(position, instrument=instrument)
    before = next((take for take in reversed(known) if take.position == position), None)
    if before is not None and own:
        there = cents_between(hz, before.hz)
        low, high = max(low, there - LIKE_CENTS), min(high, there + LIKE_CENTS)
    more = 0.0 if own else UNHEARD_CENTS
    return ExpectedPitch(hz, low - more, high + more, own)


def _stopped_cents(position: Position, *, instrument: Instrument) -> tuple[float, float]:
    """Least and most that a stopped note is believed to lie above its nominal place. [cent]"""
    string = instrument.string(position.string)
    constants = string_constants(string, scale_mm=instrument.string_scale_mm(position.string))
    most = PRESS_LEAST_CENTS + PRESS_PER_STRETCH[constants.make] * constants.stretch_factor
    if position.stop is Stop.FRET:
        return -FRET_FLAT_CENTS, min(most, FRET_SHARP_CENTS)
    least = -PRESS_FLAT_CENTS + PRESS_FLAT_PER_STRETCH * constants.stretch_factor
    return least, min(most, PRESS_MOST_CENTS)
