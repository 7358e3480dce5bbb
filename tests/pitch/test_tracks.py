"""Tracks of partials: made of exponentials whose amplitude, phase and noise are known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate

from pitchcheck.clip import Clip
from pitchcheck.pitch.tracks import (
    Tracks,
    _ahead,
    _interpolated,
    glide_integral,
    law_hz,
    leaked,
    periods_of,
    spread,
    straightened,
    take_tracks,
    track_noise,
)

RATE_HZ = 48_000.0


def test_partials_of_a_stiff_string_lie_sharp() -> None:
    assert law_hz(np.array([1.0, 10.0]), hz=100.0, inharmonicity=1e-3) == pytest.approx(
        [100.0 * math.sqrt(1.001), 1000.0 * math.sqrt(1.1)]
    )


@pytest.mark.parametrize(("hz", "periods"), [(41.2, 2), (160.0, 2), (180.0, 3), (440.0, 6), (1000.0, 12)])
def test_a_block_lasts_two_periods_and_twelve_milliseconds(hz: float, periods: int) -> None:
    assert periods_of(hz) == periods


@pytest.mark.parametrize("tau_s", [0.3, 2.0])
def test_the_glide_is_integrated(tau_s: float) -> None:
    for t in (0.0, 0.1, 1.5):
        found = float(glide_integral(np.array(t), tau_s=tau_s))
        assert found == pytest.approx(integrate.quad(lambda x: math.exp(-2 * x / tau_s), 0, t)[0])


def test_how_far_a_gliding_note_is_ahead() -> None:
    # At true time t a gliding note is where a steady one comes at t + g G(t).
    t = np.linspace(0.0, 2.0, 9)
    gained = 6e-3 * glide_integral(t, tau_s=0.5)
    assert _ahead(t + gained, glide=6e-3, tau_s=0.5) == pytest.approx(gained, rel=1e-5, abs=1e-12)


@pytest.mark.parametrize("degree", range(6))
def test_six_points_give_a_polynomial_back(degree: int) -> None:
    rng = np.random.default_rng(degree)
    wave = np.poly1d(rng.normal(size=degree + 1))
    x = np.array([[0.3, -0.4, 0.99]])
    places = np.arange(8.0)
    around = wave(places - 2.0)[None]
    # value x after the third of each six in a row
    expected = [wave(i + x[0, i]) for i in range(3)]
    assert _interpolated(around, x.copy())[0] == pytest.approx(expected, rel=1e-8, abs=1e-8)


@pytest.mark.parametrize("size", [31, 4800, 20_011])
@pytest.mark.parametrize("glide", [8e-3, -3e-3])
def test_a_gliding_sound_becomes_a_steady_one(size: int, glide: float) -> None:
    t = np.arange(size) / RATE_HZ
    sound = np.sin(2 * np.pi * 500.0 * (t + glide * glide_integral(t, tau_s=0.4)) + 0.7)
    steady = straightened(Clip(sound, RATE_HZ), glide=glide, tau_s=0.4)
    assert steady.size == size
    # the glide is straight over 64 samples, to 1e-8 s; what lies beyond the clip's end is not known
    whole = slice(4, -max(3, math.ceil(-glide * 0.2 * RATE_HZ) + 3))
    assert steady[whole] == pytest.approx(np.sin(2 * np.pi * 500.0 * t + 0.7)[whole], abs=4e-5)


def test_values_are_filled_up_or_cut() -> None:
    assert spread(np.array([1.0, 2.0]), 4).tolist() == [1.0, 2.0, 0.0, 0.0]
    assert spread(np.array([1.0, 2.0, 3.0]), 2).tolist() == [1.0, 2.0]


NUMBER = np.arange(1.0, 7.0)


def sound(
    seconds: float, *, glide: float = 0.0, tau_s: float = 1.0, own: float = 0.0, fall: float = 0.0
) -> Clip:
    """Six partials of 200 Hz, B 1e-4, of amplitude 1 / k and phase k, with a steady offset."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    hz = law_hz(NUMBER, hz=200.0, inharmonicity=1e-4)
    hz[2] *= 1 + own
    time = t + glide * glide_integral(t, tau_s=tau_s)
    angle = 2 * np.pi * hz[:, None] * time + NUMBER[:, None]
    return Clip(np.sum(np.exp(-fall * t) / NUMBER[:, None] * np.cos(angle), axis=0) + 0.1, RATE_HZ)


def test_tracks_hold_amplitude_and_phase_at_the_middle_of_each_block() -> None:
    tracks = take_tracks(sound(0.5), hz=200.0, inharmonicity=1e-4)
    block = round(3 * RATE_HZ / 200.0)
    count = 24_000 // block
    assert tracks.time_s == pytest.approx((np.arange(count) * block + (block - 1) / 2) / RATE_HZ)
    assert tracks.ahead_s == pytest.approx(np.zeros(count), abs=1e-15)
    hz = law_hz(NUMBER, hz=200.0, inharmonicity=1e-4)
    assert tracks.hz[:6] == pytest.approx(hz)
    assert tracks.inharmonicity == 1e-4
    start = np.exp(1j * (2 * np.pi * hz * tracks.time_s[0] + NUMBER)) / NUMBER
    assert np.abs(tracks.z[:6] - start[:, None]).max() < 1e-6
    assert np.abs(tracks.z[6:]).max() < 1e-6


