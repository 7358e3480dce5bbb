"""Reading the takes of one string together: intervals of made and recorded notes, and the order kept."""

from __future__ import annotations

import math
import pickle

import numpy as np
import pytest

from helpers.notes import RATE_HZ, Pair, Strung, made_pair, recorded_pairs
from pitchcheck.clip import Clip
from pitchcheck.errors import BadValue
from pitchcheck.pitch.reading import Reading, Unreadable
from pitchcheck.pitch.string_group import read_group

PLAIN_CENTS = 0.03  # a tenth of what 0.1 mm does to a fretted plain string
RECORDED_MEDIAN_CENTS = (
    0.2  # twice the median of the long FFT on such pairs: a rough guard, the bench is finer
)
SEMITONE = 2 ** (1 / 12)


def read(pair: Pair) -> tuple[float, float]:
    low, high = read_group([pair.lower, pair.upper], expected_hz=pair.expected_hz)
    assert isinstance(low, Reading)
    assert isinstance(high, Reading)
    return 1200 * math.log2(high.hz / low.hz) - pair.cents, math.hypot(low.sd_cents, high.sd_cents)


@pytest.mark.parametrize("hz", [55.0, 146.8, 329.6])
@pytest.mark.parametrize("ratio", [SEMITONE, 2.0])
def test_intervals_of_made_strings(hz: float, ratio: float) -> None:
    error, _ = read(made_pair(np.random.default_rng(1), "plain", Strung(hz), ratio=ratio))
    assert abs(error) < PLAIN_CENTS


def test_intervals_of_recorded_notes() -> None:
    pairs = [p for p in recorded_pairs() if p.kind != "real-glide"]
    assert np.median([abs(read(p)[0]) for p in pairs]) < RECORDED_MEDIAN_CENTS


def test_a_refused_take_keeps_its_place() -> None:
    pair = made_pair(np.random.default_rng(2), "plain", Strung(110.0), ratio=SEMITONE)
    silence = Clip(np.zeros(48_000), RATE_HZ)
    found = read_group([pair.lower, silence, pair.upper], expected_hz=[110.0, 110.0, 116.5])
    assert [type(one) for one in found] == [Reading, Unreadable, Reading]
    assert pickle.loads(pickle.dumps(found[0])) == found[0]


def test_clips_and_expectations_must_match() -> None:
    with pytest.raises(BadValue, match="one for each"):
        read_group([Clip(np.zeros(10), RATE_HZ)], expected_hz=[])


def test_no_clips_no_readings() -> None:
    assert read_group([], expected_hz=[]) == ()
