"""Peaks of a spectrum: what the coarse note is found from.

Frequencies in Hz, amplitudes relative to full scale 1.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.types import FloatArray

LOWEST_HZ = 24.0  # [Hz] below the lowest bass string, B0 at 30.9 Hz, tuned down four semitones
HIGHEST_HZ = 6000.0  # [Hz] partials above add nothing to finding the note
ABOVE_FLOOR = 4.0  # amplitude over the local noise that makes a peak: false alarms below 1 in 1000 bins
FLOOR_RANK = 0.3  # the noise around a peak: the value that this share of the neighbours lies below
RANGE_DB = 50.0  # [dB] peaks further below the strongest are left out
MOST = 40  # peaks kept, strongest first


@dataclass(frozen=True)
class Peaks:
    """Peaks of one spectrum, by rising frequency.

    Attributes
    ----------
    hz, amplitude : array, shape (n,)
    width_hz : float
        Half-width within which two sinusoids merge. [Hz]
    """

    hz: FloatArray
    amplitude: FloatArray
    width_hz: float


def find_peaks(clip: Clip) -> Peaks:
    """Find the peaks of the clip's spectrum by a Hann window and a parabola through the logarithms.

    Parameters
    ----------
    clip : Clip
        The stretch to look at, 0.1 s or longer.

    Returns
    -------
    Peaks
        Possibly empty.
    """
    size = clip.samples.size
    length = fast_length(2 * size)
    window = _hann(size)
    spectrum = np.abs(np.fft.rfft((clip.samples - clip.samples.mean()) * window, length)) * 2 / window.sum()
    bin_hz = clip.rate_hz / length
    width_hz = 2 * clip.rate_hz / size
    last = min(spectrum.size - 2, int(HIGHEST_HZ / bin_hz))
    spectrum = np.maximum(spectrum[: last + 2], 1e-12)
    around = max(15, int(120.0 / bin_hz) | 1)
    floor = _rank(spectrum[::4], share=FLOOR_RANK, width=max(5, around // 4))
    floor = np.repeat(floor, 4)[: spectrum.size] * 1.5  # 30th percentile of a Rayleigh law to its rms
    middle = spectrum[1:-1]
    top = (middle >= spectrum[:-2]) & (middle > spectrum[2:]) & (middle > ABOVE_FLOOR * floor[1:-1])
    top &= middle > middle.max() * 10 ** (-RANGE_DB / 20)
    index = np.flatnonzero(top) + 1
    index = index[index * bin_hz > LOWEST_HZ]
    index = _strongest_apart(index, spectrum, width_hz / bin_hz)
    left, centre, right = np.log(spectrum[index - 1]), np.log(spectrum[index]), np.log(spectrum[index + 1])
    bend = left - 2 * centre + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    return Peaks((index + np.clip(shift, -0.5, 0.5)) * bin_hz, spectrum[index], width_hz)


@functools.lru_cache(maxsize=4)
def _hann(size: int) -> FloatArray:
    return np.hanning(size)


@functools.lru_cache(maxsize=16)
def fast_length(least: int) -> int:
    """Smallest length of at least ``least`` whose only factors are 2, 3 and 5: a quick Fourier transform."""
    best = 1 << (least - 1).bit_length()
    for fives in range(best.bit_length()):
        for threes in range(best.bit_length()):
            odd = 5**fives * 3**threes
            if odd >= best:
                break
            best = min(best, odd << max(0, -(-least // odd) - 1).bit_length())
    return best


def _rank(values: FloatArray, *, share: float, width: int) -> FloatArray:
    """Value that a share of the neighbours within a width lies below, the ends mirrored."""
    before = width // 2
    padded = np.pad(values, (before, width - 1 - before), mode="symmetric")
    rank = int(share * width)
    return np.asarray(
        np.partition(np.lib.stride_tricks.sliding_window_view(padded, width), rank, axis=1)[:, rank]
    )


def _strongest_apart(index: np.ndarray, spectrum: FloatArray, apart: float) -> np.ndarray:
    """Keep the strongest peaks, none within ``apart`` bins of a much stronger one (its side lobe)."""
    kept: list[int] = []
    for candidate in sorted(index, key=lambda i: -spectrum[i]):
        near = [k for k in kept if abs(k - candidate) < 1.6 * apart]
        if all(spectrum[candidate] > 0.05 * spectrum[k] and abs(k - candidate) > 0.5 * apart for k in near):
            kept.append(int(candidate))
        if len(kept) == MOST:
            break
    return np.array(sorted(kept), dtype=int)
