"""Recorded notes of real instruments pass: none looks like a voice, two strings or a moving pitch."""

from __future__ import annotations

import csv

import numpy as np
import pytest

from helpers.imports import ROOT
from pitchcheck.clip import Clip
from pitchcheck.guide.acceptance import assess
from pitchcheck.guide.events import Reason
from pitchcheck.guide.expected_pitch import OPEN_CENTS
from pitchcheck.hearing.note_detector import NoteDetector, SoundEvent
from pitchcheck.hearing.second_string import PartialSeries, find_second_string
from pitchcheck.instrument import Instrument, StringSpec
from pitchcheck.pitch.peaks import find_peaks
from pitchcheck.pitch.read_note import read_note
from pitchcheck.takes import Position, Stop
from pitchcheck.tuning import note_hz
from pitchcheck.units import cents_between

NOTES = ROOT / "fixtures" / "notes"
ROOM_DB = -50.0  # white noise laid under the notes, below their peak
LEAD_S = 0.5
STEPS = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
NAMES = [f"{step}{octave}" for octave in range(1, 6) for step in STEPS]


def recorded() -> list[tuple[str, float]]:
    with (NOTES / "pairs.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return [(row[which], float(row[f"expected_{which}_hz"])) for row in rows for which in ("lower", "upper")]


def heard(name: str) -> SoundEvent:
    """The first note the ear hears in a recording, between stretches of noise."""
    import soundfile

    samples, rate = soundfile.read(NOTES / name)
    quiet = np.zeros(round(LEAD_S * rate))
    sound = np.concatenate([quiet, samples, quiet])
    rng = np.random.default_rng(1)
    sound += np.max(np.abs(samples)) * 10 ** (ROOM_DB / 20) * rng.standard_normal(sound.size)
    ear = NoteDetector(rate_hz=float(rate))
    hops = (ear.hear(sound[i : i + ear.hop]) for i in range(0, sound.size - ear.hop, ear.hop))
    return next(note for note in hops if note is not None)


@pytest.mark.parametrize(("name", "hz"), recorded(), ids=lambda v: str(v))
def test_a_recorded_note_is_taken(name: str, hz: float) -> None:
    nearest = min(NAMES, key=lambda note: abs(cents_between(note_hz(note), hz)))
    string = StringSpec(1, nearest, 0.5, "plain steel", wound=False)
    instrument = Instrument("one string", 648.0, (string,))
    found = assess(heard(name), position=Position(1, Stop.OPEN), instrument=instrument, known=())
    off = (
        found.refused is not None and found.refused.reason is Reason.OUT_OF_TUNE
    )  # many are no tempered note
    assert found.refused is None or (off and abs(found.refused.cents or 0.0) > OPEN_CENTS), found.refused


@pytest.mark.parametrize(("name", "hz"), recorded()[::3], ids=lambda v: str(v))
def test_no_recorded_note_looks_like_two(name: str, hz: float) -> None:
    note = heard(name)
    reading = read_note(note.clip, expected_hz=hz)
    peaks = find_peaks(note.clip.between(note.onset_s + 0.015, note.onset_s + 0.6))
    others = [(k, reading.hz * 2 ** (k / 12)) for k in range(-24, 25) if k]
    assert find_second_string(peaks, PartialSeries(reading.hz, reading.inharmonicity), strings=others) is None


def test_the_ear_hands_out_the_sound_itself() -> None:
    note = heard("40-lower.flac")
    assert isinstance(note.clip, Clip)
    assert 0.0 < note.onset_s <= 0.3
