"""Two polarisations of one string: partials that beat, split into their two modes.

Over a model's phase each track is the sum of two exponentials a exp(s t), s = -fall + 2 pi i f, times t from
the first block. Both are found from the eigenvectors of the track's own correlation (ESPRIT; Roy and Kailath
1989) and then fitted by least squares. Well above the noise, modes are told apart before a whole beat sounds,
and high partials beat the soonest. The mode that is the stronger where the stretch begins is the note.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pitchcheck.pitch.tracks import ComplexArray, Tracks
from pitchcheck.types import FloatArray

FEWEST_BLOCKS = 9  # fewer say nothing about eight unknowns
ENOUGH_BLOCKS = 40  # more are averaged first
LONGEST_WINDOW = 16  # blocks that are correlated
ROUNDS = 5  # of least squares
DAMPING = 1e-3  # of the steps, relative
SURE = 30.0  # chi-square gained by a second mode: by chance, with four unknowns, once in 200,000
FASTEST = (8.0, 30.0)  # beats [1/s] and falls [1/s] that are believed
FAINTEST = 0.02  # share of the first mode below which a second is not believed


@dataclass(frozen=True)
class SplitModes:
    """Tracks with the second modes taken out.

    Attributes
    ----------
    tracks : Tracks
        ``noise`` is greater where the first mode is known less well for the second.
    beating : array of bool, shape (k,)
        Where a second mode was taken out.
    misfit : float
        What two modes a partial leave unexplained, over the noise, per freedom: about 1 when they and the
        model's glide are the whole truth.
    """

    tracks: Tracks
    beating: npt.NDArray[np.bool_]
    misfit: float


def part_modes(tracks: Tracks, path: FloatArray) -> SplitModes | None:
    """Take second modes out where there clearly are some. None when the note is too short to tell.

    Parameters
    ----------
    tracks : Tracks
    path : array, shape (k, m)
        A model's phase over the tracks' reference. [rad]
    """
    count = tracks.time_s.size
    if count < FEWEST_BLOCKS:
        return None
    turn = np.exp(-1j * path)
    time_s = tracks.time_s - tracks.time_s[0]
    few = -(-count // ENOUGH_BLOCKS)
    thin = (tracks.z * turn)[:, : count // few * few].reshape(tracks.number.size, -1, few).mean(axis=2)
    thin_s = time_s[: count // few * few].reshape(-1, few).mean(axis=1)
    noise = tracks.noise / few
    step_s = float(thin_s[1] - thin_s[0])
    one = _fit(thin, _rates(thin, 1, step_s=step_s), thin_s)
    two = _fit(thin, _rates(thin, 2, step_s=step_s), thin_s)
    level = np.abs(two.amplitude)
    rows = np.arange(level.shape[0])
    first = np.argmax(level, axis=1)
    second = 1 - first
    beat = np.abs(two.rate[rows, first].imag - two.rate[rows, second].imag) / (2 * np.pi)
    beating = (one.left - two.left) / noise > SURE / 2  # a complex sample's noise is shared by two components
    beating &= (beat < FASTEST[0]) & np.all((two.rate.real < 1.0) & (two.rate.real > -FASTEST[1]), axis=1)
    beating &= level[rows, second] > FAINTEST * level[rows, first]
    vague = two.turn_variance[rows, first] / one.turn_variance[:, 0]
    rate = np.where(beating, two.rate[rows, second], 0.0)
    amplitude = np.where(beating, two.amplitude[rows, second], 0.0)
    inner = np.arange(few) * (time_s[1] - time_s[0])
    gain = np.exp(rate[:, None] * (inner - inner.mean())).mean(axis=1)
    other = (amplitude / gain)[:, None] * np.exp(rate[:, None] * time_s) / turn
    variance_inflation = np.where(beating, np.maximum(vague, 1.0), 1.0)
    return SplitModes(
        replace(tracks, z=tracks.z - other, noise=tracks.noise * variance_inflation),
        beating,
        float(np.mean(two.left / noise)) / max(1, thin_s.size - 4),
    )


@dataclass(frozen=True)
class _Modes:
    """Fitted modes: rates and amplitudes (k, d), power left over (k,), variance of the turning per noise."""

    rate: ComplexArray
    amplitude: ComplexArray
    left: FloatArray
    turn_variance: FloatArray


def _rates(track: ComplexArray, modes: int, *, step_s: float) -> ComplexArray:
    """Rates of so many modes of each track, from its correlation. Shape (k, modes). [1/s]"""
    window = max(modes + 1, min(LONGEST_WINDOW, track.shape[1] // 3))
    pieces = np.lib.stride_tricks.sliding_window_view(track, window, axis=1)
    correlation = pieces.swapaxes(1, 2) @ pieces.conj()
    space = np.linalg.eigh(correlation)[1][:, :, -modes:]
    now, later = space[:, :-1], space[:, 1:]
    adjoint = now.conj().swapaxes(1, 2)
    step = np.linalg.solve(adjoint @ now, adjoint @ later)
    return np.asarray(np.log(np.linalg.eigvals(step)) / step_s)


def _fit(track: ComplexArray, rate: ComplexArray, time_s: FloatArray) -> _Modes:
    """Fit modes to each track by damped least squares (Levenberg 1944)."""
    modes = rate.shape[1]
    shape, amplitude, rest = _linear(track, rate, time_s)
    left = np.sum(np.abs(rest) ** 2, axis=1)
    identity = np.eye(2 * modes)
    for _ in range(ROUNDS):
        design = np.concatenate([shape, shape * amplitude[:, None] * time_s[:, None]], axis=2)
        adjoint = design.conj().swapaxes(1, 2)
        normal = adjoint @ design
        normal += DAMPING * np.einsum("kii->ki", normal).real[:, :, None] * identity + 1e-30 * identity
        move = np.linalg.solve(normal, adjoint @ rest[..., None])[..., 0]
        trial = rate + move[:, modes:]
        tried = _linear(track, trial, time_s)
        remains = np.sum(np.abs(tried[2]) ** 2, axis=1)
        better = remains < left
        rate = np.where(better[:, None], trial, rate)
        shape = np.where(better[:, None, None], tried[0], shape)
        amplitude = np.where(better[:, None], tried[1], amplitude)
        rest = np.where(better[:, None], tried[2], rest)
        left = np.where(better, remains, left)
    design = np.concatenate([shape, shape * amplitude[:, None] * time_s[:, None]], axis=2)
    normal = design.conj().swapaxes(1, 2) @ design
    size = np.sqrt(np.maximum(np.einsum("kii->ki", normal).real, 1e-300))
    normal = normal / (size[:, :, None] * size[:, None, :]) + 1e-13 * identity
    variance = np.einsum("kii->ki", np.linalg.inv(normal)).real / size**2
    return _Modes(rate, amplitude, left, np.maximum(variance[:, modes:], 1e-300))


def _linear(
    track: ComplexArray, rate: ComplexArray, time_s: FloatArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Shapes of the modes (k, m, d), their best amplitudes (k, d), and what they leave (k, m)."""
    growth = np.clip(rate.real, -1e3, 30.0 / time_s[-1])
    shape = np.asarray(np.exp((growth + 1j * rate.imag)[:, None] * time_s[:, None]), dtype=np.complex128)
    adjoint = shape.conj().swapaxes(1, 2)
    normal = adjoint @ shape
    power = np.einsum("kii->k", normal).real
    normal = normal + (1e-12 * power)[:, None, None] * np.eye(rate.shape[1])
    amplitude = np.asarray(np.linalg.solve(normal, adjoint @ track[..., None])[..., 0], dtype=np.complex128)
    rest = track - (shape @ amplitude[..., None])[..., 0]
    return shape, amplitude, rest
