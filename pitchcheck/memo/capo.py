"""A recording made behind a capo: the instrument as it is then, and its labels as places of the whole neck.

Conventions: a capo is counted by the fret in front of it; 0 is none.
"""

from __future__ import annotations

from dataclasses import replace

from pitchcheck.instrument import Instrument
from pitchcheck.memo.labels import Label
from pitchcheck.takes import Position
from pitchcheck.tuning import fret_place, shift_note


def behind_capo(instrument: Instrument, capo: int) -> Instrument:
    """Return the instrument that is left behind a capo: shorter, its open strings so much higher."""
    if not capo:
        return instrument
    strings = []
    for spec in instrument.strings:
        scale_mm = instrument.string_scale_mm(spec.number)
        shorter = scale_mm - fret_place(scale_mm, capo)
        note = shift_note(spec.note, capo)
        strings.append(replace(spec, note=note, scale_mm=shorter, nut_at_fret=0))
    return replace(instrument, strings=tuple(strings))


def on_whole_neck(label: Label, capo: int) -> Label:
    """Return a label of the instrument behind a capo with its frets counted from the nut."""
    if not capo:
        return label
    return replace(label, position=_moved(label.position, capo), other=_moved(label.other, capo))


def _moved(position: Position | None, capo: int) -> Position | None:
    if position is None:
        return None
    fret = None if position.fret is None else position.fret + capo
    return replace(position, fret=fret, capo=capo)
