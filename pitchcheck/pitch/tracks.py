"""Partials of a note as slow complex tracks: amplitude and phase of each, block by block.

A block is a few periods long. In each block all partials are fitted together by least squares, so that
neighbours do not leak into each other and the ends of the note need no window. Phases are relative to the
reference law f_k = k f sqrt(1 + B k^2) (Fletcher 1964), counted from the first block's centre.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pitchcheck.clip import Clip, FloatArray

ComplexArray = npt.NDArray[np.complex128]

PERIODS = 2.0  # periods of the fundamental in a block: partials are then orthogonal (nearly)
SHORTEST_BLOCK_S = 0.012  # [s] high notes: no need for more blocks than this
MOST_PARTIALS = 32
LEAK = 0.01  # amplitude share of a neighbour that a track may catch (measured on synthetic strings)
HIGHEST_HZ = 7000.0  # [Hz] partials above are weak, short-lived and far off the law
COARSE = 64  # samples between the points at which a glide is worked out: straight between, to 1e-8 s
PIECE = 4096  # samples worked on at once
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
    stiffness : float
        B of the reference law. [-]
    ahead_s : array, shape (m,)
        How far the reference has run ahead of steady pitches by gliding. [s]
    """

    number: FloatArray
    hz: FloatArray
    z: ComplexArray
    noise: FloatArray
    time_s: FloatArray
    stiffness: float
    ahead_s: FloatArray


def law_hz(number: FloatArray, *, hz: float, stiffness: float) -> FloatArray:
    """Partials of a stiff string. [Hz] Fletcher (1964), equation (pitch 1) of docs/accuracy-pitch.md."""
    return np.asarray(number * hz * np.sqrt(1 + stiffness * number**2), dtype=float)


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
    stiffness: float,
    periods: float | None = None,
    glide: float = 0.0,
    tau_s: float = 1.0,
) -> Tracks:
    """Split a note into the tracks of its partials.

    Parameters
    ----------
    clip : Clip
        The stretch to read; at least three blocks long.
    hz, stiffness : float
        Reference law, right to about 1 %.
    periods : float, optional
        Periods in a block; chosen by the pitch when not given.
    glide, tau_s : float
        The reference glides by this, relative, with this decay time: partials that move within a block leak
        into each other.
    """
    highest = min(HIGHEST_HZ, BELOW_RATE * clip.rate_hz)
    number = np.arange(1.0, MOST_PARTIALS + 1)
    partial_hz = law_hz(number, hz=hz, stiffness=stiffness)
    number, partial_hz = number[partial_hz < highest], partial_hz[partial_hz < highest]
    block = round((periods or periods_of(hz)) * clip.rate_hz / hz)
    samples = clip.samples if glide == 0 else straightened(clip, glide=glide, tau_s=tau_s)
    count = samples.size // block
    blocks = samples[: count * block].reshape(count, block)
    within_s = (np.arange(block) - (block - 1) / 2) / clip.rate_hz
    angle = 2 * np.pi * np.outer(within_s, partial_hz)
    columns = np.hstack([np.cos(angle), -np.sin(angle), np.ones((block, 1))])
    gram = columns.T @ columns
    solved = np.linalg.solve(gram, columns.T @ blocks.T)
    k = number.size
    centre_s = np.asarray((np.arange(count) * block + (block - 1) / 2) / clip.rate_hz, dtype=float)
    turn = np.exp(-2j * np.pi * np.outer(partial_hz, centre_s - centre_s[0]))
    z = (solved[:k] + 1j * solved[k : 2 * k]) * turn
    ahead_s = _ahead(centre_s, glide=glide, tau_s=tau_s)
    return Tracks(number, partial_hz, z, track_noise(z), centre_s - ahead_s, stiffness, ahead_s)


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
    coarse = np.arange(0.0, size + COARSE, COARSE)
    ahead = _ahead(coarse / clip.rate_hz, glide=glide, tau_s=tau_s) * clip.rate_hz
    straight = np.empty(size)
    for first in range(0, size, PIECE):  # pieces that stay in the processor's cache: four times as fast
        every = np.arange(first, min(first + PIECE, size), dtype=float)
        at = np.clip(every - np.interp(every, coarse, ahead), 2, size - 4)
        straight[first : first + PIECE] = _interpolated(clip.samples, at)
    return straight


def _interpolated(samples: FloatArray, at: FloatArray) -> FloatArray:
    """Value between samples, by Lagrange's polynomial through the six around."""
    base = at.astype(np.int64)
    x = at - base
    x2 = x * x
    inner, outer = (x2 - 1) * (x - 3), (x2 - 4) * (x - 3)  # factors that several weights have in common
    weights = (
        -x * inner * (x - 2) / 120,
        x * (x - 1) * outer / 24,
        -(x2 - 1) * outer / 12,
        x * (x + 1) * outer / 12,
        -x * inner * (x + 2) / 24,
        x * (x2 - 1) * (x2 - 4) / 120,
    )
    return np.asarray(sum(w * samples[base + (i - 2)] for i, w in enumerate(weights)))


def leaked(tracks: Tracks) -> FloatArray:
    """Energy that each track may have caught from the others: they are not quite steady within a block."""
    energy = np.sum(np.abs(tracks.z) ** 2, axis=1)
    apart = np.abs(tracks.number[:, None] - tracks.number)
    share = np.where(apart > 0, (LEAK / np.maximum(apart, 1)) ** 2, 0.0)
    return np.asarray(share @ energy)


def track_noise(z: ComplexArray) -> FloatArray:
    """Variance of each track's noise, from its second differences, smoothed over neighbours."""
    # remove the steady turning first, so that a wrong reference does not look like noise
    step = np.angle(np.sum(z[:, 1:] * np.conj(z[:, :-1]), axis=1))
    steady = z * np.exp(-1j * step[:, None] * np.arange(z.shape[1]))
    bend = np.abs(steady[:, 2:] - 2 * steady[:, 1:-1] + steady[:, :-2]) ** 2 / 6
    own = np.maximum(np.median(bend, axis=1) / np.log(2), 1e-20)  # median of an exponential law to its mean
    level = np.log(own)
    padded = np.pad(level, 2, mode="edge")
    near = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    return np.asarray(np.exp(np.maximum(near, 0.5 * (near + level))))
