"""Every reason to refuse a take, once, with the words that go with it."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from helpers.guide import RATE_HZ, Bench, accepted, feed, make_bench, refused
from helpers.guide_sounds import at_level, clipped, damped, talking, tap
from pitchcheck.clip import Clip
from pitchcheck.guide.acceptance import assess
from pitchcheck.guide.events import Reason
from pitchcheck.guide.guide import Guide
from pitchcheck.guide.take_list import TakeList
from pitchcheck.hearing.note_detector import SoundEvent
from pitchcheck.simulate.pluck import PluckSound, Tone, pluck
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray
from pitchcheck.words.microphone import refusal_words

OPEN = Position(4, Stop.OPEN)


@cache
def bench() -> Bench:
    return make_bench(np.random.default_rng(21), "electric")


def bent(cents: FloatArray) -> FloatArray:
    """The open string with its pitch led along a path, by stretching time. [cent]"""
    note = bench().note(OPEN, seconds=3.0)
    at = np.cumsum(2 ** (cents / 1200))
    return np.interp(at, np.arange(note.size), note)


def slide(seconds: float, by_cents: float) -> FloatArray:
    time = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return by_cents * np.clip((time - 0.5) / 1.5, 0.0, 1.0)


SOUNDS: dict[str, tuple[Callable[[], FloatArray], Reason, str]] = {
    "wrong string": (lambda: bench().note(Position(3, Stop.OPEN)), Reason.WRONG_STRING, "string 3 open"),
    "wrong fret": (lambda: bench().note(Position(4, Stop.FRET, 2)), Reason.WRONG_FRET, "That was fret 2"),
    "out of tune": (
        lambda: bent(np.full(120_000, -85.0 - bench().truth.string(4).tuned_cents)),
        Reason.OUT_OF_TUNE,
        "String 4 is 85 cents flat: tune it",
    ),
    "too short": (
        lambda: damped(bench().rng, bench().note(OPEN), rate_hz=RATE_HZ, end_s=0.4),
        Reason.TOO_SHORT,
        "Leave the string alone",
    ),
    "second string": (
        lambda: bench().note(OPEN) + bench().note(Position(5, Stop.OPEN), level_db=-10.0),
        Reason.TWO_STRINGS,
        "string 5 rings along",
    ),
    "clipped": (lambda: clipped(bench().rng, bench().note(OPEN)), Reason.TOO_LOUD, "Turn the input down"),
    "clipped before a converter": (
        lambda: 0.4 * clipped(bench().rng, bench().note(OPEN)),
        Reason.TOO_LOUD,
        "Turn the input down",
    ),
    "tap": (lambda: 0.2 * tap(bench().rng, rate_hz=RATE_HZ, seconds=1.5), Reason.NO_NOTE, "a short noise"),
    "talking": (
        lambda: 0.2 * talking(bench().rng, rate_hz=RATE_HZ, seconds=2.5),
        Reason.NO_NOTE,
        "noise (a knock, a voice",
    ),
    "a peg is turned": (lambda: bent(slide(2.9, 14.0)), Reason.STILL_MOVING, "The pitch moved by"),
}


@pytest.mark.parametrize("name", SOUNDS)
def test_it_is_refused_for_its_own_reason(name: str) -> None:
    make, reason, says = SOUNDS[name]
    guide = Guide(bench().instrument, takes=TakeList.planned([OPEN]), rate_hz=RATE_HZ)
    clean = make()
    noise_db = -70.0 if name == "clipped before a converter" else bench().noise_db
    noise = bench().room(clean.size / RATE_HZ) * 10 ** ((noise_db - bench().noise_db) / 20)
    outcomes = feed(
        guide, np.concatenate([bench().room(0.5), np.clip(clean + noise, -1, 1), bench().room(0.6)])
    )
    assert [o.reason for o in refused(outcomes)] == [reason]
    assert accepted(outcomes) == []
    assert says in refusal_words(refused(outcomes)[0])


def test_a_note_that_the_room_drowns_is_too_quiet() -> None:
    """As it would come from an ear that hears it at all: the peak 6 dB above the room, 15 is not enough."""
    clip = Clip(bench().heard(at_level(bench().note(OPEN), -42.0)), RATE_HZ)
    room = 10 ** (bench().noise_db / 10)
    note = SoundEvent(clip, onset_s=0.15, ended=False, room=room, peak=4 * room)
    told = assess(note, position=OPEN, instrument=bench().instrument, known=())
    assert told.refused is not None
    assert told.refused.reason is Reason.TOO_QUIET
    assert "Pluck louder" in refusal_words(told.refused)


def test_a_hiss_that_stays_is_the_room_and_no_take() -> None:
    guide = Guide(bench().instrument, takes=TakeList.planned([OPEN]), rate_hz=RATE_HZ)
    fan = 10 * bench().room(3.0)
    assert feed(guide, np.concatenate([bench().room(1.0), fan])) == []


def test_a_note_through_a_bump_is_taken() -> None:
    guide = Guide(bench().instrument, takes=TakeList.planned([OPEN]), rate_hz=RATE_HZ)
    knock = 0.05 * tap(bench().rng, rate_hz=RATE_HZ, seconds=0.4)
    sound = np.concatenate([bench().room(0.5), bench().heard(np.concatenate([knock, bench().note(OPEN)]))])
    assert len(accepted(feed(guide, sound))) == 1


def test_an_octave_string_is_not_taken_for_two() -> None:
    """A string with strong even partials, as plucked near its end, is one string."""
    guide = Guide(bench().instrument, takes=TakeList.planned([OPEN]), rate_hz=RATE_HZ)
    hz = bench().instrument.string(4).nominal_hz
    for place in (0.06, 0.13, 0.31, 0.48):
        sound = PluckSound(place=place)
        clip = pluck(bench().rng, tone=Tone(hz, 9e-5), sound=sound, rate_hz=RATE_HZ, duration_s=2.5)
        outcomes = feed(guide, np.concatenate([bench().room(0.5), bench().heard(clip.samples)]))
        assert refused(outcomes) == []
        guide.extend([OPEN])
