"""What a microphone hears besides the string: white and pink noise, mains hum.

Conventions: levels are decibels of the root mean square re full scale 1. ``-inf`` switches a part off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.errors import check_positive
from pitchcheck.types import FloatArray

PINK_FROM_HZ = 20.0  # pink noise is cut off below the range of hearing


@dataclass(frozen=True)
class Room:
    """Background of a recording. The defaults are a quiet workshop, chosen here."""

    white_db: float = -72.0
    pink_db: float = -64.0
    hum_db: float = -60.0  # the mains frequency itself
    mains_hz: float = 50.0
    # Harmonics of the mains re its fundamental, from the second on: odd ones stronger, as rectifiers and
    # transformers make them (chosen here). [dB]
    hum_harmonics_db: tuple[float, ...] = (-10.0, -4.0, -16.0, -9.0, -20.0, -13.0)


SILENT_ROOM = Room(white_db=-np.inf, pink_db=-np.inf, hum_db=-np.inf)


def amplitude(level_db: float) -> float:
    """Ratio of a level in decibels; 0 for ``-inf``."""
    return float(10 ** (level_db / 20))


def room_noise(rng: np.random.Generator, *, room: Room, count: int, rate_hz: float) -> FloatArray:
    """Background of a recording.

    Parameters
    ----------
    rng : numpy Generator
        Draws the noise and the phases of the hum.
    room : Room
    count : int >= 1
        Samples.
    rate_hz : float > 0
        Samples per second. [Hz]

    Returns
    -------
    array, shape (count,)
        Full scale is 1.

    Raises
    ------
    BadValue
        If the rate is not positive.
    """
    check_positive("rate_hz", rate_hz, unit="Hz")
    white = rng.standard_normal(count)
    pink = _pink(rng, count=count, rate_hz=rate_hz)
    time_s = np.arange(count) / rate_hz
    noise = amplitude(room.white_db) * white + amplitude(room.pink_db) * pink
    for index, relative_db in enumerate((0.0, *room.hum_harmonics_db), start=1):
        hz, phase = index * room.mains_hz, rng.uniform(0, 2 * np.pi)
        if hz < rate_hz / 2:
            size = np.sqrt(2) * amplitude(room.hum_db + relative_db)
            noise += size * np.sin(2 * np.pi * hz * time_s + phase)
    return np.asarray(noise, dtype=np.float64)


def _pink(rng: np.random.Generator, *, count: int, rate_hz: float) -> FloatArray:
    """Noise of power falling as 1/f above PINK_FROM_HZ, root mean square 1."""
    from scipy.fft import next_fast_len, rfftfreq

    padded = next_fast_len(count, real=True)
    hz = rfftfreq(padded, 1 / rate_hz)
    shape = np.where(hz >= PINK_FROM_HZ, 1 / np.sqrt(np.maximum(hz, PINK_FROM_HZ)), 0.0)
    shape /= np.sqrt(np.sum(shape**2))
    phases = rng.standard_normal(hz.size) + 1j * rng.standard_normal(hz.size)
    spectrum = phases * shape * padded / 2
    return np.asarray(np.fft.irfft(spectrum, padded)[:count], dtype=np.float64)
