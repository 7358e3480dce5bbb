"""What sounded instead of the take asked for: another string, another fret, or a string out of tune.

Conventions: cents, + = sharp. Of several places that could give a pitch the one nearest to what was asked
wins: the same stop on a string beside it, then a fret beside it, then an open string.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.guide.events import Reason, Refused
from pitchcheck.guide.expected_pitch import EarlierTake, expected_pitch
from pitchcheck.instrument import Instrument
from pitchcheck.takes import Position, Stop

FRETS = tuple(range(25))
NEAR_CENTS = 60.0  # a pitch this far from a place's usual is not played there
FRET_USUAL_CENTS = 8.0  # a fretted note is usually so sharp (median of the fixtures)
PRESS_USUAL_CENTS = 30.0  # and a press so
# Tolls: so much nearer must a less likely slip lie to be taken for the one played. All of our choice. [cent]
STRING_TOLL = 4.0  # per string away from the one asked for
FRET_TOLL = 14.0  # per fret away beyond the second
FRETS_FREE = 2  # frets
USUAL_FRETS = (0, 1, 2, 3, 12)  # frets of the course: played by mistake for each other
USUAL_TOLL = 10.0  # at most, for another of these
OPEN_TOLL = 20.0  # another string open where a stopped note was asked for
PLAIN_TOLL = 3.0  # fretted where a press was asked for
TUNE_CENTS = 300.0  # an open string further off is more likely another one


@dataclass(frozen=True)
class _Guess:
    toll: float
    reason: Reason
    position: Position


def identify_sound(
    hz: float, *, asked: Position, instrument: Instrument, known: Sequence[EarlierTake]
) -> Refused:
    """Return what a note away from the place asked for most likely was.

    Parameters
    ----------
    hz : float
        Pitch of the note. [Hz]
    asked : Position
    instrument : Instrument
    known : sequence of EarlierTake
    """
    off = expected_pitch(asked, instrument=instrument, known=known).cents_off(hz)
    if asked.stop is Stop.OPEN and abs(off) < NEAR_CENTS:
        return Refused(asked, Reason.OUT_OF_TUNE, hz=hz, cents=off)
    guesses = []
    for guess in _guesses(asked, instrument):
        there = expected_pitch(guess.position, instrument=instrument, known=known)
        miss = abs(there.cents_off(hz) - _usual(guess.position))
        if miss < NEAR_CENTS:
            guesses.append((miss + guess.toll, guess))
    if guesses:
        guess = min(guesses, key=lambda pair: pair[0])[1]
        return Refused(asked, guess.reason, heard=guess.position, hz=hz, cents=off)
    tunable = asked.stop is Stop.OPEN and abs(off) < TUNE_CENTS
    return Refused(asked, Reason.OUT_OF_TUNE if tunable else Reason.WRONG_NOTE, hz=hz, cents=off)


def _guesses(asked: Position, instrument: Instrument) -> list[_Guess]:
    """Places that may have been played by mistake."""
    found = []
    for spec in instrument.strings:
        far = abs(spec.number - asked.string)
        if far:
            same = Position(spec.number, asked.stop, asked.fret, asked.capo)
            found.append(_Guess(STRING_TOLL * (far - 1), Reason.WRONG_STRING, same))
            if asked.stop is not Stop.OPEN:
                bare = Position(spec.number, Stop.OPEN, None, asked.capo)
                found.append(_Guess(OPEN_TOLL + STRING_TOLL * far, Reason.WRONG_STRING, bare))
    own = asked.semitones
    for semitones in FRETS:
        if semitones == own:
            continue
        toll = FRET_TOLL * max(0, abs(semitones - own) - FRETS_FREE)
        if semitones in USUAL_FRETS:
            toll = min(toll, USUAL_TOLL)
        fret = semitones + asked.capo
        stops = [Stop.OPEN] if semitones == 0 else [Stop.FRET, Stop.PRESS]
        if asked.stop is not Stop.PRESS and semitones:
            stops = [Stop.FRET]
        for stop in stops:
            more = PLAIN_TOLL if stop is Stop.FRET and asked.stop is Stop.PRESS else 0.0
            position = Position(asked.string, stop, fret if semitones else None, asked.capo)
            found.append(_Guess(toll + more, Reason.WRONG_FRET, position))
    return found


def _usual(position: Position) -> float:
    if position.stop is Stop.OPEN:
        return 0.0
    return PRESS_USUAL_CENTS if position.stop is Stop.PRESS else FRET_USUAL_CENTS
