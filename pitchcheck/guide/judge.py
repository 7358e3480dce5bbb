"""Accepts or refuses one sound that was heard, and says why in words a player can act on.

Pure: the same sound, place and earlier takes give the same verdict.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.guide.ear import Note
from pitchcheck.guide.places import Known, find_place, off_cents
from pitchcheck.guide.records import Reason
from pitchcheck.instrument import Instrument
from pitchcheck.pitch.note import read_note
from pitchcheck.pitch.reading import Reading, Unreadable
from pitchcheck.takes import Position


@dataclass(frozen=True)
class Verdict:
    """What is made of one sound.

    Attributes
    ----------
    reading : Reading or None
        None when no pitch could be read.
    reason : Reason or None
        None for a good take.
    words : str
        Of a refusal; of a good take the remark, or empty.
    worth_saying : bool
        False for a sound that is passed over in silence: handling noise, or the room grown louder.
    """

    reading: Reading | None
    reason: Reason | None
    words: str
    worth_saying: bool = True


def judge(note: Note, *, position: Position, instrument: Instrument, known: Sequence[Known]) -> Verdict:
    """Judge one sound.

    Parameters
    ----------
    note : Note
    position : Position
        What was asked for.
    instrument : Instrument
    known : sequence of Known
        Accepted takes, oldest first.
    """
    place = find_place(position, instrument=instrument, known=known)
    try:
        reading = read_note(note.clip, expected_hz=place.hint_hz)
    except Unreadable as fault:
        return Verdict(None, Reason.NO_NOTE, fault.reason)
    away = off_cents(place, reading.hz)
    if not place.low_cents <= away <= place.high_cents:
        return Verdict(reading, Reason.WRONG_NOTE, f"that was {away:+.0f} cents from {position.words()}")
    return Verdict(reading, None, "")
