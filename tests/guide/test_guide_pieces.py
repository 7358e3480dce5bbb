"""The same sound gives the same outcomes, however it is cut into pieces."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from helpers.guide import RATE_HZ, Bench, drive, feed, make_bench
from helpers.guide_sounds import damped, tap
from pitchcheck.guide.events import Accepted, Outcome, Sound
from pitchcheck.guide.guide import Guide
from pitchcheck.guide.take_list import TakeList
from pitchcheck.hearing.block_buffer import BlockBuffer
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray

COURSE = (Position(1, Stop.OPEN), Position(1, Stop.FRET, 1))


@cache
def bench() -> Bench:
    return make_bench(np.random.default_rng(3), "tenor ukulele", noise_db=-50.0)


@cache
def stream() -> FloatArray:
    """A tap, a good open take, a take stopped too soon, and a good fretted one."""
    one, two = (bench().note(position, seconds=2.0) for position in COURSE)
    knock = 0.2 * tap(bench().rng, rate_hz=RATE_HZ, seconds=1.0)
    short = damped(bench().rng, two[:48_000], rate_hz=RATE_HZ, end_s=0.4)
    return bench().heard(np.concatenate([np.zeros(24_000), knock, one, short, two]))


def told(outcome: Outcome) -> object:
    """An outcome as something that can be compared."""
    if isinstance(outcome, Accepted):
        return outcome.number, outcome.position, outcome.reading, outcome.clip.samples.tobytes()
    return outcome


def outcomes(pieces: list[FloatArray]) -> list[object]:
    guide = Guide(bench().instrument, takes=TakeList.planned(COURSE), rate_hz=RATE_HZ)
    return [told(outcome) for outcome in drive(guide, (Sound(piece) for piece in pieces))]


@cache
def whole() -> list[object]:
    return outcomes([stream()])


def test_what_the_stream_holds() -> None:
    kinds = [outcome if isinstance(outcome, tuple) else type(outcome).__name__ for outcome in whole()]
    assert [kind if isinstance(kind, str) else kind[0] for kind in kinds] == [
        "Refused",
        1,
        "Refused",
        2,
        "Finished",
    ]


@pytest.mark.parametrize("size", [64, 480, 4801, 100_000])
def test_pieces_of_one_size(size: int) -> None:
    assert outcomes([stream()[i : i + size] for i in range(0, stream().size, size)]) == whole()


def test_pieces_of_any_size() -> None:
    sizes = np.random.default_rng(5).integers(1, 20_000, 400).cumsum()
    assert outcomes(np.split(stream(), sizes[sizes < stream().size])) == whole()


def test_pieces_of_one_sample() -> None:
    start = stream()[:72_000]  # the tap and what follows it
    guide = Guide(bench().instrument, takes=TakeList.planned(COURSE), rate_hz=RATE_HZ)
    assert feed(guide, start, piece=1) == whole()[:1]


def test_the_callers_memory_may_be_used_again() -> None:
    memory = np.ones(100)
    pieces = BlockBuffer()
    pieces.add(memory)
    memory[:] = 0.0
    assert pieces.take(100).tolist() == [1.0] * 100
