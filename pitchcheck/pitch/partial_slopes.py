"""Frequency and glide of each partial, as a quadratic likelihood around the reference law.

Everything is relative: ``sharp`` is a partial's frequency over its reference less 1, and ``glide`` the
relative excess at the start of the note, f(t) = f_settled (1 + glide exp(-2 t / tau)) (Legge and Fletcher
1984).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from pitchcheck.pitch.medians import pairs
from pitchcheck.pitch.tracks import ComplexArray, Tracks, glide_integral
from pitchcheck.types import FloatArray

Number = TypeVar("Number", np.float64, np.complex128)

SMOOTH_S = 0.06  # [s] envelopes are smoothed over this half-width
WEAKEST = 25.0  # energy over noise, summed over a track, below which a partial is not used (14 dB)
LINE = 20.0  # power over noise of a partial's line below which it is taken for noise (13 dB)
HELD = 12.0  # energy over noise of a smoothed track below which its phase is no longer followed
ANGLE = 6.0  # energy over noise of one block above which its angle is taken
OWN_OFFSET = 0.012  # a partial may lie this far off the model, relative (20 cents)


@dataclass(frozen=True)
class Slopes:
    """Quadratic log-likelihood of (sharp, glide) for each partial, for some decay times of the glide's law.

    Attributes
    ----------
    number : array, shape (k,)
    taus_s : array, shape (t,)
        Decay times whose halves are the glide's. [s]
    information : array, shape (t, k, 2, 2)
        Negative second derivative.
    score : array, shape (t, k, 2)
        First derivative at (0, 0) = information x estimate.
    fading : array, shape (t,)
        How much of the glide's law fades within the stretch, 0 to 1.
    """

    number: FloatArray
    taus_s: FloatArray
    information: FloatArray
    score: FloatArray
    fading: FloatArray


def envelopes(tracks: Tracks) -> FloatArray:
    """Smoothed amplitude of each track, the noise's share taken off. Shape (k, m)."""
    kernel = _kernel(tracks)
    weight = _smoothed(np.ones((1, tracks.z.shape[1])), kernel)
    power = _smoothed(tracks.z.real**2 + tracks.z.imag**2, kernel) / weight
    return np.asarray(np.sqrt(np.maximum(power - tracks.noise[:, None], 0.02 * tracks.noise[:, None])))


