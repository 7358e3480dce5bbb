"""The simulated pluck against independent references: long FFT, filters and fits of numpy and scipy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.signal import butter, hilbert, sosfiltfilt

from pitchcheck.clip import Clip
from pitchcheck.errors import BadValue
from pitchcheck.simulate.body import Body, Mode, random_body
from pitchcheck.simulate.pluck import PluckSound, Tone, pluck
from pitchcheck.types import FloatArray
from pitchcheck.units import cents_between

RATE_HZ = 48000.0
PLAIN = PluckSound(glide_cents=0.0, second_level=0.0, thump_db=-np.inf)
# A 2^22-point FFT of 4 s has bins of 0.011 Hz; the parabola through a Gaussian window's peak is good to a
# thousandth of a bin. The bound is 5 times finer than the 0.05 cent asked of a reading.
FFT_TOLERANCE_CENTS = 0.01
DECAY_TOLERANCE = 0.01  # relative; the envelope of one partial alone is exact but for its neighbours' leakage
YIN_TOLERANCE_CENTS = (
    8.0  # YIN is good to some cents on stiff strings; this only guards the octave and the rate
)


def _sound(seed: int = 1, *, hz: float = 196.0, inharmonicity: float = 1e-4, **how: object) -> Clip:
    settings = {"sound": PLAIN, "rate_hz": RATE_HZ, "duration_s": 4.2} | how
    return pluck(np.random.default_rng(seed), tone=Tone(hz, inharmonicity), **settings)


def _peak_hz(samples: FloatArray, *, near_hz: float, rate_hz: float = RATE_HZ) -> float:
    """Frequency of a partial, by a long Gaussian-windowed FFT and a parabola through the log peak."""
    n = np.arange(samples.size) - samples.size / 2
    padded = 2**22
    spectrum = np.abs(np.fft.rfft(samples * np.exp(-0.5 * (n / (samples.size / 8)) ** 2), padded))
    bins = padded / rate_hz
    low, high = round((near_hz - 15) * bins), round((near_hz + 15) * bins)
    top = low + int(np.argmax(spectrum[low:high]))
    a, b, c = np.log(spectrum[top - 1 : top + 2])
    return float((top + 0.5 * (a - c) / (a - 2 * b + c)) / bins)


def _band(clip: Clip, hz: float) -> FloatArray:
    """Envelope of one partial."""
    wide = butter(4, [hz - 40, hz + 40], "bandpass", fs=clip.rate_hz, output="sos")
    return np.asarray(np.abs(hilbert(sosfiltfilt(wide, clip.samples))))


@pytest.mark.parametrize("k", [1, 2, 3, 7, 12])
def test_partials_follow_the_stiff_string_law(k: int) -> None:
    """Fletcher (1964): f_k = k f0 sqrt(1 + B k^2)."""
    clip = _sound()
    law_hz = k * 196.0 * np.sqrt(1 + 1e-4 * k**2)
    heard_hz = _peak_hz(clip.samples[round(0.2 * RATE_HZ) :], near_hz=law_hz)
    assert cents_between(law_hz, heard_hz) == pytest.approx(0, abs=FFT_TOLERANCE_CENTS)


def test_the_same_string_is_heard_at_another_rate() -> None:
    clip = _sound(rate_hz=44100.0)
    assert clip.rate_hz == 44100.0
    assert clip.duration_s == pytest.approx(4.2, abs=1e-4)
    heard_hz = _peak_hz(clip.samples[round(0.2 * 44100) :], near_hz=196.0, rate_hz=44100.0)
    assert cents_between(196.0 * np.sqrt(1 + 1e-4), heard_hz) == pytest.approx(0, abs=FFT_TOLERANCE_CENTS)


@pytest.mark.parametrize("k", [1, 4, 9])
def test_decay_grows_with_frequency_as_set(k: int) -> None:
    clip = _sound(inharmonicity=0.0)
    hz = k * 196.0
    expected_s = PLAIN.decay_s / (1 + hz / PLAIN.decay_corner_hz)
    envelope = _band(clip, hz)[round(0.4 * RATE_HZ) : round(1.6 * RATE_HZ)]
    slope = np.polyfit(np.arange(envelope.size) / RATE_HZ, np.log(envelope), 1)[0]
    assert -1 / slope == pytest.approx(expected_s, rel=DECAY_TOLERANCE)


def test_pluck_place_leaves_out_the_partials_with_a_node_there() -> None:
    clip = _sound(inharmonicity=0.0, sound=replace(PLAIN, place=0.25))
    fourth, fifth = (_band(clip, k * 196.0)[round(0.3 * RATE_HZ)] for k in (4, 5))
    assert fourth < 0.01 * fifth


def test_glide_starts_sharp_and_settles_with_half_the_decay_time() -> None:
    sound = replace(PLAIN, glide_cents=8.0)
    clip = _sound(inharmonicity=0.0, sound=sound)
    band = butter(4, [150, 250], "bandpass", fs=RATE_HZ, output="sos")
    phase = np.unwrap(np.angle(hilbert(sosfiltfilt(band, clip.samples))))
    time_s = np.arange(phase.size) / RATE_HZ - sound.start_s
    part = (time_s > 0.05) & (time_s < 3.5)

    def turned(t: FloatArray, start: float, hz: float, sharp: float, tau: float) -> FloatArray:
        return np.asarray(start + 2 * np.pi * hz * (t - sharp * tau / 2 * np.expm1(-2 * t / tau)))

    guess = (phase[part][0], 196.0, 0.004, 1.0)
    (_, hz, sharp, tau), _ = curve_fit(turned, time_s[part][::40], phase[part][::40], p0=guess)
    assert cents_between(196.0, hz) == pytest.approx(0, abs=FFT_TOLERANCE_CENTS)
    assert 1200 * np.log2(1 + sharp) == pytest.approx(8.0, rel=0.02)
    assert tau == pytest.approx(sound.decay_s, rel=0.02)


def test_two_polarisations_beat_at_their_difference() -> None:
    clip = _sound(
        hz=440.0,
        inharmonicity=0.0,
        sound=replace(PLAIN, second_level=0.8, second_cents=10.0, second_decay=1.0),
    )
    envelope = _band(clip, 440.0)[round(0.3 * RATE_HZ) : round(3.9 * RATE_HZ)]
    level = np.log(envelope)
    level -= np.polyval(np.polyfit(np.arange(level.size), level, 1), np.arange(level.size))
    spectrum = np.abs(np.fft.rfft(level * np.hanning(level.size), 2**20))
    beat_hz = (10 + np.argmax(spectrum[10:200])) * RATE_HZ / 2**20
    assert beat_hz == pytest.approx(440 * (2 ** (10 / 1200) - 1), abs=0.15)


def test_a_body_mode_pushes_a_partial_away_by_its_pull() -> None:
    mode = Mode(hz=400.0, quality=20.0, pull_cents=2.0)
    half_bandwidth = 400.0 / 40
    clip = _sound(hz=400.0 + half_bandwidth, inharmonicity=0.0, body=Body((mode,)))
    heard = _peak_hz(clip.samples[round(0.2 * RATE_HZ) :], near_hz=410.0)
    assert cents_between(410.0, heard) == pytest.approx(2.0, abs=FFT_TOLERANCE_CENTS)


def test_a_lively_body_pulls_about_as_much_as_real_ones() -> None:
    """Recorded notes lie a median of 1.3 cents rms off the law; ours must be of that order."""
    spread = [
        np.std(random_body(np.random.default_rng(seed), pull_cents=2.0).pull_cents(110.0 * np.arange(1, 21)))
        for seed in range(40)
    ]
    assert 0.5 < np.median(spread) < 2.0


def test_level_quiet_before_the_pluck_and_seed() -> None:
    clip = _sound(sound=replace(PLAIN, level_db=-6.0))
    assert np.max(np.abs(clip.samples)) == pytest.approx(10 ** (-6 / 20), rel=1e-6)
    assert not clip.samples[: round(PLAIN.start_s * RATE_HZ)].any()
    again, other = _sound(sound=replace(PLAIN, level_db=-6.0)), _sound(2, sound=replace(PLAIN, level_db=-6.0))
    assert np.array_equal(clip.samples, again.samples)
    assert not np.array_equal(clip.samples, other.samples)


def test_thump_is_over_before_the_note_is_read() -> None:
    loud = _sound(sound=replace(PLAIN, thump_db=-6.0)).samples - _sound().samples
    first = round(PLAIN.start_s * RATE_HZ)
    assert np.max(np.abs(loud[first:])) == pytest.approx(10 ** (-18 / 20), rel=1e-6)
    assert np.max(np.abs(loud[first + round(0.15 * RATE_HZ) :])) < 1e-6


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"hz": 0.0}, "tone.hz"),
        ({"rate_hz": -1.0}, "rate_hz"),
        ({"hz": 9000.0}, "below"),
        ({"duration_s": 0.1}, "before the pluck"),
    ],
)
def test_impossible_plucks_are_refused(how: dict[str, float], words: str) -> None:
    with pytest.raises(BadValue, match=words):
        _sound(**how)
