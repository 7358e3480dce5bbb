"""A recording behind a capo: labelled on what is left of the neck, and told as places of the whole."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from helpers.memo_plan import COURSES
from pitchcheck.instrument import Instrument
from pitchcheck.memo.capo import behind_capo, on_whole_neck
from pitchcheck.memo.labelling import label_sounds
from pitchcheck.memo.sounds import Note, Sound
from pitchcheck.physics.materials import string_constants
from pitchcheck.session.presets import get_preset
from pitchcheck.takes import Position
from pitchcheck.workflow.memo_files import capo_of

PRESET = get_preset("electric")
GUITAR = Instrument("electric", PRESET.scale_mm, PRESET.strings)
SHARP_CENTS = 8.0  # of a note fretted behind a capo


def test_what_is_left_behind_a_capo_has_the_same_tension_and_sounds_higher() -> None:
    left = behind_capo(GUITAR, 2)
    assert [s.note for s in left.strings] == ["F#4", "C#4", "A3", "E3", "B2", "F#2"]  # a tone up: 2 frets
    for spec in GUITAR.strings:
        before = string_constants(spec, scale_mm=GUITAR.string_scale_mm(spec.number))
        after = string_constants(left.string(spec.number), scale_mm=left.string_scale_mm(spec.number))
        assert after.tension_n == pytest.approx(before.tension_n, rel=1e-9)  # Mersenne: L f is the same
    assert behind_capo(GUITAR, 0) is GUITAR


def test_labels_are_counted_from_the_nut() -> None:
    places = [Position(s, *place) for s in range(6, 0, -1) for place in COURSES["frets apart"]]
    sounds = []
    for i, place in enumerate(places):
        cents = 100 * (2 + place.semitones) + (SHARP_CENTS if place.fret else 0.0)
        hz = GUITAR.string(place.string).nominal_hz * 2 ** (cents / 1200)
        note = Note(hz, 5e-5, 1e-5, 0.9, rise_db=30.0, fall_db_s=8.0, moved_cents=0.2, purity=0.97)
        sounds.append(Sound(3.0 * i, 3.0 * i + 2.5, (note,)))
    labels = label_sounds(sounds, instrument=behind_capo(GUITAR, 2)).labels
    assert all(label.sure for label in labels)
    assert [on_whole_neck(label, 2).position for label in labels] == [
        replace(p, capo=2, fret=None if p.fret is None else p.fret + 2) for p in places
    ]


@pytest.mark.parametrize(
    ("name", "capo"),
    [("memo.m4a", 0), ("memo capo 2.m4a", 2), ("Capo3.wav", 3), ("x_capo-1_b.mp3", 1), ("capo 12.wav", 0)],
)
def test_a_file_name_says_where_the_capo_is(name: str, capo: int) -> None:
    assert capo_of(Path(name)) == capo