def phase_left(tracks: Tracks, envelope: FloatArray, model: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Phase of each track over a model's, shape (k, m) [rad], and its line's power over the noise (k,).

    A partial may lie off the model by a frequency of its own, found first as the peak of its spectrum. What
    is left turns slowly; it is followed on the smoothed track while that stands out, and held after. Single
    blocks too weak for an angle give the part in quadrature, which is right on average.
    """
    weight = envelope**2 / tracks.noise[:, None]
    turned = tracks.z * np.exp(-1j * model)
    line = _own_line(turned * envelope * weight / (1 + weight), step_s=_step(tracks), hz=tracks.hz)
    path = line[:, None] * (tracks.time_s - tracks.time_s[0])
    turned = turned * np.exp(-1j * path)
    power = np.sum(envelope**2, axis=1) * tracks.noise
    stands_out = np.abs(np.sum(turned * envelope, axis=1)) ** 2 / power
    kernel = _kernel(tracks)
    smooth = _smoothed(turned, kernel)
    strong = weight * kernel.sum() ** 2 / np.sum(kernel**2) > HELD
    turn = np.unwrap(np.angle(smooth), axis=1)
    last = np.where(strong.all(axis=1), strong.shape[1], np.argmin(strong, axis=1)) - 1
    held = np.arange(strong.shape[1]) > last[:, None]
    turn = np.where(held, np.take_along_axis(turn, np.maximum(last, 0)[:, None], axis=1), turn)
    turned = turned * np.exp(-1j * turn)
    quadrature = np.clip(turned.imag / envelope, -1.5, 1.5)
    return path + turn + np.where(weight > ANGLE, np.angle(turned), quadrature), stands_out


def _own_line(track: ComplexArray, *, step_s: float, hz: FloatArray) -> FloatArray:
    """Angular frequency at which each track's spectrum peaks, near 0. [rad/s]"""
    length = 1 << int(np.ceil(np.log2(4 * track.shape[1])))
    spectrum = np.abs(np.fft.fft(track, length, axis=1))
    turn = 2 * np.pi * np.fft.fftfreq(length, step_s)
    allowed = np.abs(turn) < 2 * np.pi * np.maximum(OWN_OFFSET * hz[:, None], 1.5 / (step_s * track.shape[1]))
    best = np.argmax(np.where(allowed, spectrum, 0.0), axis=1)
    rows = np.arange(track.shape[0])
    left, centre, right = (spectrum[rows, (best + d) % length] for d in (-1, 0, 1))
    bend = left - 2 * centre + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    return np.asarray(turn[best] + np.clip(shift, -0.5, 0.5) * (turn[1] - turn[0]))


def _smoothed(rows: npt.NDArray[Number], kernel: FloatArray) -> npt.NDArray[Number]:
    """Rows convolved with a kernel of odd length, zeros beyond their ends."""
    half, count = kernel.size // 2, rows.shape[1]
    smooth: npt.NDArray[Number] = kernel[half] * rows
    for i in range(1, half + 1):
        smooth[:, i:] += kernel[half + i] * rows[:, : count - i]
        smooth[:, : count - i] += kernel[half - i] * rows[:, i:]
    return smooth


def _step(tracks: Tracks) -> float:
    """Time from block to block. [s]"""
    return float(tracks.time_s[1] - tracks.time_s[0])


def _kernel(tracks: Tracks) -> FloatArray:
    """Weights with which envelopes are smoothed, an odd number of blocks."""
    count = tracks.time_s.size
    half = int(np.clip(round(SMOOTH_S / _step(tracks)), 1, max(1, count // 6)))
    return np.asarray(np.hanning(2 * half + 3)[1:-1])


def fit_slopes(
    tracks: Tracks,
    envelope: FloatArray,
    phase: FloatArray,
    *,
    taus_s: FloatArray,
    overdispersion: FloatArray | None = None,
) -> tuple[Slopes, FloatArray]:
    """Reduce phases to a quadratic likelihood of (sharp, glide), the start phase of each partial left free.

    Parameters
    ----------
    tracks : Tracks
    envelope, phase : array, shape (k, m)
        Phase over the reference. [rad]
    taus_s : array > 0, shape (t,)
        Decay times of the glide's law. [s]
    overdispersion : array, shape (k,), optional
        Factor by which the phases scatter more than the noise explains; found here, at the best decay time,
        when not given.

    Returns
    -------
    tuple of Slopes and array, shape (k,)
        The second is ``overdispersion``.
    """
    weight = 2 * envelope**2 / tracks.noise[:, None]
    time_s = tracks.time_s
    trends = np.stack([time_s, *(glide_integral(time_s, tau_s=float(tau)) for tau in taus_s)])
    information, score, power = project(weight, tracks.hz, trends, phase)
    count = taus_s.size
    rows = np.stack([np.zeros(count, dtype=int), np.arange(1, count + 1)], axis=1)  # (t, 2)
    quadratic = np.moveaxis(information[:, rows[:, :, None], rows[:, None, :]], 0, 1)
    scores = np.moveaxis(score[:, rows], 0, 1)
    if overdispersion is None:
        left = unexplained(quadratic, scores, power).min(axis=0)
        overdispersion = np.maximum(left / max(1.0, phase.shape[1] - 3.0), 1.0)
    fading = 1 - np.exp(-2 * time_s[-1] / taus_s)
    quadratic, scores = quadratic / overdispersion[:, None, None], scores / overdispersion[:, None]
    return Slopes(tracks.number, taus_s, quadratic, scores, fading), overdispersion


def project(
    weight: FloatArray, hz: FloatArray, trends: FloatArray, phase: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Information and score of each partial on the sizes of trends in time, and power of its phases.

    Parameters
    ----------
    weight, phase : array, shape (k, m)
    hz : array, shape (k,)
    trends : array, shape (c, m)
        Phase over 2 pi hz that a size of 1 makes. [s]

    Returns
    -------
    tuple of array, shape (k, c, c), (k, c) and (k,)
    """
    turns = 2 * np.pi * hz
    total = weight.sum(axis=1)
    centred = trends - trends.mean(axis=1, keepdims=True)
    first, second = pairs(trends.shape[0], itself=True)
    mean = weight @ centred.T / total[:, None]  # (k, c)
    half = weight @ (centred[first] * centred[second]).T - total[:, None] * mean[:, first] * mean[:, second]
    information = np.empty((hz.size, trends.shape[0], trends.shape[0]))
    information[:, first, second] = information[:, second, first] = half * (turns**2)[:, None]
    weighted = weight * phase
    level = weighted.sum(axis=1)
    score = (weighted @ centred.T - level[:, None] * mean) * turns[:, None]
    power = np.maximum(np.sum(weighted * phase, axis=1) - level**2 / total, 0.0)
    return information, score, power


def unexplained(information: FloatArray, score: FloatArray, power: FloatArray) -> FloatArray:
    """Power of the phases that a best (sharp, glide) leaves over. Shapes (..., 2, 2), (..., 2), (...)."""
    a, b, c = information[..., 0, 0], information[..., 0, 1], information[..., 1, 1]
    u, v = score[..., 0], score[..., 1]
    a, c = a * (1 + 1e-9) + 1e-12, c * (1 + 1e-9) + 1e-12
    explained = (c * u * u - 2 * b * u * v + a * v * v) / np.maximum(a * c - b * b, 1e-12 * a * c)
    return np.asarray(np.maximum(power - explained, 0.0))
