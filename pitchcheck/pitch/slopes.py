"""Frequency and glide of each partial, as a quadratic likelihood around the reference law.

Everything is relative: ``sharp`` is a partial's frequency over its reference less 1, and ``glide`` the relative
excess at the start of the note, f(t) = f_settled (1 + glide exp(-2 t / tau)) (Legge and Fletcher 1984).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import FloatArray
from pitchcheck.pitch.tracks import ComplexArray, Tracks

SMOOTH_S = 0.06  # [s] envelopes are smoothed over this half-width
WEAKEST = 25.0  # energy over noise, summed over a track, below which a partial is not used (14 dB)
TURNS = 4  # Gauss-Newton steps; the phase is nearly linear by then


@dataclass(frozen=True)
class Slopes:
    """Quadratic log-likelihood of (sharp, glide) for each partial.

    Attributes
    ----------
    number : array, shape (k,)
    information : array, shape (k, 2, 2)
        Negative second derivative.
    score : array, shape (k, 2)
        First derivative at (0, 0) = information x estimate.
    excess : array, shape (k,)
        Phase scatter over what the noise explains (reduced chi-square, at least 1 applied).
    envelope : array, shape (k, m)
    tau_s : float
        Decay time whose half is the glide's. [s]
    """

    number: FloatArray
    information: FloatArray
    score: FloatArray
    excess: FloatArray
    envelope: FloatArray
    tau_s: float


def envelopes(z: ComplexArray, noise: FloatArray, time_s: FloatArray) -> FloatArray:
    """Smoothed amplitude of each track, the noise's share taken off."""
    step_s = time_s[1] - time_s[0]
    half = int(np.clip(round(SMOOTH_S / step_s), 1, max(1, z.shape[1] // 6)))
    kernel = np.hanning(2 * half + 3)[1:-1]
    weight = np.convolve(np.ones(z.shape[1]), kernel, mode="same")
    power = np.array([np.convolve(row, kernel, mode="same") for row in np.abs(z) ** 2]) / weight
    return np.sqrt(np.maximum(power - noise[:, None], 0.02 * noise[:, None]))


def glide_integral(time_s: FloatArray, *, tau_s: float) -> FloatArray:
    """Integral of exp(-2 t / tau) from 0 to each time. [s]"""
    return np.asarray((tau_s / 2) * (1 - np.exp(-2 * time_s / tau_s)))


def phase_left(tracks: Tracks, envelope: FloatArray, model: FloatArray) -> FloatArray:
    """Phase of each track over a model's, the weak blocks by their quadrature part. Shape (k, m). [rad]"""
    turned = tracks.z * np.exp(-1j * model)
    weight = envelope**2 / tracks.noise[:, None]
    start = np.angle(np.sum(turned * envelope * weight, axis=1))
    turned *= np.exp(-1j * start)[:, None]
    quadrature = np.clip(turned.imag / envelope, -1.5, 1.5)
    return np.where(weight > 6.0, np.angle(turned), quadrature)


def fit_slopes(
    tracks: Tracks,
    envelope: FloatArray,
    phase: FloatArray,
    *,
    tau_s: float,
    weight: FloatArray | None = None,
) -> Slopes:
    """Reduce phases to a quadratic likelihood of (sharp, glide), the start phase of each partial left free.

    Parameters
    ----------
    tracks : Tracks
    envelope, phase : array, shape (k, m)
        Phase over the reference. [rad]
    tau_s : float > 0
        Decay time of the glide's law. [s]
    weight : array, shape (k, m), optional
        Weights to use in place of the best ones (to treat several notes alike).
    """
    best = 2 * envelope**2 / tracks.noise[:, None]
    used = best if weight is None else weight
    turns = 2 * np.pi * tracks.hz[:, None]
    design = np.stack(
        [turns * tracks.time_s, turns * glide_integral(tracks.time_s, tau_s=tau_s)], axis=-1
    )  # (k, m, 2)
    total = used.sum(axis=1)
    design = design - (np.einsum("km,kmd->kd", used, design) / total[:, None])[:, None, :]
    level = phase - (np.einsum("km,km->k", used, phase) / total)[:, None]
    information = np.einsum("km,kmc,kmd->kcd", used, design, design)
    score = np.einsum("km,kmc,km->kc", used, design, level)
    ridge = 1e-9 * np.einsum("kdd->kd", information)
    solvable = information + np.eye(2) * ridge[:, None, :]
    estimate = np.linalg.solve(solvable, score[..., None])[..., 0]
    left = level - np.einsum("kmd,kd->km", design, estimate)
    freedom = max(1.0, phase.shape[1] - 3.0)
    excess = np.einsum("km,km->k", best, left**2) / freedom
    if weight is not None:
        noise = np.einsum("km,kmc,kmd->kcd", used**2 / np.maximum(best, 1e-12), design, design)
        noise = noise + np.eye(2) * 1e-9 * np.einsum("kdd->kd", noise)[:, None, :]
        information = solvable @ np.linalg.solve(noise, solvable)
        score = np.einsum("kcd,kd->kc", information, estimate)
    calm = np.maximum(excess, 1.0)
    return Slopes(
        tracks.number, information / calm[:, None, None], score / calm[:, None], excess, envelope, tau_s
    )
