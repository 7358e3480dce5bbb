"""Equal temperament: note names to hertz, fret numbers to places.

Conventions: scientific pitch names (``A4``, ``F#3``, ``Bb2``); A4 = 440 Hz by ISO 16:1975. Places are from
the nut of an ideal instrument, in the unit of the scale length.
"""

from __future__ import annotations

import math
import re

from pitchcheck.errors import BadValue, check_positive

CONCERT_A4_HZ = 440.0  # [Hz] ISO 16:1975
SEMITONES_PER_OCTAVE = 12
CENTS_PER_SEMITONE = 100.0  # [cent]
AUDIBLE_CENTS = 5.0  # [cent] about what a trained ear notices in a single note (common practice, from memory)

_STEP = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_NOTE = re.compile(r"^\s*([A-Ga-g])([#♯b♭]?)(-?\d)\s*$")
_SHARPS = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_FLATS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_A4_SEMITONE = 4 * SEMITONES_PER_OCTAVE + _STEP["A"]


def note_hz(name: str, *, a4_hz: float = CONCERT_A4_HZ) -> float:
    """Frequency of a note of twelve-tone equal temperament. [Hz]

    Raises
    ------
    BadValue
        If the name is not a letter, an optional accidental and an octave number.

    References
    ----------
    ISO 16:1975 (A4 = 440 Hz).

    Examples
    --------
    >>> round(note_hz("E4"), 3)
    329.628
    """
    match = _NOTE.match(name)
    if match is None:
        raise BadValue(
            f"{name!r} is not a note name; write a letter, # or b if needed, and the octave, like E4 or F#3."
        )
    shift = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}[match[2]]
    semitone = int(match[3]) * SEMITONES_PER_OCTAVE + _STEP[match[1].upper()] + shift
    return float(a4_hz * 2 ** ((semitone - _A4_SEMITONE) / SEMITONES_PER_OCTAVE))


def shift_note(name: str, semitones: int) -> str:
    """Name of the note so many semitones above; a flat name on the way down, a sharp one on the way up.

    Examples
    --------
    >>> shift_note("E4", -1), shift_note("B3", 1), shift_note("G3", 1)
    ('Eb4', 'C4', 'G#3')
    """
    number = round(SEMITONES_PER_OCTAVE * math.log2(note_hz(name) / CONCERT_A4_HZ)) + _A4_SEMITONE + semitones
    octave, step = divmod(number, SEMITONES_PER_OCTAVE)
    return f"{(_FLATS if semitones < 0 else _SHARPS)[step]}{octave}"


def fret_place(scale: float, fret: float) -> float:
    """Distance from the nut to a fret, in the unit of ``scale``; fret 0 is the nut itself.

    Examples
    --------
    >>> round(fret_place(647.7, 1), 3)
    36.353
    """
    check_positive("scale", scale, unit="(a length)")
    return scale * -math.expm1(-fret * math.log(2) / SEMITONES_PER_OCTAVE)
