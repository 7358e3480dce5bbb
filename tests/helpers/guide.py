"""Imaginary players at an imaginary microphone, and a driver that hands the sound to the guide.

Every sound is known beforehand: which take it is, or what is wrong with it. Levels in dB, times in s.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.guide.events import Accepted, Event, Outcome, Refused, Sound, Stored
from pitchcheck.guide.guide import Guide
from pitchcheck.instrument import Instrument
from pitchcheck.session.presets import get_preset
from pitchcheck.simulate.body import Body, random_body
from pitchcheck.simulate.instrument import InstrumentTruth, string_truth
from pitchcheck.simulate.player import Hand, Played, play
from pitchcheck.simulate.room import SILENT_ROOM, Room, room_noise
from pitchcheck.simulate.voice import Voice, sound_of
from pitchcheck.takes import Position
from pitchcheck.types import FloatArray

RATE_HZ = 48_000.0
KINDS = ("electric", "acoustic", "classical", "bass", "tenor ukulele")
TAKE_S = 2.5  # 0.15 s before the pluck, then more than the guide wants
SLOTS_MM = (0.0, 0.5)


@dataclass(frozen=True)
class Bench:
    """One instrument, its player and its room."""

    instrument: Instrument
    truth: InstrumentTruth
    hand: Hand
    body: Body
    rng: np.random.Generator
    noise_db: float  # of the room, below the loudest tenth of a second of a note
    hum: bool

    def played(self, position: Position) -> Played:
        """Play one take."""
        return play(self.rng, truth=self.truth, hand=self.hand, positions=[position])[0]

    def note(self, position: Position, *, level_db: float = 0.0, seconds: float = TAKE_S) -> FloatArray:
        """Sound of one take without any room."""
        voice = Voice(self.body, SILENT_ROOM, RATE_HZ, seconds)
        clip = sound_of(
            self.rng,
            played=self.played(position),
            instrument=self.instrument,
            truth=self.truth,
            voice=voice,
        )
        return np.asarray(clip.samples * 10 ** (level_db / 20))

    def room(self, seconds: float) -> FloatArray:
        """The room alone."""
        noise = Room(
            white_db=self.noise_db - 3,
            pink_db=self.noise_db - 3,
            hum_db=self.noise_db - 6 if self.hum else -np.inf,
        )
        return room_noise(self.rng, room=noise, count=round(seconds * RATE_HZ), rate_hz=RATE_HZ)

    def heard(self, sound: FloatArray) -> FloatArray:
        """A sound in the room, as a converter of 16 bits hands it out."""
        noisy = sound + self.room(sound.size / RATE_HZ)
        return np.clip(np.round(noisy * 32768) / 32768, -1.0, 1.0)


def make_bench(rng: np.random.Generator, kind: str, *, noise_db: float = -45.0) -> Bench:
    """Draw an instrument of a kind; its slots are 0 to 0.5 mm high, its strings up to 10 cents off."""
    preset = get_preset(kind)
    instrument = Instrument(kind, preset.scale_mm, preset.strings)
    strings = []
    for spec in preset.strings:
        usual = string_truth(instrument, spec.number, slot_height_mm=rng.uniform(*SLOTS_MM), tail_mm=60.0)
        stretch_factor = usual.stretch_factor * float(np.exp(0.1 * rng.standard_normal()))
        strings.append(replace(usual, tuned_cents=float(rng.uniform(-10, 10)), stretch_factor=stretch_factor))
    truth = InstrumentTruth(
        scale_mm=preset.scale_mm,
        strings=tuple(strings),
        fret_height_mm=float(rng.uniform(0.8, 1.4)),
        fret_error_mm=tuple(float(e) for e in 0.015 * rng.standard_normal(4)),
        nut_offset_mm=float(rng.uniform(-0.2, 0.3)),
        relief_mm=float(rng.uniform(0.0, 0.3)),
        break_rad=float(rng.uniform(0.05, 0.25)),
    )
    body = random_body(rng, pull_cents=float(rng.uniform(0.3, 2.0)))
    return Bench(instrument, truth, Hand(), body, rng, noise_db, hum=bool(rng.random() < 0.5))


def feed(guide: Guide, samples: FloatArray, *, piece: int = 2400) -> list[Outcome]:
    """Hand sound to the guide piece by piece; every accepted take is stored at once."""
    return drive(guide, (Sound(samples[i : i + piece]) for i in range(0, samples.size, piece)))


def drive(guide: Guide, events: Iterable[Event]) -> list[Outcome]:
    """Hand events to the guide; every accepted take is stored at once."""
    outcomes: list[Outcome] = []
    for event in events:
        todo = [event]
        while todo:
            for outcome in guide.step(todo.pop(0)):
                outcomes.append(outcome)
                if isinstance(outcome, Accepted):
                    todo.append(Stored(outcome.number))
    return outcomes


def accepted(outcomes: Sequence[Outcome]) -> list[Accepted]:
    """The accepted takes among outcomes."""
    return [o for o in outcomes if isinstance(o, Accepted)]


def refused(outcomes: Sequence[Outcome]) -> list[Refused]:
    """The refusals among outcomes."""
    return [o for o in outcomes if isinstance(o, Refused)]
