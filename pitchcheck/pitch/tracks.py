"""Partials of a note as slow complex tracks: amplitude and phase of each, block by block.

A block is a few periods long. In each block all partials are fitted together by least squares, so that
neighbours do not leak into each other and the ends of the note need no window. Phases are relative to the
reference law f_k = k f sqrt(1 + B k^2) (Fletcher 1964), counted from the first block's centre.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pitchcheck.clip import Clip
from pitchcheck.pitch.medians import row_medians
from pitchcheck.types import FloatArray

ComplexArray = npt.NDArray[np.complex128]

PERIODS = 2.0  # periods of the fundamental in a block: partials are then orthogonal (nearly)
SHORTEST_BLOCK_S = 0.012  # [s] high notes: no need for more blocks than this
MOST_PARTIALS = 32
LEAK = 0.01  # amplitude share of a neighbour that a track may catch (measured on synthetic strings)
HIGHEST_HZ = 7000.0  # [Hz] partials above are weak, short-lived and far off the law
ENOUGH_BLOCKS = 8  # for the noise from third differences; fewer leave too few of them
COARSE = 64  # samples between the points at which a glide is worked out: straight between, to 1e-8 s
PIECE = 128  # such stretches worked on at once
TAPS = 6  # samples that a value between is taken from
# rows: coefficients of a falling power of the distance from the third sample; columns: samples
LAGRANGE = np.linalg.inv(np.vander(np.arange(TAPS) - 2.0))
BELOW_RATE = 0.45  # share of the sampling rate up to which partials are fitted


@dataclass(frozen=True)
class Tracks:
    """Partials of one stretch of a note.

    Attributes
    ----------
    number : array of int, shape (k,)
        Number of each partial, 1 = fundamental.
    hz : array, shape (k,)
        Reference frequency of each. [Hz]
    z : complex array, shape (k, m)
        Amplitude and phase against the reference, at the centre of each block.
    noise : array, shape (k,)
        Variance of z (both components together).
    time_s : array, shape (m,)
        Centres of the blocks, from the start of the clip. [s]
    inharmonicity : float
        B of the reference law. [-]
    ahead_s : array, shape (m,)
        How far the reference has run ahead of steady pitches by gliding. [s]
    """

    number: FloatArray
    hz: FloatArray
    z: ComplexArray
    noise: FloatArray
    time_s: FloatArray
    inharmonicity: float
    ahead_s: FloatArray

    def only(self, rows: npt.NDArray[np.bool_]) -> Tracks:
        """Return the tracks of some partials; ``rows`` has shape (k,)."""
        return replace(
            self, number=self.number[rows], hz=self.hz[rows], z=self.z[rows], noise=self.noise[rows]
        )


def law_hz(number: FloatArray, *, hz: float, inharmonicity: float) -> FloatArray:
    """Partials of a stiff string. [Hz] Fletcher (1964), equation (pitch 1) of docs/accuracy-pitch.md."""
    return np.asarray(number * hz * np.sqrt(1 + inharmonicity * number**2), dtype=float)


def periods_of(hz: float) -> float:
    """Whole periods in a block for a note of this pitch."""
    return float(max(PERIODS, np.ceil(SHORTEST_BLOCK_S * hz)))


def glide_integral(time_s: FloatArray, *, tau_s: float) -> FloatArray:
    """Integral of exp(-2 t / tau) from 0 to each time. [s]"""
    return np.asarray((tau_s / 2) * (1 - np.exp(-2 * time_s / tau_s)))


def take_tracks(
    clip: Clip,
    *,
    hz: float,
    inharmonicity: float,
    periods: float | None = None,
    glide: float = 0.0,
    tau_s: float = 1.0,
    own: FloatArray | None = None,
    fall: FloatArray | None = None,
) -> Tracks:
    """Split a note into the tracks of its partials.

    Parameters
    ----------
    clip : Clip
        The stretch to read; at least three blocks long.
    hz, inharmonicity : float
        Reference law, right to about 1 %.
    periods : float, optional
        Periods in a block; chosen by the pitch when not given.
    glide, tau_s : float
        The reference glides by this, relative, with this decay time: partials that move within a block leak
        into each other.
    own : array, shape (n,), optional
        How far the first n partials lie over that law, relative: a partial that is fitted beside its pitch
        leaks, too.
    fall : array, shape (n,), optional
        How fast the first n partials die away, 1 / decay time: one that does so within a block leaks. [1/s]
    """
    highest = min(HIGHEST_HZ, BELOW_RATE * clip.rate_hz)
    number = np.arange(1.0, MOST_PARTIALS + 1)
    partial_hz = law_hz(number, hz=hz, inharmonicity=inharmonicity)
    number, partial_hz = number[partial_hz < highest], partial_hz[partial_hz < highest]
    if own is not None:
        partial_hz *= 1 + spread(own, number.size)
    block = round((periods or periods_of(hz)) * clip.rate_hz / hz)
    samples = clip.samples if glide == 0 else straightened(clip, glide=glide, tau_s=tau_s)
    count = samples.size // block
    blocks = samples[: count * block].reshape(count, block)
    if fall is None:
        z = _fitted(blocks, partial_hz, rate_hz=clip.rate_hz)
    else:
        z = _damped(blocks, partial_hz, spread(fall, number.size), rate_hz=clip.rate_hz)
    centre_s = np.asarray((np.arange(count) * block + (block - 1) / 2) / clip.rate_hz, dtype=float)
    turn = np.exp(-2j * np.pi * np.outer(partial_hz, centre_s - centre_s[0]))
    z *= turn
    ahead_s = _ahead(centre_s, glide=glide, tau_s=tau_s)
    return Tracks(number, partial_hz, z, track_noise(z), centre_s - ahead_s, inharmonicity, ahead_s)


def spread(values: FloatArray, size: int) -> FloatArray:
    """So many of these values, zeros where there are too few."""
    return np.pad(values[:size], (0, max(0, size - values.size)))


def _damped(blocks: FloatArray, partial_hz: FloatArray, fall: FloatArray, *, rate_hz: float) -> ComplexArray:
    """As ``_fitted``, for partials that die away within a block."""
    size, count = blocks.shape[1], partial_hz.size
    half = size // 2
    after_s = (np.arange(half) + 0.5 + 0.5 * (size % 2)) / rate_hz
    angle = 2 * np.pi * np.outer(partial_hz, after_s)
    cosine, sine = np.cos(angle), np.sin(angle)
    later = np.exp(-np.outer(fall, after_s))
    earlier = 1 / later
    rows = np.ones((2 * count + 1, size))
    rows[:count, size - half :], rows[count:-1, size - half :] = cosine * later, -sine * later
    rows[:count, half - 1 :: -1], rows[count:-1, half - 1 :: -1] = cosine * earlier, sine * earlier
    rows[count:-1, half : size - half] = 0.0
    solved = np.linalg.solve(rows @ rows.T, rows @ blocks.T)
    return np.asarray(solved[:count] + 1j * solved[count:-1])


def _fitted(blocks: FloatArray, partial_hz: FloatArray, *, rate_hz: float) -> ComplexArray:
    """Amplitude and phase of each partial at the centre of each block, by least squares. Shape (k, blocks).

    About the centre cosines are even and sines odd, so the even and the odd half of a block are fitted apart.
    """
    size = blocks.shape[1]
    half = size // 2
    after_s = (np.arange(half) + 0.5 + 0.5 * (size % 2)) / rate_hz
    angle = 2 * np.pi * np.outer(partial_hz, after_s)
    later, earlier = blocks[:, size - half :], blocks[:, half - 1 :: -1]
    sines = np.sin(angle)
    odd = np.linalg.solve(sines @ sines.T, sines @ (earlier - later).T) / 2
    even = np.ones((partial_hz.size + 1, half))  # the last row: a steady offset
    np.cos(angle, out=even[:-1])
    gram, right = 2 * even @ even.T, even @ (later + earlier).T
    if size % 2:
        gram, right = gram + 1, right + blocks[:, half]
    return np.asarray(np.linalg.solve(gram, right)[:-1] + 1j * odd)


def _ahead(warped_s: FloatArray, *, glide: float, tau_s: float) -> FloatArray:
    """How far a gliding note is ahead when a steady one would have come to ``warped_s``. [s]"""
    ahead = glide * glide_integral(warped_s, tau_s=tau_s)
    for _ in range(2):  # converges by a factor of the glide each time
        ahead = glide * glide_integral(warped_s - ahead, tau_s=tau_s)
    return np.asarray(ahead)


def straightened(clip: Clip, *, glide: float, tau_s: float) -> FloatArray:
    """Samples of the note as if it did not glide: read later by what it is ahead, by six-point interpolation.

    Lagrange's polynomial through six samples errs by 0.3 % of a partial at 7 kHz, sampled at 48 kHz, and less
    below as the sixth power.
    """
    size = clip.samples.size
    first = np.arange(0, size, COARSE)
    edges = np.append(first, first[-1] + COARSE) / clip.rate_hz
    at = _ahead(edges, glide=glide, tau_s=tau_s) * -clip.rate_hz
    base = np.floor(0.5 * (at[1:] + at[:-1])).astype(np.int64)  # the same for a whole stretch of samples
    begin, slope = at[:-1] - base, np.diff(at) / COARSE
    padded = np.pad(clip.samples, (COARSE, 2 * COARSE), mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, COARSE + TAPS - 1)
    start = np.clip(first + base - 2, -COARSE, size) + COARSE
    straight = np.empty((first.size, COARSE))
    within = np.arange(COARSE, dtype=float)
    for i in range(0, first.size, PIECE):  # pieces that stay in the processor's cache
        few = slice(i, i + PIECE)
        x = begin[few, None] + slope[few, None] * within
        straight[few] = _interpolated(windows[start[few]], x)
    return straight.ravel()[:size]


def _interpolated(around: FloatArray, x: FloatArray) -> FloatArray:
    """Values ``x`` after the third of each six samples in a row, by the polynomial through them.

    ``around`` has five columns more than ``x``.
    """
    moved = np.stack([around[:, i : i + x.shape[1]] for i in range(TAPS)]).reshape(TAPS, -1)
    powers = (LAGRANGE @ moved).reshape(TAPS, *x.shape)
    value: FloatArray = powers[0]
    for more in powers[1:]:
        value *= x
        value += more
    return value


def leaked(tracks: Tracks) -> FloatArray:
    """Energy that each track may have caught from the others: they are not quite steady within a block."""
    energy = np.sum(np.abs(tracks.z) ** 2, axis=1)
    apart = np.abs(tracks.number[:, None] - tracks.number)
    share = np.where(apart > 0, (LEAK / np.maximum(apart, 1)) ** 2, 0.0)
    return np.asarray(share @ energy)


def track_noise(z: ComplexArray) -> FloatArray:
    """Variance of each track's noise, from its differences, smoothed over neighbours."""
    # remove the steady turning first, so that a wrong reference does not look like noise
    step = np.angle(np.sum(z[:, 1:] * np.conj(z[:, :-1]), axis=1))
    steady = z * np.exp(-1j * step[:, None] * np.arange(z.shape[1]))
    # third differences, as a quick decay alone has second ones; 6 and 20: the sums of the squared binomials
    bend = np.abs(np.diff(steady, 2, axis=1)) ** 2 / 6
    if z.shape[1] >= ENOUGH_BLOCKS:
        bend = np.abs(np.diff(steady, 3, axis=1)) ** 2 / 20
    own = np.maximum(row_medians(bend) / np.log(2), 1e-20)  # median of an exponential law to its mean
    level = np.log(own)
    padded = np.pad(level, 2, mode="edge")
    near = row_medians(np.lib.stride_tricks.sliding_window_view(padded, 5))
    return np.asarray(np.exp(np.maximum(near, 0.5 * (near + level))))
