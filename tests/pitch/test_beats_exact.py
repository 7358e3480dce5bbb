"""Two modes of a partial: exact exponentials, the uncertainty by a dense Fisher matrix, and every limit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pitchcheck.pitch.beats import _fit, _linear, _rates, part_modes
from pitchcheck.pitch.tracks import Tracks

STEP_S = 0.02
COUNT = 40
TIME_S = STEP_S * np.arange(COUNT)


def mode(size: complex, fall: float, beat_hz: float, time_s: np.ndarray = TIME_S) -> np.ndarray:
    return np.asarray(size * np.exp((-fall + 2j * np.pi * beat_hz) * time_s))


def tracks(z: np.ndarray, *, noise: float = 1e-8, first_s: float = 0.3) -> Tracks:
    number = np.arange(1.0, z.shape[0] + 1)
    time_s = first_s + STEP_S * np.arange(z.shape[1])
    return Tracks(number, 200 * number, z, np.full(z.shape[0], noise), time_s, 0.0, np.zeros(z.shape[1]))


FIRST = ((1.0, 1.0, 0.1), (0.8, 2.0, -0.2), (0.5j, 3.0, 0.0), (1.2, 0.7, 0.3))
SECOND = ((0.4j, 1.5, 1.2), (0.3, 1.0, 0.9), (0.2, 2.0, -1.4), (-0.5, 0.4, 1.7))
NOISE = np.random.default_rng(1).normal(size=(2, 4, COUNT))


def rows(parts: tuple[tuple[complex, float, float], ...]) -> np.ndarray:
    return np.array([mode(*one) for one in parts])


def test_rates_of_pure_modes_come_out_of_the_correlation() -> None:
    found = _rates(rows(FIRST) + rows(SECOND), 2, step_s=STEP_S)
    for rate, one, two in zip(found, FIRST, SECOND, strict=True):
        expected = [-one[1] + 2j * np.pi * one[2], -two[1] + 2j * np.pi * two[2]]
        order = np.argsort(rate.imag)
        assert rate[order] == pytest.approx(sorted(expected, key=lambda x: x.imag), rel=1e-5)


def test_amplitudes_are_least_squares() -> None:
    rng = np.random.default_rng(2)
    track = rng.normal(size=(3, COUNT)) + 1j * rng.normal(size=(3, COUNT))
    rate = -rng.uniform(0, 3, (3, 2)) + 6j * rng.normal(size=(3, 2))
    shape, amplitude, rest = _linear(track, rate, TIME_S)
    for k in range(3):
        expected = np.exp(rate[k][None] * TIME_S[:, None])
        assert shape[k] == pytest.approx(expected)
        best = np.linalg.lstsq(expected, track[k], rcond=None)[0]
        assert amplitude[k] == pytest.approx(best, rel=1e-6)
        assert rest[k] == pytest.approx(track[k] - expected @ best, abs=1e-6)
    # a mode that would grow by more than 30 nepers in the stretch, or die at once, is bounded
    wild = _linear(track, np.array([[200.0 + 1j, -1.0]] * 3), TIME_S)[0]
    assert np.abs(wild[:, -1, 0]) == pytest.approx(np.full(3, math.exp(30.0)))


def test_a_fit_finds_the_modes_from_nearby() -> None:
    track = rows(FIRST) + rows(SECOND)
    true = np.array(
        [[-a[1] + 2j * np.pi * a[2], -b[1] + 2j * np.pi * b[2]] for a, b in zip(FIRST, SECOND, strict=True)]
    )
    found = _fit(track, true * 1.03 + 0.05, TIME_S)
    assert found.rate == pytest.approx(true, rel=2e-3, abs=2e-3)
    assert np.all(found.left < 1e-4 * np.sum(np.abs(track) ** 2, axis=1))


def test_the_variance_of_a_modes_turning_is_that_of_a_dense_fisher_matrix() -> None:
    track = rows(FIRST) + rows(SECOND)
    true = np.array(
        [[-a[1] + 2j * np.pi * a[2], -b[1] + 2j * np.pi * b[2]] for a, b in zip(FIRST, SECOND, strict=True)]
    )
    found = _fit(track, true, TIME_S)
    for k in range(4):
        columns = []
        for parts in (FIRST, SECOND):
            size, fall, beat_hz = parts[k]
            one = mode(1.0, fall, beat_hz)
            columns += [one, size * one * TIME_S]
        design = np.array(columns)[[0, 2, 1, 3]].T  # amplitudes, then rates
        variance = np.linalg.inv(design.conj().T @ design).diagonal().real
        assert found.turn_variance[k] == pytest.approx(variance[2:], rel=1e-5)


def test_the_second_mode_is_taken_out_whole() -> None:
    first, second = rows(FIRST), rows(SECOND)
    path = np.array([3.0 * TIME_S, -1.0 * TIME_S, 0.5 * TIME_S**2, 0.0 * TIME_S])
    mixed = tracks((first + second) * np.exp(1j * path), noise=1e-8)
    parted = part_modes(mixed, path)
    assert parted is not None
    assert parted.beating.all()
    assert parted.tracks.z == pytest.approx(first * np.exp(1j * path), abs=2e-4)
    # noise grows by what the second mode costs in knowing the turning of the first, against one mode alone
    single = _fit(first + second, _rates(first + second, 1, step_s=STEP_S), TIME_S)
    for k in range(4):
        one, two = mode(1.0, *FIRST[k][1:]), mode(1.0, *SECOND[k][1:])
        both = np.stack([one, FIRST[k][0] * one * TIME_S, two, SECOND[k][0] * two * TIME_S], axis=1)
        cost = np.linalg.inv(both.conj().T @ both).diagonal().real[1] / single.turn_variance[k, 0]
        assert parted.tracks.noise[k] / 1e-8 == pytest.approx(max(cost, 1.0), rel=1e-3)


def test_what_two_modes_leave_is_one_for_noise() -> None:
    sigma = 1e-3
    z = rows(FIRST) + rows(SECOND) + sigma / math.sqrt(2) * (NOISE[0] + 1j * NOISE[1])
    parted = part_modes(tracks(z, noise=sigma**2), np.zeros(z.shape))
    assert parted is not None
    assert parted.misfit == pytest.approx(1.0, abs=0.3)  # of 144 freedoms
    left = part_modes(tracks(z, noise=sigma**2 / 4), np.zeros(z.shape))
    assert left is not None
    assert left.misfit == pytest.approx(4 * parted.misfit, rel=1e-6)


def test_many_blocks_are_averaged_first() -> None:
    time_s = STEP_S * np.arange(103)
    z = np.array([mode(*a, time_s) + mode(*b, time_s) for a, b in zip(FIRST, SECOND, strict=True)])
    parted = part_modes(tracks(z), np.zeros(z.shape))
    assert parted is not None
    assert parted.beating.all()
    # an average over three blocks turns a little within them: amplitudes are put right for it
    assert parted.tracks.z[:, :99] == pytest.approx(
        np.array([mode(*a, time_s) for a in FIRST])[:, :99], abs=2e-3
    )


def test_an_average_over_blocks_has_less_noise() -> None:
    # Averages over five blocks have a fifth of the noise; of 144 freedoms.
    sigma, count = 1e-3, 198
    time_s = STEP_S / 5 * np.arange(count)
    number = np.arange(1.0, 5.0)
    noise = np.random.default_rng(12).normal(size=(2, 4, count)) * sigma / math.sqrt(2)
    z = np.array([mode(*a, time_s) + mode(*b, time_s) for a, b in zip(FIRST, SECOND, strict=True)])
    noisy = z + noise[0] + 1j * noise[1]
    made = Tracks(number, 200 * number, noisy, np.full(4, sigma**2), time_s, 0.0, np.zeros(count))
    parted = part_modes(made, np.zeros(z.shape))
    assert parted is not None
    assert parted.misfit == pytest.approx(1.0, abs=0.3)


@pytest.mark.parametrize(("count", "told"), [(9, True), (8, False)])
def test_a_few_blocks_say_nothing(count: int, told: bool) -> None:
    z = rows(FIRST)[:, :count]
    assert (part_modes(tracks(z), np.zeros(z.shape)) is not None) is told


def beating(second: tuple[complex, float, float], *, noise: float = 1e-8, z_noise: float = 0.0) -> bool:
    z = rows(((1.0, 1.0, 0.1),)) + rows((second,)) + z_noise * (NOISE[0, :1] + 1j * NOISE[1, :1])
    parted = part_modes(tracks(z, noise=noise), np.zeros(z.shape))
    assert parted is not None
    return bool(parted.beating[0])


@pytest.mark.parametrize(("share", "taken"), [(0.024, True), (0.016, False)])
def test_a_faint_second_mode_is_not_believed(share: float, taken: bool) -> None:
    assert beating((share, 1.0, 1.6)) is taken


@pytest.mark.parametrize(("beat_hz", "taken"), [(7.5, True), (8.5, False), (-7.3, True), (-8.3, False)])
def test_beats_faster_than_strings_beat_are_not_believed(beat_hz: float, taken: bool) -> None:
    assert beating((0.4, 1.0, 0.1 + math.copysign(abs(beat_hz), beat_hz))) is taken
    # wherever the two lie: it is their difference that beats
    for off_hz in (5.0, -5.0):
        z = rows(((1.0, 1.0, off_hz),)) + rows(((0.4, 1.0, off_hz + beat_hz),))
        parted = part_modes(tracks(z), np.zeros(z.shape))
        assert parted is not None
        assert bool(parted.beating[0]) is taken


@pytest.mark.parametrize(("fall", "taken"), [(28.5, True), (31.5, False), (-0.93, True), (-1.07, False)])
def test_modes_die_away_and_not_at_once(fall: float, taken: bool) -> None:
    assert beating((0.4, fall, 1.5)) is taken


def test_a_second_mode_must_explain_more_than_chance() -> None:
    # Chi-square gained, both components of a complex sample counted, over 30.
    z = rows(((1.0, 1.0, 0.1),)) + rows(((0.1, 1.0, 1.6),))
    time_s = TIME_S
    one = _fit(z, _rates(z, 1, step_s=STEP_S), time_s)
    two = _fit(z, _rates(z, 2, step_s=STEP_S), time_s)
    gained = 2 * float(one.left[0] - two.left[0])
    for over, taken in ((33.0, True), (27.0, False)):
        parted = part_modes(tracks(z, noise=gained / over), np.zeros(z.shape))
        assert parted is not None
        assert bool(parted.beating[0]) is taken


def test_the_stronger_mode_at_the_begin_is_the_note() -> None:
    z = rows(((0.4, 0.2, 0.1),)) + rows(((1.0, 4.0, 1.6),))
    parted = part_modes(tracks(z), np.zeros(z.shape))
    assert parted is not None
    assert parted.tracks.z[0] == pytest.approx(mode(1.0, 4.0, 1.6), abs=1e-3)
