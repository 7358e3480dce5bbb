"""Partials of two modes are parted: known exponentials, and made strings of two polarisations."""

from __future__ import annotations

import math

import numpy as np
import pytest

from helpers.notes import Strung, made_pair
from pitchcheck.pitch.beats import part_modes
from pitchcheck.pitch.reading import Reading
from pitchcheck.pitch.string_group import read_group
from pitchcheck.pitch.tracks import Tracks

SEMITONE = 2 ** (1 / 12)
NOISE = 1e-3  # amplitude of each block's noise, re the first mode: 60 dB
LEFT = (
    0.02  # share of the first mode that may be left of the second: it is known to about ten times the noise
)
BEATING_CENTS = 0.1  # a quarter of what is asked for at the 95th percentile, for notes of a second


def tracks(second: float, *, beat_hz: float = 0.9) -> tuple[Tracks, np.ndarray]:
    """Four tracks of one second, 20 ms a block, and their first modes alone."""
    rng = np.random.default_rng(5)
    time_s = np.arange(50) * 0.02
    rate = -np.array([1.0, 1.5, 2.0, 3.0])[:, None] + 2j * np.pi * 0.05
    first = np.exp(rate * time_s)
    other = second * np.exp((rate / 1.5 + 2j * np.pi * beat_hz) * time_s + 1j)
    noise = NOISE * rng.normal(size=(2, *first.shape)) / math.sqrt(2)
    number = np.arange(1.0, 5.0)
    z = first + other + noise[0] + 1j * noise[1]
    return Tracks(number, 200 * number, z, np.full(4, NOISE**2), time_s, 0.0, np.zeros(50)), first


def test_a_second_mode_is_taken_out_before_a_whole_beat_is_heard() -> None:
    mixed, first = tracks(0.4)
    split_modes = part_modes(mixed, np.zeros(mixed.z.shape))
    assert split_modes is not None
    assert split_modes.beating.all()
    assert np.abs(split_modes.tracks.z - first).max() < LEFT
    assert (split_modes.tracks.noise >= mixed.noise).all()


def test_a_single_mode_is_left_as_it_is() -> None:
    single, _ = tracks(0.0)
    split_modes = part_modes(single, np.zeros(single.z.shape))
    assert split_modes is not None
    assert not split_modes.beating.any()
    assert np.array_equal(split_modes.tracks.z, single.z)


@pytest.mark.parametrize("seed", range(3))
def test_interval_of_two_strings_that_beat(seed: int) -> None:
    strung = Strung(130.8, seconds=1.0, beat=0.4, beat_hz=0.6)
    pair = made_pair(np.random.default_rng(seed), "beating", strung, ratio=SEMITONE)
    low, high = read_group([pair.lower, pair.upper], expected_hz=pair.expected_hz)
    assert isinstance(low, Reading)
    assert isinstance(high, Reading)
    assert abs(1200 * math.log2(high.hz / low.hz) - pair.cents) < BEATING_CENTS
