"""Phases of partials followed and reduced: against least squares written out, and tracks of known turning."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pitchcheck.pitch.medians import median, pairs, row_medians
from pitchcheck.pitch.partial_slopes import (
    _kernel,
    _own_line,
    _smoothed,
    envelopes,
    fit_slopes,
    phase_left,
    project,
    unexplained,
)
from pitchcheck.pitch.tracks import Tracks, glide_integral

STEP_S = 0.01


def tracks(
    z: np.ndarray, *, noise: float | np.ndarray = 1e-6, hz: np.ndarray | None = None, step_s: float = STEP_S
) -> Tracks:
    count = z.shape[0]
    number = np.arange(1.0, count + 1)
    level = np.broadcast_to(noise, (count,)).astype(float)
    time_s = 0.005 + step_s * np.arange(z.shape[1])
    return Tracks(number, 100.0 * number if hz is None else hz, z, level, time_s, 0.0, np.zeros(z.shape[1]))


def test_medians_are_those_of_numpy() -> None:
    rng = np.random.default_rng(1)
    for count in (1, 2, 5, 8):
        rows = rng.normal(size=(3, count))
        assert row_medians(rows) == pytest.approx(np.median(rows, axis=1))
        assert median(rows[0]) == pytest.approx(np.median(rows[0]))


def test_pairs_of_places() -> None:
    first, second = pairs(3, itself=True)
    assert list(zip(first.tolist(), second.tolist(), strict=True)) == [
        (0, 0),
        (0, 1),
        (0, 2),
        (1, 1),
        (1, 2),
        (2, 2),
    ]
    first, second = pairs(3, itself=False)
    assert list(zip(first.tolist(), second.tolist(), strict=True)) == [(0, 1), (0, 2), (1, 2)]


@pytest.mark.parametrize("size", [1, 3, 7])
def test_smoothing_is_a_convolution(size: int) -> None:
    rng = np.random.default_rng(2)
    rows, kernel = rng.normal(size=(2, 20)), rng.normal(size=size)
    for row, smooth in zip(rows, _smoothed(rows, kernel), strict=True):
        full = np.convolve(row, kernel)
        assert smooth == pytest.approx(full[size // 2 : size // 2 + 20])


@pytest.mark.parametrize(
    ("step_s", "count", "half"), [(0.01, 100, 6), (0.012, 100, 5), (0.01, 24, 4), (0.5, 100, 1), (0.02, 4, 1)]
)
def test_envelopes_are_smoothed_over_sixty_milliseconds(step_s: float, count: int, half: int) -> None:
    kernel = _kernel(tracks(np.ones((1, count), dtype=complex), step_s=step_s))
    width = 2 * half + 2
    assert kernel == pytest.approx(
        np.sin(np.pi * np.arange(1, width) / width) ** 2
    )  # Hann, without its zeros


def test_an_envelope_is_the_amplitude_less_the_noise() -> None:
    rng = np.random.default_rng(3)
    sigma2 = 0.09
    noise = rng.normal(size=(2, 40, 400)) * math.sqrt(sigma2 / 2)
    noisy = tracks(0.5 + noise[0] + 1j * noise[1], noise=sigma2)
    assert np.mean(envelopes(noisy) ** 2) == pytest.approx(0.25, rel=0.05)
    # edges as the middle: the smoothing's weight is that of what is there
    assert envelopes(tracks(np.full((1, 30), 2.0 + 0j)))[0] == pytest.approx(2.0, rel=1e-5)
    # where nothing is left after the noise, a fiftieth of it in power
    assert envelopes(tracks(np.zeros((1, 30), dtype=complex), noise=0.5))[0] == pytest.approx(0.1)


@pytest.mark.parametrize("off_hz", [-0.9, 0.0, 0.37, 1.1])
def test_a_partial_off_the_model_is_found(off_hz: float) -> None:
    t = STEP_S * np.arange(100)
    z = np.exp(2j * np.pi * off_hz * t) * np.hanning(100)
    found = _own_line(np.array([z]), step_s=STEP_S, hz=np.array([100.0]))
    assert found / (2 * np.pi) == pytest.approx([off_hz], abs=0.01)


def test_a_peak_between_two_bins_is_the_top_of_the_parabola_through_three() -> None:
    t = STEP_S * np.arange(100)
    z = np.exp(2j * np.pi * 0.33 * t) * np.hanning(100)
    found = float(_own_line(np.array([z]), step_s=STEP_S, hz=np.array([100.0]))[0]) / (2 * np.pi)
    bin_hz = 1 / (STEP_S * 512)  # four times as many points as blocks, and up to a power of two
    level = [abs(np.sum(z * np.exp(-2j * np.pi * k * bin_hz * t))) for k in (1, 2, 3)]
    assert level[1] == max(level)
    square, slope, _ = np.polyfit([1.0, 2.0, 3.0], level, 2)
    assert found == pytest.approx(-slope / (2 * square) * bin_hz, rel=1e-9)


@pytest.mark.parametrize(
    ("off_hz", "hz", "found"),
    [(10.8, 1000.0, True), (13.2, 1000.0, False), (1.3, 10.0, True), (1.8, 10.0, False)],
)
def test_a_partial_is_sought_within_twenty_cents_or_a_period_and_a_half(
    off_hz: float, hz: float, found: bool
) -> None:
    # 1.2 % of its pitch, or 1.5 turns in the stretch of a second.
    z = np.exp(2j * np.pi * off_hz * STEP_S * np.arange(100))
    line = _own_line(np.array([z]), step_s=STEP_S, hz=np.array([hz]))[0] / (2 * np.pi)
    assert bool(abs(line - off_hz) < 0.1) is found


def test_phases_are_followed_through_turns_and_pulls() -> None:
    t = STEP_S * np.arange(120)
    true = np.array([2 * np.pi * 0.8 * t + 0.5 * np.sin(2 * np.pi * 0.7 * t), -2 * np.pi * 1.1 * t])
    level = np.array([np.exp(-t), 0.5 * np.exp(-2 * t)])
    model = np.array([0.3 * t, 5.0 * t**2])
    made = tracks(level * np.exp(1j * (true + model + 0.4)), noise=1e-8)
    phase, line = phase_left(made, envelopes(made), model)
    for found, expected in zip(phase, true, strict=True):
        moved = found - expected
        assert moved - moved.mean() == pytest.approx(np.zeros(120), abs=0.02)
    # the power of a line over its noise: all its energy, as its phase is followed (the pull costs some)
    energy = np.sum(level**2, axis=1) / 1e-8
    assert line[1] == pytest.approx(energy[1], rel=0.02)
    assert 0.8 * energy[0] < line[0] < energy[0]


def test_a_track_that_sinks_into_noise_is_held_and_right_on_average() -> None:
    rng = np.random.default_rng(4)
    t = STEP_S * np.arange(200)
    slow = 0.3 * np.sin(2 * np.pi * 0.25 * t)
    level = np.exp(-3 * t)
    ends = []
    for _ in range(40):
        noise = rng.normal(size=(2, 200)) * math.sqrt(0.5e-2)
        made = tracks((level * np.exp(1j * slow) + noise[0] + 1j * noise[1])[None], noise=1e-2)
        phase = phase_left(made, np.maximum(level, 1e-3)[None], np.zeros((1, 200)))[0][0]
        ends.append(phase - phase[:20].mean())
    mean = np.mean(ends, axis=0)
    strong = level**2 / 1e-2 > 6
    assert mean[strong] - slow[strong] + slow[:20].mean() == pytest.approx(np.zeros(strong.sum()), abs=0.12)
    assert np.all(np.isfinite(mean))
    assert np.abs(np.array(ends)).max() < 4.0  # a weak block's quadrature is bounded by 1.5


def dense(weight: np.ndarray, hz: float, trends: np.ndarray, phase: np.ndarray) -> tuple[np.ndarray, ...]:
    """Information, score and power of one partial, its start phase left free, by projecting it out."""
    size = np.diag(weight)
    one = np.ones((weight.size, 1))
    out = size - size @ one @ one.T @ size / weight.sum()
    design = 2 * np.pi * hz * trends.T
    return design.T @ out @ design, design.T @ out @ phase, phase @ out @ phase


def test_phases_are_reduced_as_by_least_squares() -> None:
    rng = np.random.default_rng(5)
    weight, phase = rng.uniform(0.1, 3.0, (3, 30)), rng.normal(size=(3, 30))
    hz, trends = np.array([100.0, 201.0, 303.0]), rng.normal(size=(3, 30)) * 1e-3
    information, score, power = project(weight, hz, trends, phase)
    for i in range(3):
        expected = dense(weight[i], hz[i], trends, phase[i])
        assert information[i] == pytest.approx(expected[0], rel=1e-9)
        assert score[i] == pytest.approx(expected[1], rel=1e-9)
        assert power[i] == pytest.approx(expected[2], rel=1e-9)
    left = unexplained(information[:, :2, :2], score[:, :2], power)
    for i in range(3):
        best = np.linalg.solve(information[i, :2, :2], score[i, :2])
        assert left[i] == pytest.approx(power[i] - score[i, :2] @ best, rel=1e-6)


def test_slopes_of_partials_for_each_time_of_the_glide() -> None:
    rng = np.random.default_rng(6)
    t = STEP_S * np.arange(60)
    noise = np.array([1e-4, 4e-4])
    made = tracks(np.ones((2, 60), dtype=complex), noise=noise)
    envelope = np.array([np.exp(-t), 0.7 * np.exp(-2 * t)])
    weight = 2 * envelope**2 / noise[:, None]  # a phase's variance is half the noise over the power
    taus = np.array([0.2, 0.8])
    trends = [np.stack([made.time_s, glide_integral(made.time_s, tau_s=tau)]) for tau in taus]
    scatter = 3.0 * rng.normal(size=(2, 60)) / np.sqrt(weight)
    phase = 2 * np.pi * made.hz[:, None] * (2e-4 * made.time_s + 1e-3 * trends[1][1]) + scatter
    slopes, found = fit_slopes(made, envelope, phase, taus_s=taus)
    least = np.full(2, np.inf)
    for i in range(2):
        for j in range(2):
            information, score, power = dense(weight[i], made.hz[i], trends[j], phase[i])
            least[i] = min(least[i], power - score @ np.linalg.solve(information, score))
    expected = least / (60 - 3)  # start phase, pitch and glide are fitted
    assert found == pytest.approx(expected, rel=1e-6)
    assert np.all((found > 5.0) & (found < 14.0))  # nine, give or take: 3 times the scatter of the noise
    for i in range(2):
        for j in range(2):
            information, score, _ = dense(weight[i], made.hz[i], trends[j], phase[i])
            assert slopes.information[j, i] == pytest.approx(information / expected[i], rel=1e-6)
            assert slopes.score[j, i] == pytest.approx(score / expected[i], rel=1e-6)
    assert slopes.fading == pytest.approx(1 - np.exp(-2 * made.time_s[-1] / taus))
    assert slopes.taus_s.tolist() == taus.tolist()
    assert slopes.number.tolist() == [1.0, 2.0]
    # phases that scatter less than noise could are not believed to be known better than by it
    calm, least = fit_slopes(made, envelope, 0.0 * phase, taus_s=taus)
    assert least.tolist() == [1.0, 1.0]
    told, given = fit_slopes(made, envelope, phase, taus_s=taus, overdispersion=np.array([2.0, 4.0]))
    assert given.tolist() == [2.0, 4.0]
    assert told.information == pytest.approx(calm.information / np.array([2.0, 4.0])[None, :, None, None])


def test_a_weak_track_is_followed_block_by_block() -> None:
    """Written out block by block: weights, a smooth turn held from where it sinks, angle or quadrature."""
    rng = np.random.default_rng(8)
    count, noise = 60, 1e-2
    t = STEP_S * np.arange(count)
    level = 1.2 * np.exp(-6 * t)
    model = 3.0 * t[None]
    scatter = rng.normal(size=(2, count)) * math.sqrt(noise / 2)
    z = level * np.exp(1j * (model[0] + 0.4 + np.sin(8 * t))) + scatter[0] + 1j * scatter[1]
    made = tracks(z[None], noise=noise)
    envelope = np.maximum(level, 0.02)[None]
    phase, line = phase_left(made, envelope, model)
    weight = envelope[0] ** 2 / noise
    turned = z * np.exp(-1j * model[0])
    weighed = turned * envelope[0] * weight / (1 + weight)  # a known signal in noise: Wiener
    own = _own_line(weighed[None], step_s=STEP_S, hz=made.hz)[0]
    turned = turned * np.exp(-1j * own * t)
    assert line[0] == pytest.approx(
        abs(np.sum(turned * envelope[0])) ** 2 / (noise * np.sum(envelope[0] ** 2))
    )
    kernel = _kernel(made)
    smooth = np.convolve(turned, kernel, mode="same")
    stronger = kernel.sum() ** 2 / np.sum(kernel**2)  # by so much smoothing lifts a line out of the noise
    turn = np.unwrap(np.angle(smooth))
    first_weak = next(i for i in range(count) if weight[i] * stronger <= 12.0)
    assert 10 < first_weak < count - 10
    turn[first_weak:] = turn[first_weak - 1]
    kinds = set()
    for i in range(count):
        left = turned[i] * np.exp(-1j * turn[i])
        if weight[i] > 6.0:
            more, kind = math.atan2(left.imag, left.real), "angle"
        else:
            part = left.imag / envelope[0, i]
            more, kind = min(max(part, -1.5), 1.5), "quadrature" if abs(part) < 1.5 else "bounded"
        kinds.add(kind)
        assert phase[0, i] == pytest.approx(own * t[i] + turn[i] + more, abs=1e-9), i
    assert kinds == {"angle", "quadrature", "bounded"}
