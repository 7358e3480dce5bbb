"""Strings that are all off their notes by the same interval, and the instrument as it is tuned.

Conventions: cents, + = sharp of the notes that were given.
"""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from dataclasses import replace

from pitchcheck.instrument import Instrument
from pitchcheck.tuning import CENTS_PER_SEMITONE, shift_note
from pitchcheck.units import CENTS_PER_OCTAVE, cents_between

# All of our choice.
LEAST_CENTS = 30.0  # [cent] less is a string here and there out of tune, and costs nothing
MOST_CENTS = 750.0  # [cent] more is another set of strings, or another octave
TOGETHER_CENTS = 45.0  # [cent] strings tuned alike lie so near to the median of their offsets
TOGETHER_SHARE = 0.75  # [-] of the strings heard
FEWEST = 2  # strings
LEAST_REFERENCE_CENTS = 10.0  # [cent] what is left beside whole semitones is worth saying from here


def common_offset(opens: Mapping[int, Sequence[float]], *, instrument: Instrument) -> float | None:
    """Interval by which all strings are off their notes; None when there is none worth saying. [cent]

    Parameters
    ----------
    opens : dict of int to sequence of float
        Pitches of the open takes of each string. [Hz]
    instrument : Instrument
        Says which note each string should have.

    Returns
    -------
    float or None
        30 cents or more in size, and shared by three strings of four.
    """
    off = [
        cents_between(instrument.string(number).nominal_hz, statistics.median(pitches))
        for number, pitches in opens.items()
        if pitches
    ]
    off = [cents for cents in off if abs(cents) < MOST_CENTS]
    if len(off) < FEWEST:
        return None
    middle = statistics.median(off)
    together = [cents for cents in off if abs(cents - middle) < TOGETHER_CENTS]
    if abs(middle) < LEAST_CENTS or len(together) < max(FEWEST, TOGETHER_SHARE * len(off)):
        return None
    return statistics.median(together)


def retune(instrument: Instrument, offset_cents: float) -> Instrument:
    """Return the instrument as it is tuned: whole semitones in the notes' names, the rest in their reference.

    The tension follows from the notes, and with it how far a pressed string sharpens.
    """
    semitones = round(offset_cents / CENTS_PER_SEMITONE)
    rest = offset_cents - CENTS_PER_SEMITONE * semitones
    times = 2 ** (rest / CENTS_PER_OCTAVE) if abs(rest) >= LEAST_REFERENCE_CENTS else 1.0
    strings = tuple(
        replace(
            spec,
            note=shift_note(spec.note, semitones) if semitones else spec.note,
            a4_hz=round(spec.a4_hz * times, 2),
        )
        for spec in instrument.strings
    )
    return replace(instrument, strings=strings)
