"""Noise and hum of the simulated room, against scipy's spectral estimates."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import welch

from pitchcheck.errors import BadValue
from pitchcheck.simulate.room import SILENT_ROOM, Room, room_noise

RATE_HZ = 48000.0
COUNT = 20 * 48000
LEVEL_TOLERANCE_DB = 0.1  # 20 s of noise: the level's own scatter is 0.01 dB white, 0.05 dB pink
SLOPE_TOLERANCE_DB = 0.3  # per octave, Welch estimate over six octaves


def _room(seed: int = 3, **parts: float) -> np.ndarray:
    silent = {"white_db": -np.inf, "pink_db": -np.inf, "hum_db": -np.inf}
    room = Room(**(silent | parts))
    return room_noise(np.random.default_rng(seed), room=room, count=COUNT, rate_hz=RATE_HZ)


def _db(samples: np.ndarray) -> float:
    return float(10 * np.log10(np.mean(samples**2)))


@pytest.mark.parametrize(("part", "slope"), [("white_db", 0.0), ("pink_db", -3.01)])
def test_noise_has_its_level_and_colour(part: str, slope: float) -> None:
    noise = _room(**{part: -50.0})
    assert _db(noise) == pytest.approx(-50.0, abs=LEVEL_TOLERANCE_DB)
    hz, power = welch(noise, RATE_HZ, nperseg=8192)
    use = (hz > 100) & (hz < 6400)
    fitted = np.polyfit(np.log2(hz[use]), 10 * np.log10(power[use]), 1, w=1 / np.sqrt(hz[use]))[0]
    assert fitted == pytest.approx(slope, abs=SLOPE_TOLERANCE_DB)


@pytest.mark.parametrize(("harmonic", "relative_db"), [(1, 0.0), (2, -10.0), (3, -4.0), (5, -9.0)])
@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_stands_at_the_mains_and_its_harmonics(
    harmonic: int, relative_db: float, mains_hz: float
) -> None:
    hum = _room(hum_db=-40.0, mains_hz=mains_hz)
    time_s = np.arange(COUNT) / RATE_HZ
    line = np.mean(hum * np.exp(-2j * np.pi * harmonic * mains_hz * time_s))  # 20 s: whole periods
    assert 10 * np.log10(2 * np.abs(line) ** 2) == pytest.approx(-40.0 + relative_db, abs=1e-6)


def test_silence_and_seed() -> None:
    assert not room_noise(np.random.default_rng(1), room=SILENT_ROOM, count=100, rate_hz=RATE_HZ).any()
    assert np.array_equal(_room(5, white_db=-60.0), _room(5, white_db=-60.0))
    with pytest.raises(BadValue, match="rate_hz"):
        room_noise(np.random.default_rng(1), room=SILENT_ROOM, count=100, rate_hz=0.0)
