"""A player with a phone: a memo of an imaginary instrument in which every pluck is known.

The player follows a plan (``memo_plan``), the room is heard, and the memo is written with a real encoder.
Everything comes from one seed. All choices of loudness, haste and room are ours.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from helpers.codecs import PHONE, encode
from helpers.memo_manner import USUAL, Manner, any_manner, in_a_room
from helpers.memo_plan import COURSES, SHARES, Planner
from helpers.memo_sounds import bump, follow_gain, rustle, talk
from pitchcheck.instrument import Instrument
from pitchcheck.memo.capo import behind_capo
from pitchcheck.session.presets import get_preset
from pitchcheck.simulate.body import random_body
from pitchcheck.simulate.instrument import InstrumentTruth, string_truth
from pitchcheck.simulate.player import Hand, play
from pitchcheck.simulate.room import SILENT_ROOM, Room, room_noise
from pitchcheck.simulate.voice import Voice, sound_of
from pitchcheck.takes import Position
from pitchcheck.types import FloatArray

RATE_HZ = 44_100
BEGINS_S = 0.148  # of a simulated pluck, less the quiet before it
KINDS = ("electric", "acoustic", "classical", "bass", "tenor ukulele")
ENCODERS = {
    "m4a 64k": 0.4,
    "mp3 128k": 0.15,
    "opus 32k": 0.15,
    "wav": 0.15,
    "m4a 32k": 0.05,
    "opus 16k": 0.05,
    "3gp amr": 0.05,
}
CALM_HAND = Hand()


@dataclass(frozen=True)
class Happening:
    """One sound of the memo; ``position`` is None for what is no pluck of a place."""

    time_s: float
    what: str
    position: Position | None = None
    hz: float | None = None


@dataclass(frozen=True)
class Memo:
    """A memo and what is true of it."""

    seed: int
    kind: str
    course: str
    instrument: Instrument
    offset_cents: float
    snr_db: float
    encoder: str
    happenings: tuple[Happening, ...]
    truth: InstrumentTruth
    samples: FloatArray = field(repr=False)

    def write(self, folder: Path) -> Path:
        """Write the memo with its encoder; return the path."""
        encoder = PHONE[self.encoder]
        path = folder / f"memo{self.seed}.{encoder.ending}"
        return encode(path, self.samples, rate_hz=RATE_HZ, encoder=encoder)


@dataclass(frozen=True)
class Wish:
    """What is not left to chance."""

    kind: str | None = None
    course: str | None = None
    encoder: str | None = None
    offset_cents: float | None = None
    snr_db: float | None = None
    calm: bool = False
    hand: Hand = CALM_HAND
    gain_depth: float | None = None
    longest_ring_s: float = 3.0
    capo: int = 0
    hard: bool = False  # with a manner of playing of its own


def make_memo(seed: int, wish: Wish | None = None) -> Memo:
    """Play and record a memo; behind a capo, which is as a zero fret, places are counted from it."""
    wish = wish or Wish()
    rng = np.random.default_rng([seed, 15])
    kind = wish.kind or str(rng.choice(KINDS))
    course = wish.course or str(rng.choice(list(COURSES), p=SHARES))
    encoder = wish.encoder or str(rng.choice(list(ENCODERS), p=list(ENCODERS.values())))
    instrument = behind_capo(random_instrument(rng, kind), wish.capo)
    down = rng.choice([0.0, -100.0, -200.0, -50.0], p=[0.7, 0.1, 0.1, 0.1]) + rng.normal(0, 6.0)
    offset = float(down) if wish.offset_cents is None else wish.offset_cents
    manner = any_manner(rng) if wish.hard else USUAL
    truth = random_truth(rng, instrument, offset_cents=offset, apart_cents=manner.apart_cents)
    if wish.capo:
        truth = replace(truth, strings=tuple(replace(s, slot_height_mm=0.0) for s in truth.strings))
    track = _Track(rng, loud=rng.uniform(0.25, 1.0), lets_ring=bool(rng.random() < 0.3), manner=manner)
    numbers = [s.number for s in instrument.strings]
    steps = Planner(rng, numbers, calm=wish.calm, manner=manner).plan(COURSES[course])
    positions = [s.position for s in steps if s.position is not None]
    played = iter(play(rng, truth=truth, hand=manner.hand or wish.hand, positions=positions))
    voice = Voice(random_body(rng, pull_cents=rng.uniform(0.3, 1.5)), SILENT_ROOM, RATE_HZ, 5.0)
    ring_to = manner.ring_s[1] if wish.hard else wish.longest_ring_s
    for step in steps:
        if step.position is None:
            track.noise(step.what)
            continue
        note = next(played)
        clip = sound_of(rng, played=note, instrument=instrument, truth=truth, voice=voice)
        sound = clip.samples[round(BEGINS_S * RATE_HZ) :]
        track.pluck(
            step.what, step.position, sound, hz=note.hz, ring_s=rng.uniform(manner.ring_s[0], ring_to)
        )
    snr = float(rng.uniform(20.0, 40.0)) if wish.snr_db is None else wish.snr_db
    samples = in_a_room(rng, track.mixed(tail_s=2.0), manner=manner, rate_hz=RATE_HZ)
    samples = samples + _noise(rng, samples, track.here, snr_db=snr)
    depth = float(rng.choice([0.0, 0.0, 0.4])) if wish.gain_depth is None else wish.gain_depth
    depth = depth if manner.gain_depth is None else manner.gain_depth
    if depth:
        samples = follow_gain(samples, rate_hz=RATE_HZ, depth=depth)
    samples = 0.9 * samples / np.abs(samples).max()
    here = tuple(track.here)
    return Memo(seed, kind, course, instrument, offset, snr, encoder, here, truth, samples)


def random_instrument(rng: np.random.Generator, kind: str) -> Instrument:
    """Return an instrument of that kind, its scale a little off the usual."""
    preset = get_preset(kind)
    scale_mm = round(preset.scale_mm * rng.uniform(0.98, 1.02), 1)
    return Instrument(kind=kind, scale_mm=scale_mm, strings=preset.strings)


def random_truth(
    rng: np.random.Generator, instrument: Instrument, *, offset_cents: float = 0.0, apart_cents: float = 5.0
) -> InstrumentTruth:
    """Return an instrument as it really is: heights from good to grossly high, all strings tuned alike."""
    nut, tail = rng.normal(0.0, 0.15), rng.uniform(30.0, 120.0)
    gross = rng.uniform(0.05, 0.3)
    tension = 2 ** (offset_cents / 600)  # the tension goes with the square of the pitch
    strings = []
    for spec in instrument.strings:
        usual = string_truth(
            instrument,
            spec.number,
            slot_height_mm=float(0.25 + gross * abs(rng.normal())),
            tail_mm=tail,
            nut_offset_mm=nut + rng.normal(0, 0.05),
        )
        strings.append(
            replace(
                usual,
                stretch_factor=usual.stretch_factor * np.exp(rng.normal(0, 0.12)) / tension,
                bend_mm=usual.bend_mm * np.exp(rng.normal(0, 0.1)) / tension**0.5,
                action_12_mm=usual.action_12_mm * rng.uniform(0.7, 1.4),
                tension_n=usual.tension_n * tension,
                tuned_cents=offset_cents + rng.normal(0, apart_cents),
            )
        )
    return InstrumentTruth(
        scale_mm=instrument.scale_mm,
        strings=tuple(strings),
        fret_height_mm=float(rng.uniform(0.8, 1.3)),
        fret_error_mm=tuple(float(e) for e in rng.normal(0, 0.02, 4)),
        nut_offset_mm=float(nut),
        relief_mm=float(rng.uniform(0.05, 0.3)),
        break_rad=float(rng.uniform(0.08, 0.2)),
    )


class _Track:
    """Sound laid down in time, and what is where."""

    def __init__(
        self, rng: np.random.Generator, *, loud: float, lets_ring: bool, manner: Manner = USUAL
    ) -> None:
        self.rng, self.loud, self.lets_ring, self.manner = rng, loud, lets_ring, manner
        self.here: list[Happening] = []
        self._now = float(rng.uniform(0.3, 2.0))
        self._pieces: list[tuple[int, FloatArray]] = []
        self._ringing: dict[int, tuple[int, FloatArray]] = {}
        self._string_db: dict[int, float] = {}

    def noise(self, what: str) -> None:
        rng = self.rng
        if what in ("talk", "talk over"):
            sound = talk(rng, seconds=rng.uniform(0.4, 2.5), rate_hz=RATE_HZ)
        elif what == "bump":
            sound = bump(rng, rate_hz=RATE_HZ)
        else:
            sound = rustle(rng, seconds=rng.uniform(0.3, 1.5), rate_hz=RATE_HZ)
        before = self._now
        if what == "talk over":
            self._now = max(0.0, before - rng.uniform(0.5, 1.5))  # while the last note rings
        at = self._add(sound * rng.uniform(0.03, 0.3) * self.loud)
        self.here.append(Happening(at, what))
        self._now = before if what == "talk over" else at + sound.size / RATE_HZ

    def pluck(self, what: str, position: Position, sound: FloatArray, *, hz: float, ring_s: float) -> None:
        rng = self.rng
        sound = sound * self.loud * rng.uniform(0.7, 1.3) * self._level(position.string)
        if what in ("damped", "touched"):
            fall_s = rng.uniform(0.03, 0.07) if what == "damped" else rng.uniform(0.05, 0.4)
            sound = sound * np.exp(-np.arange(sound.size) / RATE_HZ / fall_s)
            ring_s = 0.4 if what == "damped" else 0.1
        if what == "touched":
            sound = sound * 10 ** (rng.uniform(-36.0, -18.0) / 20)
        if what == "strum":
            ring_s = 0.0
        self._damp(
            position.string,
            others=what != "strum" and not self.manner.undamped,
            slowly=self.lets_ring and rng.random() < 0.7,
        )
        at = self._add(sound, at_once=what == "strum")
        self._ringing[position.string] = self._pieces[-1]
        self.here.append(Happening(at, what, position, hz))
        self._now = at + ring_s

    def _level(self, string: int) -> float:
        """How loud this pluck is, besides what every pluck scatters."""
        if not self.manner.level_db:
            return 1.0
        if string not in self._string_db:
            self._string_db[string] = self.rng.normal(0.0, self.manner.string_db)
        return float(10 ** ((self._string_db[string] + self.rng.normal(0.0, self.manner.level_db)) / 20))

    def mixed(self, *, tail_s: float) -> FloatArray:
        size = round((self._now + tail_s) * RATE_HZ)
        out = np.zeros(size)
        for first, sound in self._pieces:
            part = sound[: max(0, size - first)]
            out[first : first + part.size] += part
        return out

    def _add(self, sound: FloatArray, *, at_once: bool = False) -> float:
        shortest, longest = (0.01, 0.04) if at_once else self.manner.pause_s
        first = round((self._now + self.rng.uniform(shortest, longest)) * RATE_HZ)
        self._pieces.append((first, np.array(sound)))
        return first / RATE_HZ

    def _damp(self, string: int, *, others: bool, slowly: bool) -> None:
        """Stop what rings, the others too or only the string, at once or so that it rings on for a while."""
        for other in [n for n in self._ringing if n == string or others]:
            first, sound = self._ringing.pop(other)
            start = max(0, round((self._now + 0.15) * RATE_HZ) - first)
            if start < sound.size:
                fall_s = 0.25 if slowly else 0.015
                sound[start:] *= np.exp(-np.arange(sound.size - start) / RATE_HZ / fall_s)


def _noise(
    rng: np.random.Generator, samples: FloatArray, here: list[Happening], *, snr_db: float
) -> FloatArray:
    """Return the room: so far below the first half second of the plucks, in power."""
    begins = [round(h.time_s * RATE_HZ) for h in here if h.what == "pluck"]
    power = np.median([np.mean(samples[b : b + RATE_HZ // 2] ** 2) for b in begins])
    room = Room(
        white_db=-72.0,
        pink_db=-64.0 + rng.uniform(-6, 6),
        hum_db=-60.0 + rng.uniform(-20, 3),
        mains_hz=float(rng.choice([50.0, 60.0])),
    )
    noise = room_noise(rng, room=room, count=samples.size, rate_hz=RATE_HZ)
    return np.asarray(noise * np.sqrt(power / np.mean(noise**2)) * 10 ** (-snr_db / 20))
