"""What is told about a good take, and the words of prompts."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcheck.guide import words
from pitchcheck.guide.events import Sound
from pitchcheck.guide.guide import Guide
from pitchcheck.guide.places import Known
from pitchcheck.guide.remarks import remark
from pitchcheck.instrument import Instrument
from pitchcheck.pitch.reading import Reading
from pitchcheck.session.presets import get_preset
from pitchcheck.takes import Position, Stop

GUITAR = Instrument("acoustic", 645.0, get_preset("acoustic").strings)
OPEN = Position(2, Stop.OPEN)
HZ = GUITAR.string(2).nominal_hz


def reading(cents: float, *, sd_cents: float = 0.1) -> Reading:
    """A reading so far from the note of string 2."""
    return Reading(
        hz=HZ * 2 ** (cents / 1200),
        sd_cents=sd_cents,
        inharmonicity=5e-5,
        inharmonicity_sd=1e-6,
        decay_s=1.0,
        glide_cents=0.5,
        snr_db=30.0,
        partials=15,
        used_s=(0.3, 2.3),
    )


@pytest.mark.parametrize(
    ("cents", "sd_cents", "says"),
    [
        (0.9, 0.1, ""),
        (3.0, 0.1, "came back 3 cents sharp"),
        (-2.0, 0.1, "came back 2 cents flat"),
        (2.0, 0.9, ""),
        (20.0, 0.1, "20 cents sharp of its last open take"),
    ],
)
def test_an_open_string_that_did_not_come_back(cents: float, sd_cents: float, says: str) -> None:
    known = [
        Known(OPEN, HZ),
        Known(Position(2, Stop.FRET, 1), HZ * 1.06),
        Known(Position(1, Stop.OPEN), 330.0),
    ]
    told = remark(reading(cents, sd_cents=sd_cents), position=OPEN, instrument=GUITAR, known=known)
    assert told == "" if not says else says in told


@pytest.mark.parametrize(("cents", "says"), [(10.0, ""), (-40.0, "String 2 is 40 cents flat")])
def test_the_first_open_take_is_held_against_its_note(cents: float, says: str) -> None:
    told = remark(reading(cents), position=OPEN, instrument=GUITAR, known=())
    assert told == "" if not says else says in told


def test_prompts_name_the_place_and_the_string() -> None:
    assert words.prompt(Position(3, Stop.FRET, 1)) == "String 3: fret 1"
    assert words.prompt(Position(3, Stop.PRESS, 2, 1)) == "String 3: press 2, capo behind fret 1"
    fretted = words.how(Position(1, Stop.FRET, 1), instrument=GUITAR, first=False)
    assert "nearest the floor" in fretted
    assert "just behind fret 1" in fretted
    pressed = words.how(Position(6, Stop.PRESS, 1), instrument=GUITAR, first=False)
    assert "rounded wooden rod" in pressed
    assert "midway between nut and fret 1" in pressed
    assert "neck supported" in pressed
    assert "seat" in words.how(OPEN, instrument=GUITAR, first=True)


def test_a_dead_input_is_told_from_a_quiet_one() -> None:
    guide = Guide(GUITAR, course=[OPEN], rate_hz=48_000.0)
    guide.step(Sound(np.zeros(200_000)))
    assert "not even the room" in guide.view().hint
    guide.step(Sound(1e-4 * np.random.default_rng(0).standard_normal(200_000)))
    assert "not even the room" not in guide.view().hint
    assert "I hear nothing" in guide.view().hint
