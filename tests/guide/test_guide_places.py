"""Where a take may lie, held against the readings of 60 simulated instruments made by another code."""

from __future__ import annotations

import csv
from collections import defaultdict
from pathlib import Path

import pytest

from helpers.imports import ROOT
from pitchcheck.guide.events import Reason
from pitchcheck.guide.expected_pitch import EarlierTake, ExpectedPitch, expected_pitch
from pitchcheck.guide.identify import identify_sound
from pitchcheck.instrument import Instrument
from pitchcheck.session.folder import read_session
from pitchcheck.session.presets import get_preset
from pitchcheck.takes import Position, Stop
from pitchcheck.words.microphone import refusal_words

FOLDERS = sorted(
    path.parent
    for family in ("instruments", "thorough")
    for path in (ROOT / "fixtures" / family).glob("*/readings.csv")
)
GUITAR = Instrument("acoustic", 645.0, get_preset("acoustic").strings)


def readings(folder: Path) -> tuple[Instrument, dict[int, list[tuple[Position, float]]]]:
    """Instrument, and for each string its takes in playing order. [Hz]"""
    found: dict[int, list[tuple[Position, float]]] = defaultdict(list)
    with (folder / "readings.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            fret = int(row["fret"]) if row["fret"] else None
            position = Position(int(row["string"]), Stop(row["stop"]), fret)
            found[position.string].append((position, float(row["hz"])))
    return read_session(folder).settings.instrument, found


def lies_in(place: ExpectedPitch, hz: float) -> bool:
    return place.believes(hz)


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda f: f.name)
def test_every_true_take_lies_in_its_place_and_in_no_neighbours(folder: Path) -> None:
    instrument, strings = readings(folder)
    for takes in strings.values():
        known: list[EarlierTake] = []
        for position, hz in takes:
            assert lies_in(expected_pitch(position, instrument=instrument, known=known), hz), position.words()
            if position.fret is not None:
                for fret in (position.fret - 1, position.fret + 1):
                    stop = position.stop if fret else Stop.OPEN
                    beside = Position(position.string, stop, fret or None)
                    if stop is not Stop.OPEN:
                        place = expected_pitch(beside, instrument=instrument, known=known)
                        assert not lies_in(place, hz), f"{position.words()} taken for {beside.words()}"
            known.append(EarlierTake(position, hz))


@pytest.mark.parametrize("folder", FOLDERS[::7], ids=lambda f: f.name)
def test_a_note_at_another_fret_is_named(folder: Path) -> None:
    instrument, strings = readings(folder)
    for takes in strings.values():
        known = [EarlierTake(*takes[0])]
        for position, hz in takes:
            if position.stop is not Stop.FRET or position.fret not in (2, 3):
                continue
            asked = Position(position.string, Stop.FRET, 1)
            named = identify_sound(hz, asked=asked, instrument=instrument, known=known)
            assert named.reason is Reason.WRONG_FRET
            assert f"fret {position.fret}" in refusal_words(named)
            assert asked.words() in refusal_words(named)


@pytest.mark.parametrize(
    ("asked", "hz", "reason", "says"),
    [
        (Position(3, Stop.OPEN), 246.9, Reason.WRONG_STRING, "string 2 open"),
        (Position(3, Stop.OPEN), 146.8, Reason.WRONG_STRING, "string 4 open"),
        (Position(3, Stop.FRET, 1), 261.6, Reason.WRONG_STRING, "string 2 fret 1"),
        (Position(3, Stop.FRET, 12), 293.7, Reason.WRONG_STRING, "string 4 fret 12"),
        (Position(3, Stop.FRET, 12), 196.2, Reason.WRONG_FRET, "the open string"),
        (Position(3, Stop.OPEN), 208.0, Reason.WRONG_FRET, "fret 1"),
        (Position(3, Stop.FRET, 1), 196.2, Reason.WRONG_FRET, "the open string"),
        (Position(2, Stop.OPEN), 246.94 * 2 ** (-80 / 1200), Reason.OUT_OF_TUNE, "80 cents flat: tune it"),
        (Position(3, Stop.FRET, 1), 1000.0, Reason.WRONG_NOTE, "1000 Hz"),
    ],
)
def test_what_sounded_instead(asked: Position, hz: float, reason: Reason, says: str) -> None:
    named = identify_sound(hz, asked=asked, instrument=GUITAR, known=())
    assert named.reason is reason
    assert says in refusal_words(named)


def test_a_string_out_of_tune_does_no_harm_to_its_stopped_notes() -> None:
    flat = 110.0 * 2 ** (-60 / 1200)
    known = [EarlierTake(Position(5, Stop.OPEN), flat)]
    place = expected_pitch(Position(5, Stop.FRET, 1), instrument=GUITAR, known=known)
    assert lies_in(place, flat * 2 ** (110 / 1200))
    assert not lies_in(place, flat * 2 ** (205 / 1200))
    assert not lies_in(place, flat)


def test_a_capo_moves_the_reference() -> None:
    known = [EarlierTake(Position(5, Stop.OPEN), 110.0), EarlierTake(Position(5, Stop.OPEN, None, 2), 123.0)]
    place = expected_pitch(Position(5, Stop.FRET, 3, 2), instrument=GUITAR, known=known)
    assert lies_in(place, 123.0 * 2 ** (105 / 1200))
    assert not lies_in(place, 110.0 * 2 ** (205 / 1200))
