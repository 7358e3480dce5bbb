"""Peaks of a spectrum: tones of known pitch and level come back, and where the limits of taking them lie."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcheck.clip import Clip
from pitchcheck.pitch.peaks import Peaks, _rank, _strongest_apart, find_peaks

RATE_HZ = 48_000.0
SECONDS = 0.5


def clip(tones: dict[float, float], *, seconds: float = SECONDS, steady: float = 0.0) -> Clip:
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    parts = [a * np.cos(2 * np.pi * hz * t + hz) for hz, a in tones.items()]
    return Clip(np.sum(parts, axis=0) + steady, RATE_HZ)


def found(peaks: Peaks, hz: float) -> bool:
    return bool(np.any(np.abs(peaks.hz - hz) < 2.0))


def test_tones_come_back_with_their_pitch_and_level() -> None:
    tones = {110.3: 0.2, 331.7: 0.5, 778.1: 0.03, 5411.9: 0.1}
    peaks = find_peaks(clip(tones, steady=0.4))
    main = peaks.amplitude > 0.02  # side lobes of the strongest lie 41 dB below it
    # A parabola through the logarithms of a Hann window's main lobe, twice finer than its width by zeros:
    # at most 1 % of a bin wide of the truth (by trying all places), and 1.5 dB of scalloping / 4.
    assert peaks.hz[main] == pytest.approx(list(tones), abs=0.02)
    assert peaks.amplitude[main] == pytest.approx(list(tones.values()), rel=0.045)
    assert peaks.width_hz == 2 / SECONDS  # first zero of a Hann window: two steps of 1 / duration


@pytest.mark.parametrize("place", np.linspace(0.0, 1.0, 5))
def test_a_tone_between_two_bins_is_placed_between_them(place: float) -> None:
    step_hz = 1 / (2 * SECONDS)
    hz = 440.0 + place * step_hz
    peaks = find_peaks(clip({hz: 0.3}))
    assert peaks.hz[np.argmax(peaks.amplitude)] == pytest.approx(hz, abs=0.02)


@pytest.mark.parametrize(("below_db", "taken"), [(46.0, True), (54.0, False)])
def test_peaks_far_below_the_strongest_are_left_out(below_db: float, taken: bool) -> None:
    peaks = find_peaks(clip({400.0: 0.5, 2000.0: 0.5 * 10 ** (-below_db / 20)}))
    assert found(peaks, 400.0)
    assert found(peaks, 2000.0) is taken


@pytest.mark.parametrize(("hz", "taken"), [(25.5, True), (21.5, False), (5600.0, True), (6500.0, False)])
def test_only_where_strings_sound(hz: float, taken: bool) -> None:
    assert found(find_peaks(clip({hz: 0.2, 1000.0: 0.2}, seconds=1.5)), hz) is taken


def test_of_many_peaks_the_strongest_forty_are_kept() -> None:
    level = dict(zip(np.arange(200.0, 5900.0, 100.0), np.random.default_rng(1).permutation(57), strict=True))
    peaks = find_peaks(clip({hz: 0.01 + 0.0005 * n for hz, n in level.items()}))
    strongest = sorted(hz for hz, n in level.items() if n >= 57 - 40)
    assert peaks.hz == pytest.approx(strongest, abs=0.2)


def test_half_of_the_tones_at_the_limit_above_noise_are_taken() -> None:
    # Noise of standard deviation s gives a bin of a windowed spectrum, scaled so that a tone shows its
    # amplitude, the rms 2 s sqrt(sum w^2) / sum w; its 30th percentile is sqrt(-ln 0.7) of that (Rayleigh).
    # A tone of four times 1.5 times that percentile is over the limit as often as under; one a fifth stronger
    # or weaker 84 or 16 times of 100.
    rng = np.random.default_rng(2)
    size, sigma = round(SECONDS * RATE_HZ), 0.05
    window = np.hanning(size)
    rms = 2 * sigma * np.sqrt(np.sum(window**2)) / window.sum()
    amplitude = 4 * 1.5 * np.sqrt(-np.log(0.7)) * rms
    tones = dict.fromkeys(np.arange(300.0, 5900.0, 387.0), amplitude)
    taken = []
    for _ in range(16):
        sound = clip(tones).samples + sigma * rng.normal(size=size)
        peaks = find_peaks(Clip(sound, RATE_HZ))
        taken += [found(peaks, hz) for hz in tones]
    assert 0.36 < np.mean(taken) < 0.56  # of 240: half, give or take 3 sd, less as the tones lift the floor


def test_noise_alone_has_hardly_a_peak() -> None:
    rng = np.random.default_rng(3)
    counts = [find_peaks(Clip(rng.normal(size=24_000), RATE_HZ)).hz.size for _ in range(10)]
    assert np.mean(counts) < 3.0  # of 3,000 bins: less than one in a thousand


@pytest.mark.parametrize(("width", "share"), [(5, 0.3), (8, 0.3), (9, 0.5), (10, 0.75)])
def test_the_noise_around_is_a_percentile_of_the_neighbours(width: int, share: float) -> None:
    values = np.random.default_rng(4).normal(size=37)
    mirrored = np.concatenate([values[::-1], values, values[::-1]])
    for i, one in enumerate(_rank(values, share=share, width=width)):
        first = values.size + i - width // 2
        near = np.sort(mirrored[first : first + width])
        assert one == near[int(share * width)]


@pytest.mark.parametrize(
    ("levels", "kept"),
    [
        ({100: 1.0, 115: 0.055}, [100, 115]),  # near, but no side lobe: more than a twentieth
        ({100: 1.0, 115: 0.045}, [100]),
        ({100: 1.0, 117: 0.01}, [100, 117]),  # beyond 1.6 widths nothing is a side lobe
        ({100: 1.0, 106: 0.9}, [100, 106]),
        ({100: 1.0, 104: 0.9}, [100]),  # within half a width it is the same peak
        ({83: 0.01, 100: 1.0, 94: 0.06}, [83, 94, 100]),
    ],
)
def test_side_lobes_are_no_peaks(levels: dict[int, float], kept: list[int]) -> None:
    spectrum = np.zeros(200)
    spectrum[list(levels)] = list(levels.values())
    assert _strongest_apart(np.array(sorted(levels)), spectrum, 10.0).tolist() == kept