def test_a_glide_a_partial_off_the_law_and_decay_are_followed() -> None:
    clip = sound(0.5, glide=5e-3, tau_s=0.4, own=3e-3, fall=9.0)
    own = np.zeros(6)
    own[2] = 3e-3
    tracks = take_tracks(
        clip, hz=200.0, inharmonicity=1e-4, glide=5e-3, tau_s=0.4, own=own, fall=np.full(6, 9.0)
    )
    # the time at which the note was where a steady one would be at the block's middle
    true_s = tracks.time_s + 5e-3 * glide_integral(tracks.time_s, tau_s=0.4)
    assert tracks.time_s + tracks.ahead_s == pytest.approx(true_s, abs=1e-9)
    level = np.exp(-9.0 * tracks.time_s) / NUMBER[:, None]
    # within a block the straightened note's decay is even to 0.5 % of what it loses (5 % of a block)
    assert np.abs(tracks.z[:6]) == pytest.approx(level, rel=1e-3)
    angle = np.angle(tracks.z[:6] * np.conj(tracks.z[:6, :1]))
    assert np.abs(angle).max() < 2e-3
    assert tracks.hz[2] == pytest.approx(law_hz(NUMBER, hz=200.0, inharmonicity=1e-4)[2] * 1.003)


@pytest.mark.parametrize(
    ("rate_hz", "hz", "count"), [(48_000.0, 100.0, 32), (48_000.0, 500.0, 13), (8_000.0, 500.0, 7)]
)
def test_partials_are_fitted_up_to_where_they_sound(rate_hz: float, hz: float, count: int) -> None:
    # 32 at most, below 7 kHz, and below 0.45 of the sampling rate.
    rng = np.random.default_rng(1)
    clip = Clip(rng.normal(size=round(0.3 * rate_hz)), rate_hz)
    assert take_tracks(clip, hz=hz, inharmonicity=0.0).number.tolist() == list(range(1, count + 1))


def test_the_length_of_a_block_may_be_told() -> None:
    clip = sound(0.5)
    assert take_tracks(clip, hz=200.0, inharmonicity=0.0, periods=5.0).time_s.size == 24_000 // 1200


def test_a_neighbour_leaks_by_a_hundredth_and_less_with_distance() -> None:
    z = np.array([[1.0, 2.0], [0.1, 0.1j], [3.0, 0.0]], dtype=complex)
    tracks = Tracks(np.array([1.0, 2.0, 5.0]), np.ones(3), z, np.ones(3), np.arange(2.0), 0.0, np.zeros(2))
    energy = [5.0, 0.02, 9.0]
    expected = [
        1e-4 * (energy[1] + energy[2] / 16),
        1e-4 * (energy[0] + energy[2] / 9),
        1e-4 * (energy[0] / 16 + energy[1] / 9),
    ]
    assert leaked(tracks) == pytest.approx(expected)


def noisy(rng: np.random.Generator, *, count: int, sigma: float = 0.1, partials: int = 20) -> np.ndarray:
    noise = rng.normal(size=(2, partials, count)) * sigma / math.sqrt(2)
    turn = np.exp((-0.05 + 0.4j) * np.arange(count))
    return np.asarray(turn + noise[0] + 1j * noise[1])


@pytest.mark.parametrize("count", [200, 7])
def test_noise_is_told_from_the_note(count: int) -> None:
    # Complex noise of variance 0.01 about a note that turns and dies away. The median of its squared third
    # (second) differences is ln 2 of their mean, 20 (6) times the variance: sums of the squared binomials.
    rng = np.random.default_rng(2)
    z = noisy(rng, count=count, partials=60)
    found = np.exp(np.mean(np.log(track_noise(z))))
    assert found == pytest.approx(0.01, rel=0.06 if count == 200 else 0.25)


def test_a_single_loud_track_is_smoothed_over_its_neighbours() -> None:
    rng = np.random.default_rng(3)
    z = noisy(rng, count=400, partials=9)
    calm = track_noise(z)
    louder = z.copy()
    louder[4] = noisy(rng, count=400, partials=1, sigma=1.0)[0]
    found = track_noise(louder)
    # halfway between the neighbours' level and its own, by logarithm; the neighbours keep theirs
    assert found[4] == pytest.approx(math.sqrt(1.0 * 0.01), rel=0.3)
    assert np.delete(found, 4) == pytest.approx(np.delete(calm, 4), rel=0.3)
    quiet = z.copy()
    quiet[4] = noisy(rng, count=400, partials=1, sigma=0.01)[0]
    assert track_noise(quiet)[4] == pytest.approx(0.01, rel=0.3)  # never below the neighbours'


def test_a_note_without_noise_has_next_to_none() -> None:
    z = np.exp((-0.05 + 0.4j) * np.arange(50))[None] * np.ones((3, 1))
    assert np.all(track_noise(z) < 1e-9)


def test_tracks_may_be_replaced_in_part() -> None:
    tracks = take_tracks(sound(0.2), hz=200.0, inharmonicity=0.0)
    assert replace(tracks, noise=2 * tracks.noise).noise == pytest.approx(2 * tracks.noise)
