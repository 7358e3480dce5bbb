"""Where sounds begin in a long recording: many bands of the spectrum rise at once.

Conventions: times are seconds from the first sample; levels in dB. Every pluck should be found; bumps and
syllables are found too, and are told from plucks later.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from scipy.ndimage import minimum_filter1d, percentile_filter

from pitchcheck.types import FloatArray

HOP_S = 0.005  # [s] one step; shorter than the rise of any pluck at the microphone
WINDOW_S = 0.023  # [s] one look at the spectrum: two periods of the lowest bass string or more
LOWEST_HZ, HIGHEST_HZ = 60.0, 7000.0  # [Hz] of the bands; what a phone's voice codecs keep lies within
BANDS = 22  # about three to the octave
BACK_STEPS = 12  # a pluck rises above the least of the 60 ms before it
CUT_STEPS = 5  # windows of the first steps reach out of the recording
AHEAD_STEPS = 3  # and has risen within 15 ms
FLOOR_RANK = 20.0  # [percent] of the last and next 5 s: the room, as no string sounds all the time
FLOOR_S = 10.0  # [s]
FLOOR_TIMES = (
    8.0  # what does not rise well out of the room is the room: its 20th percentile is a fifth of its mean
)
LOUD_RANK, RANGE_DB = 95.0, 45.0  # codecs silence what lies far below the loud parts: such gaps are no room
TOP_SHARE = 0.4  # of the bands: those that rise most; high ones drown in the room, low ones ring on
RISE_DB = 5.0  # [dB] mean rise of those that makes a beginning (ours; noise alone stays below 2.5)
APART_S = 0.12  # [s] beginnings closer than this are one
MIN_POWER = 1e-12  # full scale 1: digital silence
BLOCK_STEPS = 4000  # steps looked at together: 20 s, so that memory stays small


def find_onsets(samples: npt.NDArray[np.floating], *, rate_hz: float) -> FloatArray:
    """Moments at which something begins to sound. [s]

    Parameters
    ----------
    samples : array, shape (n,)
        Any length.
    rate_hz : float > 0
        [Hz]

    Returns
    -------
    array, shape (m,)
        Rising.
    """
    power = band_powers(samples, rate_hz=rate_hz)
    if power.shape[0] <= BACK_STEPS + AHEAD_STEPS:
        return np.zeros(0)
    strength = _strength(power)
    beginnings: list[int] = []
    apart = round(APART_S / HOP_S)
    for step in np.argsort(-strength, kind="stable"):
        if strength[step] < RISE_DB:
            break
        if all(abs(step - other) >= apart for other in beginnings):
            beginnings.append(int(step))
    return np.sort(np.array(beginnings, dtype=np.float64)) * HOP_S


def band_powers(samples: npt.NDArray[np.floating], *, rate_hz: float) -> FloatArray:
    """Power in each band, step by step. Shape (steps, bands).

    Step i looks at the window whose middle lies at i ``HOP_S``.
    """
    edges = np.geomspace(LOWEST_HZ, min(HIGHEST_HZ, 0.45 * rate_hz), BANDS + 1)
    return np.concatenate(list(_blocks(samples, rate_hz=rate_hz, edges=edges)) or [np.zeros((0, BANDS))])


def _blocks(samples: npt.NDArray[np.floating], *, rate_hz: float, edges: FloatArray) -> Iterator[FloatArray]:
    """Yield the powers some steps at a time."""
    size = 1 << (round(WINDOW_S * rate_hz) - 1).bit_length()
    window = np.hanning(size)
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    first = np.searchsorted(hz, edges)
    first = np.maximum.accumulate(np.maximum(first, np.arange(first.size) + 1))
    steps = int(samples.size / (HOP_S * rate_hz)) + 1
    for start in range(0, steps, BLOCK_STEPS):
        middle = np.round(np.arange(start, min(steps, start + BLOCK_STEPS)) * HOP_S * rate_hz).astype(int)
        low = int(middle[0]) - size // 2
        part = samples[max(0, low) : int(middle[-1]) + size].astype(np.float64)
        part = np.pad(part, (max(0, -low), max(0, int(middle[-1]) - low + size - part.size)))
        frames = np.lib.stride_tricks.sliding_window_view(part, size)[middle - middle[0]]
        spectrum = np.abs(np.fft.rfft(frames * window, axis=1)) ** 2
        total = np.cumsum(spectrum, axis=1)
        total = np.concatenate([np.zeros((total.shape[0], 1)), total], axis=1)
        last = np.minimum(first[1:], hz.size)
        yield (
            np.maximum(total[:, last] - total[:, np.minimum(first[:-1], hz.size - 1)], 0.0)
            / window.sum() ** 2
        )


def _strength(power: FloatArray) -> FloatArray:
    """Mean rise of the bands that rise most. Shape (steps,). [dB]"""
    wide = round(FLOOR_S / HOP_S)
    thin = power[:: max(1, wide // 200)]
    floor = percentile_filter(thin, FLOOR_RANK, size=(min(200, thin.shape[0]), 1), mode="nearest")
    floor = np.repeat(floor, max(1, wide // 200), axis=0)[: power.shape[0]]
    quiet = np.maximum(FLOOR_TIMES * floor, 10 ** (-RANGE_DB / 10) * np.percentile(power, LOUD_RANK, axis=0))
    level = 10 * np.log10(power + quiet + MIN_POWER)
    level[:CUT_STEPS] = level[min(CUT_STEPS, level.shape[0] - 1)]
    room = np.repeat(10 * np.log10(quiet[:1] + MIN_POWER), BACK_STEPS, axis=0)  # before the recording began
    around = minimum_filter1d(np.concatenate([room, level]), BACK_STEPS, axis=0, mode="nearest")
    half = BACK_STEPS // 2
    least = around[half : half + level.shape[0]]
    ahead = np.concatenate([level[AHEAD_STEPS:], np.repeat(level[-1:], AHEAD_STEPS, axis=0)])
    rise = np.clip(ahead - least, 0.0, 20.0)
    top = round(TOP_SHARE * BANDS)
    return np.asarray(np.sort(rise, axis=1)[:, -top:].mean(axis=1))
