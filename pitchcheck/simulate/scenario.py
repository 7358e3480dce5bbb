"""The demo's scenario: an imaginary workshop, guitar and owner, and what is really wrong with the guitar.

Conventions: planted measures are in mm and are the scenario's own invention.
"""

from __future__ import annotations

from dataclasses import replace

from pitchcheck.instrument import Fretwork, Instrument, Length, SessionSettings, StringSpec
from pitchcheck.simulate.instrument import InstrumentTruth, string_truth
from pitchcheck.simulate.player import Hand

STORY = (
    "A made-up story, to show what the tool does. The Two Lamps workshop, one bench above a bakery, has cut "
    "a new nut for a steel-string guitar. It closed for the summer before all six slots were done, and the "
    "owner, who plays on a harbour ferry, took the guitar as it was. Its first chords sound sour.",
    "Workshop, owner and guitar are imaginary, and so is the sound: the strings are computed, with room "
    "noise, mains hum, drifting tuning and an unsteady hand. They are measured like any real recording.",
)

SCALE_MM = 640.0
STRINGS = (
    StringSpec(1, "E4", 0.305, "plain steel", wound=False),
    StringSpec(2, "B3", 0.406, "plain steel", wound=False),
    StringSpec(3, "G3", 0.610, "phosphor bronze", wound=True),
    StringSpec(4, "D3", 0.813, "phosphor bronze", wound=True),
    StringSpec(5, "A2", 1.067, "phosphor bronze", wound=True),
    StringSpec(6, "E2", 1.346, "phosphor bronze", wound=True),
)

# Two slots were left high; the rest were cut to a little above the usual clearance.
HEIGHTS_MM = {1: 0.34, 2: 0.88, 3: 0.42, 4: 0.46, 5: 1.02, 6: 0.54}
HIGH = (2, 5)
NUT_OFFSET_MM = {1: 0.05, 2: 0.11, 3: 0.04, 4: 0.15, 5: 0.09, 6: 0.13}
STRETCH_OFF = {1: 1.01, 2: 0.98, 3: 1.06, 4: 0.95, 5: 1.04, 6: 1.08}  # these strings against the tables [-]
ACTION_OFF_MM = {1: -0.25, 2: -0.15, 3: -0.05, 4: 0.05, 5: 0.15, 6: 0.25}
# String 6 would want 2 mm more: the tool finds that too.
SADDLE_MM = {1: 1.9, 2: 2.6, 3: 2.1, 4: 2.5, 5: 3.4, 6: 3.8}
TUNED_CENTS = {1: -1.5, 2: 2.0, 3: -3.0, 4: 1.0, 5: -0.5, 6: 2.5}
ACTION_12_MM = 1.8
TAIL_MM = 60.0

HAND = Hand(force_n=5.0)  # a light touch


def demo_settings() -> SessionSettings:
    """What the workshop knows of the guitar before anything is heard."""
    return SessionSettings(
        Instrument(
            kind="steel-string guitar of the Two Lamps workshop (imaginary)",
            scale_mm=SCALE_MM,
            strings=STRINGS,
            action_12=Length(ACTION_12_MM, 0.15),
            fretwork=Fretwork.LEVEL,  # the workshop has levelled them with a straightedge
        )
    )


def demo_truth() -> InstrumentTruth:
    """What is really so."""
    instrument = demo_settings().instrument
    strings = []
    for number, height in HEIGHTS_MM.items():
        usual = string_truth(
            instrument,
            number,
            slot_height_mm=height,
            tail_mm=TAIL_MM,
            nut_offset_mm=NUT_OFFSET_MM[number],
        )
        off = STRETCH_OFF[number]
        strings.append(
            replace(
                usual,
                saddle_mm=SADDLE_MM[number],
                action_12_mm=usual.action_12_mm + ACTION_OFF_MM[number],
                stretch_factor=usual.stretch_factor * off,
                bend_mm=usual.bend_mm * (off if instrument.string(number).wound else off**0.5),
                tuned_cents=TUNED_CENTS[number],
            )
        )
    return InstrumentTruth(
        scale_mm=SCALE_MM,
        strings=tuple(strings),
        fret_height_mm=1.05,
        fret_error_mm=(0.012, -0.018, 0.009, 0.004),
        nut_offset_mm=0.10,
        relief_mm=0.18,
        break_rad=0.14,
    )
