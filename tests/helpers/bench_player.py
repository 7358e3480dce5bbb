"""Someone who plays an imaginary instrument into a virtual microphone, one note when it is asked for."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np

from helpers.listen import room_noise
from helpers.microphone import RATE_HZ, Microphone, virtual_microphone, write_sound
from pitchcheck.instrument import Instrument
from pitchcheck.simulate.body import random_body
from pitchcheck.simulate.instrument import InstrumentTruth
from pitchcheck.simulate.player import Hand, play
from pitchcheck.simulate.room import Room
from pitchcheck.simulate.voice import Voice, sound_of
from pitchcheck.takes import Position, Stop

SEED = 16
RINGS_S = 1.3  # [s] then the hand damps the string
DAMPED_S = 0.06
ROOM_S = 400.0  # [s] of a room that goes on behind the notes
ASKED = re.compile(r"String (\d): (open|press|fret) ?(\d*)\.")


class BenchPlayer:
    """A hand, an instrument and the room they sound in.

    Attributes
    ----------
    truth : InstrumentTruth
    played : int
        Notes so far.
    """

    def __init__(
        self, microphone: Microphone, place: Path, *, instrument: Instrument, truth: InstrumentTruth
    ) -> None:
        self.truth = truth
        self.played = 0
        self._instrument = instrument
        self._note = place / "note.wav"
        self._microphone = microphone
        self._rng = np.random.default_rng(SEED)
        self._voice = Voice(random_body(self._rng, pull_cents=1.5), Room(), RATE_HZ, RINGS_S)

    def pluck(self, place: Position) -> None:
        """Sound one note in the room, and damp it."""
        self.played += 1
        (note,) = play(self._rng, truth=self.truth, hand=Hand(), positions=[place])
        sound = sound_of(
            self._rng, played=note, instrument=self._instrument, truth=self.truth, voice=self._voice
        ).samples.copy()
        damped = round(DAMPED_S * RATE_HZ)
        sound[-damped:] *= np.linspace(1.0, 0.0, damped)
        self._microphone.play(write_sound(self._note, sound)).wait(timeout=30)

    def file(self, off_mm: dict[int, float]) -> None:
        """Take something off some slots; the string comes down with its slot."""
        strings = tuple(
            replace(
                s,
                slot_height_mm=s.slot_height_mm - off_mm.get(n, 0.0),
                action_12_mm=s.action_12_mm - off_mm.get(n, 0.0) / 2,
            )
            for n, s in enumerate(self.truth.strings, 1)
        )
        self.truth = replace(self.truth, strings=strings)


def asked_for(line: str) -> Position | None:
    """Return the place that a prompt asks for, None for any other line."""
    if not (found := ASKED.match(line)):
        return None
    string, stop, fret = found.groups()
    return Position(int(string), Stop(stop), int(fret) if fret else None)


@contextmanager
def bench_room(place: Path) -> Iterator[Microphone]:
    """A virtual microphone in a room that is never quite silent."""
    with virtual_microphone() as microphone:
        room = microphone.play(write_sound(place / "room.wav", room_noise(ROOM_S)))
        try:
            yield microphone
        finally:
            room.terminate()
            room.wait(timeout=10)
