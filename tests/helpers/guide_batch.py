"""Good takes and takes that should be refused, mixed: the batch that the guide is judged by."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from helpers.guide import RATE_HZ, TAKE_S, Bench, accepted, feed, refused
from helpers.guide_sounds import at_level, clipped, damped, talking, tap
from pitchcheck.course import Thoroughness, string_positions
from pitchcheck.guide.events import Command, Reason
from pitchcheck.guide.guide import Guide
from pitchcheck.guide.take_list import TakeList
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray
from pitchcheck.words.microphone import refusal_words

BAD = ("wrong string", "wrong fret", "too short", "second string", "clipped", "silent", "talking", "tap")
RIGHT: dict[str, set[Reason]] = {
    "wrong string": {Reason.WRONG_STRING},
    "wrong fret": {Reason.WRONG_FRET},
    "too short": {Reason.TOO_SHORT},
    "second string": {Reason.TWO_STRINGS},
    "clipped": {Reason.TOO_LOUD},
    "silent": set(),
    "talking": {Reason.NO_NOTE},
    "tap": {Reason.NO_NOTE},
}
SETTLE_S = 1.0  # room between two sounds
SILENCE_S = 4.0
NOTE_PEAK_DB = -12.0  # of the simulator's notes


@dataclass(frozen=True)
class Result:
    """What the guide made of one sound."""

    kind: str  # "good" or one of BAD
    position: Position
    detail: str
    taken: bool
    reasons: tuple[Reason, ...]
    words: tuple[str, ...]

    @property
    def right(self) -> bool:
        if self.kind == "good":
            return self.taken and not self.reasons
        if self.kind == "silent":
            return not self.taken and not self.reasons
        return not self.taken and bool(self.reasons) and set(self.reasons) <= RIGHT[self.kind]


def bad_sound(bench: Bench, kind: str, position: Position) -> tuple[FloatArray, str]:
    """A sound that should be refused at that place, in its room, and what it is."""
    rng = bench.rng
    if kind == "wrong string":
        others = [s.number for s in bench.instrument.strings if s.number != position.string]
        near = [n for n in others if abs(n - position.string) == 1]
        other = int(rng.choice(near if rng.random() < 0.7 else others))
        played = Position(other, position.stop, position.fret)
        return bench.heard(bench.note(played)), played.words()
    if kind == "wrong fret":
        played = _wrong_fret(rng, position)
        return bench.heard(bench.note(played)), played.words()
    if kind == "too short":
        lasts = float(rng.uniform(0.1, 0.35))
        sound = damped(rng, bench.note(position), rate_hz=RATE_HZ, end_s=0.15 + lasts)
        return bench.heard(sound), f"{lasts:.2f} s"
    if kind == "second string":
        others = [s.number for s in bench.instrument.strings if abs(s.number - position.string) == 1]
        along = Position(int(rng.choice(others)), Stop.OPEN)
        level = float(rng.uniform(-8, 0))
        return bench.heard(
            bench.note(position) + bench.note(along, level_db=level)
        ), f"{along.words()} {level:.0f} dB"
    if kind == "clipped":
        return clipped(rng, bench.heard(bench.note(position))), ""
    if kind == "silent":
        return bench.room(SILENCE_S), ""
    make = talking if kind == "talking" else tap
    level = NOTE_PEAK_DB + float(rng.uniform(-8, 6))
    return bench.heard(at_level(make(rng, rate_hz=RATE_HZ, seconds=TAKE_S), level)), f"{level:.0f} dB"


def _wrong_fret(rng: np.random.Generator, position: Position) -> Position:
    if position.stop is Stop.OPEN:
        return Position(position.string, Stop.FRET, int(rng.choice([1, 2, 3])))
    fret = position.fret or 0
    away = int(rng.choice([-2, -1, 1, 2], p=[0.1, 0.4, 0.4, 0.1]))
    if fret + away <= 0:
        if position.stop is Stop.FRET or rng.random() < 0.5:
            return Position(position.string, Stop.OPEN)
        away = abs(away)
    return Position(position.string, position.stop, fret + away)


def plan(rng: np.random.Generator, *, good: int, bad: int) -> list[str]:
    """Kinds in a random order, every bad kind about as often."""
    kinds = ["good"] * good + [BAD[i % len(BAD)] for i in range(bad)]
    return [kinds[i] for i in rng.permutation(len(kinds))]


def run(benches: Sequence[Bench], kinds: Sequence[str]) -> Iterator[Result]:
    """Play the kinds through the courses of the benches, one string after the other."""
    todo = list(kinds)
    turn = 0
    while todo:
        bench = benches[turn % len(benches)]
        numbers = [s.number for s in bench.instrument.strings]
        string = numbers[(turn // len(benches)) % len(numbers)]
        turn += 1
        course = string_positions(string, thoroughness=Thoroughness.FULL)
        guide = Guide(bench.instrument, takes=TakeList.planned(course), rate_hz=RATE_HZ)
        feed(guide, bench.room(0.5))
        for position in course:
            while todo and todo[0] != "good":
                yield _try(guide, bench, todo.pop(0), position)
            if not todo:
                return
            result = _try(guide, bench, todo.pop(0), position)
            yield result
            if not result.taken:
                feed(guide, bench.heard(bench.note(position)))


def _try(guide: Guide, bench: Bench, kind: str, position: Position) -> Result:
    sound, detail = (
        (bench.heard(bench.note(position)), "") if kind == "good" else bad_sound(bench, kind, position)
    )
    before = guide.view().taken
    outcomes = feed(guide, sound)
    outcomes += feed(guide, bench.room(SETTLE_S))
    taken = any(take.position == position for take in accepted(outcomes))
    # the open string in place of the note asked for: it was heard as what it is, and replaces its last take
    replucked = any(take.position != position for take in accepted(outcomes))
    reasons = tuple(o.reason for o in refused(outcomes)) + ((Reason.WRONG_FRET,) if replucked else ())
    if kind != "good":
        for _ in range(guide.view().taken - before):
            guide.step(Command.UNDO)
    return Result(
        kind,
        position,
        detail,
        taken,
        reasons,
        tuple(refusal_words(o) for o in refused(outcomes)),
    )
