"""Tunings as people write them: note names from the lowest string up, with or without octaves.

Conventions: a name without an octave means the octave nearest to what the string is usually tuned to, because
a string bears only a few semitones more.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace

from pitchcheck.errors import BadValue
from pitchcheck.instrument import StringSpec
from pitchcheck.tuning import SEMITONES_PER_OCTAVE, note_hz

FARTHEST_SEMITONES = 7  # [semitone] a string tuned farther from usual is another string; our choice
_NAME = re.compile(r"[A-Ga-g][#♯b♭]?-?\d?")


def note_near(name: str, usual_hz: float) -> str:
    """Return a note name with its octave: the one given, else the nearest to a string's usual pitch.

    Parameters
    ----------
    name : str
        ``"D"`` or ``"D3"``.
    usual_hz : float > 0
        What the string is usually tuned to. [Hz]

    Raises
    ------
    BadValue
        If it is no note name.

    Examples
    --------
    >>> note_near("D", note_hz("E2")), note_near("C", note_hz("B3")), note_near("D2", note_hz("E4"))
    ('D2', 'C4', 'D2')
    """
    if name.strip()[-1:].isdigit():
        note_hz(name)
        return name.strip()
    octave = round(math.log2(usual_hz / note_hz(f"{name.strip()}0")))
    return f"{name.strip()}{octave}"


def retuned(strings: Sequence[StringSpec], tuning: str) -> tuple[StringSpec, ...]:
    """Return the strings in another tuning.

    Parameters
    ----------
    strings : sequence of StringSpec
        As usually tuned, string 1 first.
    tuning : str
        A note for every string from the last one to string 1, as tunings are spoken: ``"D A D G A D"``,
        ``"DADGAD"``, ``"C2 G2 D3 G3 A3 D4"``.

    Raises
    ------
    BadValue
        If there are more or fewer notes than strings, something is no note, or a string would be farther
        from its usual pitch than it bears.
    """
    names = _NAME.findall(tuning)
    if re.sub(r"[\s,/-]", "", _NAME.sub("", tuning)):
        raise BadValue(
            f"{tuning[:60]!r} holds something that is no note name. Write a letter, # or b if needed, and "
            'the octave if you like: "D A D G A D".'
        )
    if len(names) != len(strings):
        raise BadValue(
            f"{tuning[:60]!r} names {len(names)} notes; the instrument has {len(strings)} strings. "
            "Write one for each, from the lowest string (the last number) to string 1."
        )
    found = []
    for spec, name in zip(strings, reversed(names), strict=True):
        note = note_near(name[0].upper() + name[1:], spec.nominal_hz)
        away = SEMITONES_PER_OCTAVE * math.log2(note_hz(note) / spec.nominal_hz)
        if abs(away) > FARTHEST_SEMITONES:
            raise BadValue(
                f"string {spec.number} would be tuned to {note}, {away:+.0f} semitones from its usual "
                f"{spec.note}; more than {FARTHEST_SEMITONES} needs another string. Correct the note, or its "
                "octave."
            )
        found.append(replace(spec, note=note))
    return tuple(found)
