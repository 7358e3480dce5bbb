"""Notes that glide: taken off before the partials are split, each in its own time, alike in an octave."""

from __future__ import annotations

import math

import numpy as np
import pytest

from helpers.notes import RATE_HZ, Strung, make_note, octave_pair, recorded_pairs
from pitchcheck.clip import Clip
from pitchcheck.pitch.peaks import fast_length
from pitchcheck.pitch.reading import Reading
from pitchcheck.pitch.string_group import read_group
from pitchcheck.pitch.tracks import glide_integral, straightened, take_tracks

GLIDE_CENTS = 8.0
GLIDE = math.expm1(GLIDE_CENTS * math.log(2) / 1200)
TAU_S = 0.7
# the six-point polynomial errs by 5/1024 (pi f / rate)^6 * 64 of a partial at most: 1e-5 at 3 kHz and 48 kHz
STRAIGHT = 1e-4
LEAK_RAD = 0.02  # with the glide in, partials leak into each other by ten times this
TWO_TIMES_CENTS = 0.1  # a third of what 0.1 mm does to a fretted plain string
OCTAVE_CENTS = 0.1  # median; the partials' common deviations are 1.3 cents


def test_a_gliding_tone_is_straightened() -> None:
    t = np.arange(int(RATE_HZ)) / RATE_HZ
    hz = 3000.0
    gliding = np.sin(2 * np.pi * hz * (t + GLIDE * glide_integral(t, tau_s=TAU_S)))
    straight = straightened(Clip(gliding, RATE_HZ), glide=GLIDE, tau_s=TAU_S)
    assert np.max(np.abs(straight - np.sin(2 * np.pi * hz * t))[10:-10]) < STRAIGHT


def test_tracks_of_a_gliding_note_do_not_leak() -> None:
    strung = Strung(
        130.0, inharmonicity=2.6e-5, seconds=1.0, snr_db=200.0, decay_s=TAU_S, glide_cents=GLIDE_CENTS
    )
    clip = make_note(np.random.default_rng(1), strung).clip
    tracks = take_tracks(clip, hz=strung.hz, inharmonicity=strung.inharmonicity, glide=GLIDE, tau_s=TAU_S)
    turn = np.unwrap(np.angle(tracks.z[: strung.partials]), axis=1)
    assert np.median(np.std(turn, axis=1)) < LEAK_RAD


@pytest.mark.parametrize("seed", range(3))
def test_two_glides_that_fade_in_different_times(seed: int) -> None:
    rng = np.random.default_rng(seed)
    low = make_note(rng, Strung(110.0, glide_cents=6.0, decay_s=1.1)).clip
    high = make_note(rng, Strung(116.5, glide_cents=3.0, decay_s=0.5)).clip
    found = read_group([low, high], expected_hz=[110.0, 116.5])
    assert isinstance(found[0], Reading)
    assert isinstance(found[1], Reading)
    error = 1200 * math.log2(found[1].hz / found[0].hz * 110.0 / 116.5)
    assert abs(error) < TWO_TIMES_CENTS


def test_an_octave_of_recorded_notes() -> None:
    errors = []
    rng = np.random.default_rng(5)
    for pair in [p for p in recorded_pairs() if p.kind != "real-glide"][:6]:
        octave = octave_pair(rng, pair)
        low, high = read_group([octave.lower, octave.upper], expected_hz=octave.expected_hz)
        assert isinstance(low, Reading)
        assert isinstance(high, Reading)
        errors.append(abs(1200 * math.log2(high.hz / low.hz) - octave.cents))
    assert np.median(errors) < OCTAVE_CENTS


def test_lengths_of_a_quick_transform_agree_with_scipy() -> None:
    from scipy.fft import next_fast_len

    lengths = [*range(1, 400), 23_998, 44_100, 47_999, 96_001]
    assert [fast_length(n) for n in lengths] == [next_fast_len(n, real=True) for n in lengths]
