"""Mains hum in the sound of a room: which mains, how loud, how far above the rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.pitch.second_note import MAINS_HZ, MAINS_NEAR_HZ

HARMONICS = 12
SHARED_HZ = 300.0  # multiples of it belong to both mains: they count as hum but do not decide which
AROUND_HZ = 12.0  # the room beside a harmonic
# power over the room's beside it that makes a line: noise reaches so much in 1 of 400 (e^-6)
STANDS_OUT = 6.0
MEDIAN_OVER_MEAN = float(np.log(2))  # [-] of an exponential distribution


@dataclass(frozen=True)
class Hum:
    """Mains hum.

    Attributes
    ----------
    mains_hz : float
        50 or 60. [Hz]
    level_db : float
        All harmonics together. [dB below full scale]
    over_room_db : float
        Over the rest of the room. [dB]
    """

    mains_hz: float
    level_db: float
    over_room_db: float


def find_hum(room: Clip) -> Hum | None:
    """Find hum in at least a second of a room. None when fewer than two harmonics stand out."""
    from scipy import fft

    samples = room.samples - room.samples.mean()
    window = np.hanning(samples.size)
    power = np.abs(fft.rfft(samples * window)) ** 2 * 2 / (np.sum(window**2) * samples.size)
    hz = np.arange(power.size) * room.rate_hz / samples.size
    found: dict[float, tuple[int, float]] = {}
    for mains in MAINS_HZ:
        lines, total = 0, 0.0
        for number in range(1, HARMONICS + 1):
            away = np.abs(hz - number * mains)
            here, beside = away < MAINS_NEAR_HZ, (away >= MAINS_NEAR_HZ) & (away < AROUND_HZ)
            floor = float(np.median(power[beside])) / MEDIAN_OVER_MEAN
            line = float(power[here].max(initial=0.0)) > STANDS_OUT * floor
            if line:
                lines += number * mains % SHARED_HZ != 0
                total += max(float(power[here].sum()) - floor * np.count_nonzero(here), 0.0)
        found[mains] = (lines, total)
    mains = max(found, key=lambda key: found[key])
    lines, total = found[mains]
    if lines < 2 or total <= 0:
        return None
    rest = max(float(np.mean(samples**2)) - total, 1e-12)
    level_db = 10 * float(np.log10(max(total, 1e-12)))
    return Hum(mains, level_db, level_db - 10 * float(np.log10(rest)))
