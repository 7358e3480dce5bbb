"""The power on a note's partials against sums written out."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcheck.memo.sounds import _comb, _Whole
from pitchcheck.pitch.coarse import Series

RATE_HZ = 44_100.0


@pytest.mark.parametrize("seconds", [0.1, 0.0501, 0.001])
def test_power_on_partials_is_that_of_a_windowed_fourier_sum(seconds: float) -> None:
    rng = np.random.default_rng(3)
    samples = rng.standard_normal(9000)
    note = Series(1987.0, 3e-4, 1.0, np.zeros(0, dtype=np.bool_), 1)
    power, total = _comb(_Whole(samples, RATE_HZ), note, 0.05, 0.05 + seconds)
    part = samples[round(0.05 * RATE_HZ) : round((0.05 + seconds) * RATE_HZ)]
    window = np.hanning(part.size) / np.hanning(part.size).sum()
    expected = 0.0
    for k in range(1, 11):
        hz = k * 1987.0 * np.sqrt(1 + 3e-4 * k**2)
        if hz < 0.45 * RATE_HZ:
            turn = np.exp(-2j * np.pi * hz * np.arange(part.size) / RATE_HZ)
            expected += 2 * abs(np.sum(part * window * turn)) ** 2
    assert power == pytest.approx(expected, rel=1e-9)
    assert total == pytest.approx(float(np.sum(window * part**2)), rel=1e-12)


def test_of_a_tone_it_is_the_power_of_the_tone() -> None:
    time_s = np.arange(9000) / RATE_HZ
    tone = 0.3 * np.sin(2 * np.pi * 441.0 * time_s)
    note = Series(441.0, 0.0, 1.0, np.zeros(0, dtype=np.bool_), 1)
    power, total = _comb(_Whole(tone, RATE_HZ), note, 0.05, 0.15)
    assert power == pytest.approx(0.3**2 / 2, rel=1e-3)
    assert total == pytest.approx(0.3**2 / 2, rel=1e-3)
