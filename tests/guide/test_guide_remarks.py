"""What is told about a good take, and the words of prompts."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcheck.guide.acceptance import find_remark
from pitchcheck.guide.events import Reason, Silence, Sound
from pitchcheck.guide.expected_pitch import EarlierTake, expected_pitch
from pitchcheck.guide.guide import Guide
from pitchcheck.guide.identify import identify_sound
from pitchcheck.guide.scene import Scene
from pitchcheck.guide.take_list import TakeList
from pitchcheck.instrument import Instrument
from pitchcheck.pitch.reading import Reading
from pitchcheck.session.presets import get_preset
from pitchcheck.takes import Position, Stop
from pitchcheck.words.microphone import how_words, prompt_words, refusal_words, remark_words, scene_words

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
        EarlierTake(OPEN, HZ),
        EarlierTake(Position(2, Stop.FRET, 1), HZ * 1.06),
        EarlierTake(Position(1, Stop.OPEN), 330.0),
    ]
    told = find_remark(reading(cents, sd_cents=sd_cents), position=OPEN, known=known)
    assert told is None if not says else told is not None and says in remark_words(told)


@pytest.mark.parametrize("cents", [-40.0, 26.0, 59.0])
def test_an_open_string_off_its_note_is_tuned_before_it_becomes_a_reference(cents: float) -> None:
    place = expected_pitch(OPEN, instrument=GUITAR, known=())
    assert not place.believes(reading(cents).hz)
    assert place.believes(reading(24.0).hz)
    refused = identify_sound(reading(cents).hz, asked=OPEN, instrument=GUITAR, known=())
    assert refused.reason is Reason.OUT_OF_TUNE
    assert f"String 2 is {abs(cents):.0f} cents" in refusal_words(refused)


def test_prompts_name_the_place_and_the_string() -> None:
    assert prompt_words(Position(3, Stop.FRET, 1)) == "String 3: fret 1"
    assert prompt_words(Position(3, Stop.PRESS, 2, 1)) == "String 3: press 2, capo behind fret 1"
    fretted = how_words(Position(1, Stop.FRET, 1), instrument=GUITAR, seat_first=False)
    assert fretted.startswith("String 1, E4, treble side:")
    assert "just behind fret 1" in fretted
    pressed = how_words(Position(6, Stop.PRESS, 1), instrument=GUITAR, seat_first=False)
    assert pressed.startswith("String 6, E2, bass side:")
    assert "midway between the nut and fret 1" in pressed
    assert "thumb under the neck" in pressed
    assert "seat" in how_words(OPEN, instrument=GUITAR, seat_first=True)
    leaf = how_words(Position(2, Stop.LEAF, 1, 0, 0.3), instrument=GUITAR, seat_first=False)
    assert "0.30 mm leaf flat on fret 1" in leaf


def test_a_dead_input_is_told_from_a_quiet_one() -> None:
    guide = Guide(GUITAR, takes=TakeList.planned([OPEN]), rate_hz=48_000.0)
    guide.step(Sound(np.zeros(200_000)))
    assert guide.view().silence is Silence.DEAD
    assert "not even the room" in scene_words(Scene(GUITAR, guide.view(), ())).hint
    guide.step(Sound(1e-4 * np.random.default_rng(0).standard_normal(200_000)))
    assert guide.view().silence is Silence.ROOM
