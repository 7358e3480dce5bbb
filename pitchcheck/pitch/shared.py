"""Differences between notes of one string, from partials that all of them have.

Note n, partial k: sharp by sharp_n + q_nk dB_n + c_k + d_nk and gliding by glide_n + e_k. What all notes
share (c_k, e_k: the body's pull on that partial, the string's faults, the common glide) is left wholly free,
so that it cancels between notes; d_nk is what a partial does in one note only. Only differences between
notes mean anything here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import FloatArray
from pitchcheck.pitch.law import stiffness_lever
from pitchcheck.pitch.slopes import Slopes
from pitchcheck.units import CENTS_PER_LOG

SCATTERS_CENTS = np.geomspace(0.002, 8.0, 9)  # [cent] grid of d_nk
GLIDES_CENTS = (0.01, 0.15, 0.8, 4.0)  # [cent] grid of how much the glides of the notes differ
FREE_CENTS = 30.0  # [cent] prior width of what is left free
STIFFNESS_ALIKE = 0.1  # notes of one string at like pitch have like B, within this share
TAIL = 4.0  # degrees of freedom of the deviations


@dataclass(frozen=True)
class Trial:
    """One way of looking at the notes.

    Attributes
    ----------
    slopes : sequence (note) of Slopes
        All over the same partials; information 0 where a note lacks one.
    belief : float
        Before listening, as a logarithm.
    glides : tuple of float
        How much the notes' glides may differ; each is tried. [cent]
    """

    slopes: Sequence[Slopes]
    belief: float
    glides: tuple[float, ...] = GLIDES_CENTS


@dataclass(frozen=True)
class Differences:
    """Notes against each other.

    Attributes
    ----------
    sharp : array, shape (n,)
        Each note over its reference, less 1; only differences count.
    variance : array, shape (n, n)
        Variance of each difference, sharp_i - sharp_j.
    trial_weight : array, shape (trials,)
        Belief in each trial.
    """

    sharp: FloatArray
    variance: FloatArray
    trial_weight: FloatArray


def first_pull(slopes: Sequence[Slopes], *, hz: FloatArray, stiffness: FloatArray) -> FloatArray:
    """Weights of the notes' partials, from two rounds at one glide time. Shape (n, k)."""
    pull = np.ones((hz.size, slopes[0].number.size))
    for _ in range(2):
        points = [_solve(slopes, hz, stiffness, pull, glide=glide) for glide in GLIDES_CENTS[1::2]]
        evidence, means = points[int(np.argmax([p[0].max() for p in points]))][:2]
        best = int(np.argmax(evidence))
        pull = _pull(slopes, means[best], stiffness, scatter=SCATTERS_CENTS[best])
    return pull


def fit_differences(
    trials: Sequence[Trial], *, hz: FloatArray, stiffness: FloatArray, pull: FloatArray
) -> Differences:
    """Average the differences over the trials, the scatter and the glides' spread.

    Parameters
    ----------
    trials : sequence of Trial
        Ways of looking at the same phases.
    hz, stiffness : array, shape (n,)
        Reference laws.
    pull : array, shape (n, k)
        Weights of the partials.
    """
    count = hz.size
    points = [[_solve(t.slopes, hz, stiffness, pull, glide=glide) for glide in t.glides] for t in trials]
    log_weight = [
        np.concatenate([p[0] for p in row]) + t.belief for row, t in zip(points, trials, strict=True)
    ]
    top = max(float(w.max()) for w in log_weight)
    weights = [np.exp(w - top) for w in log_weight]
    total = float(sum(w.sum() for w in weights))
    flat = np.concatenate(weights) / total
    sharp = np.concatenate([p[1] for row in points for p in row])[:, :count]
    gap = sharp[:, :, None] - sharp[:, None, :]
    middle = np.einsum("w,wij->ij", flat, gap)
    inner = np.concatenate([p[2] for row in points for p in row])
    variance = np.einsum("w,wij->ij", flat, inner + (gap - middle) ** 2)
    return Differences(flat @ sharp, variance, np.array([w.sum() / total for w in weights]))


def own_variances(variance: FloatArray) -> FloatArray:
    """Variance of each note such that those of any two add up to that of their difference. Shape (n,)."""
    count = variance.shape[0]
    if count == 2:
        return np.full(2, variance[0, 1] / 2)
    rows = variance.sum(axis=1)
    total = rows.sum() / (2 * (count - 1))
    return np.asarray(np.maximum((rows - total) / (count - 2), 0.05 * rows / (count - 1)))


def _solve(
    slopes: Sequence[Slopes], hz: FloatArray, stiffness: FloatArray, pull: FloatArray, *, glide: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log evidence (s,), estimates (s, 3 n) and variances of differences (s, n, n) for each scatter."""
    count, partials, grid = hz.size, slopes[0].number.size, SCATTERS_CENTS.size
    info_all = np.array([s.information for s in slopes])  # (n, k, 2, 2)
    score_all = np.array([s.score for s in slopes])
    own = (SCATTERS_CENTS[:, None, None] / CENTS_PER_LOG) ** 2 / pull  # (s, n, k)
    known = info_all[..., 0, 0]
    lost = own / (1 + known * own)
    evidence = 0.5 * np.sum(lost * score_all[..., 0] ** 2 - np.log1p(known * own), axis=(1, 2))
    evidence -= 0.5 * float(sum(s.power.sum() for s in slopes))
    score = score_all - lost[..., None] * info_all[..., :, 0] * score_all[..., :1]
    info = info_all - lost[..., None, None] * (info_all[..., :, :1] @ info_all[..., :1, :])
    free = (FREE_CENTS / CENTS_PER_LOG) ** -2
    total = info.sum(axis=1) + np.eye(2) * free  # (s, k, 2, 2)
    inverse = np.linalg.inv(total)
    summed = score.sum(axis=1)[..., None]  # (s, k, 2, 1)
    settled = inverse @ summed
    evidence += 0.5 * np.sum(summed * settled, axis=(1, 2, 3))
    plain = info_all.sum(axis=0) + np.eye(2) * free
    # what all notes share is no evidence for anything: only what the scatter does to it counts
    evidence += 0.5 * np.sum(np.linalg.slogdet(plain)[1] - np.linalg.slogdet(total)[1], axis=1)
    design = np.zeros((count, partials, 2, 3))
    design[..., 0, 0] = design[..., 1, 2] = 1.0
    design[..., 0, 1] = [stiffness_lever(slopes[0].number, stiffness=b) for b in stiffness]
    moved = info @ design  # (s, n, k, 2, 3)
    left = moved.transpose(0, 4, 1, 2, 3).reshape(grid, 3 * count, 2 * partials)
    right = (inverse[:, None] @ moved).transpose(0, 2, 3, 4, 1).reshape(grid, 2 * partials, 3 * count)
    matrix = -(left @ right)
    diagonal = np.swapaxes(design.reshape(count, -1, 3), 1, 2) @ moved.reshape(grid, count, -1, 3)
    for i in range(3):
        for j in range(3):
            matrix[:, np.arange(count) + i * count, np.arange(count) + j * count] += diagonal[..., i, j]
    straight = np.swapaxes(design.reshape(count, -1, 3), 1, 2) @ score.reshape(grid, count, -1, 1)
    vector = straight[..., 0].transpose(0, 2, 1).reshape(grid, -1)
    vector -= (left @ settled.reshape(grid, -1, 1))[..., 0]
    priors, aim, log_prior = _priors(hz, stiffness, glide=glide)
    matrix += priors
    vector += aim
    scale = 1 / np.sqrt(np.einsum("sii->si", matrix))
    scaled = matrix * scale[:, :, None] * scale[:, None, :]
    covariance = np.linalg.inv(scaled) * scale[:, :, None] * scale[:, None, :]
    estimate = (covariance @ vector[..., None])[..., 0]
    evidence += 0.5 * np.sum(vector * estimate, axis=1) + log_prior
    evidence -= 0.5 * np.linalg.slogdet(scaled)[1] - np.sum(np.log(scale), axis=1)
    sharp = covariance[:, :count, :count]
    own_sharp = np.einsum("sii->si", sharp)
    return evidence, estimate, own_sharp[:, :, None] + own_sharp[:, None, :] - 2 * sharp


def _priors(hz: FloatArray, stiffness: FloatArray, *, glide: float) -> tuple[FloatArray, FloatArray, float]:
    """Precision (3 n, 3 n), its pull (3 n,) and log density of what is believed before listening.

    Levels are free; notes of one string have like B, growing with pitch by a power between 0 (same string,
    tuned) and 2 (shorter string); their glides differ by about ``glide`` cents.
    """
    count = hz.size
    priors, aim = np.zeros((3 * count, 3 * count)), np.zeros(3 * count)
    priors[:count, :count] = np.eye(count) * (FREE_CENTS / CENTS_PER_LOG) ** -2
    pitch = np.log(hz / np.exp(np.mean(np.log(hz))))
    level = max(float(np.median(stiffness / np.exp(pitch))), 1e-6) * np.exp(pitch)
    alike = level * (STIFFNESS_ALIKE + np.abs(pitch))
    tight = np.diag(alike**-2)
    tight -= np.outer(level / alike**2, level / alike**2) / (np.sum(level**2 / alike**2) + 1.0)
    priors[count : 2 * count, count : 2 * count] = tight
    aim[count : 2 * count] = -tight @ (stiffness - level)
    apart = (glide / CENTS_PER_LOG) ** -2
    priors[2 * count :, 2 * count :] = np.eye(count) * apart - apart / count * (1 - 1e-9)
    log_prior = 0.5 * (count - 1) * float(np.log(apart))
    return priors, aim, log_prior - 0.5 * float((stiffness - level) @ tight @ (stiffness - level))


def _pull(
    slopes: Sequence[Slopes], estimate: FloatArray, stiffness: FloatArray, *, scatter: float
) -> FloatArray:
    """Student weights of each note's partials against the partial's mean over the notes. Shape (n, k)."""
    count = stiffness.size
    info = np.array([s.information for s in slopes])
    lever = np.array([stiffness_lever(slopes[0].number, stiffness=b) for b in stiffness])
    known = np.maximum(info[..., 0, 0], 1e-6)
    sharp = (
        np.array([s.score[:, 0] for s in slopes]) - info[..., 0, 1] * estimate[2 * count :, None]
    ) / known
    apart = sharp - estimate[:count, None] - lever * estimate[count : 2 * count, None]
    weight = known / (1 + known * (scatter / CENTS_PER_LOG) ** 2)
    apart = apart - np.sum(weight * apart, axis=0) / weight.sum(axis=0)
    expected = (scatter / CENTS_PER_LOG) ** 2 + 1 / known
    return np.asarray(np.minimum(1.0, (TAIL + 1) / (TAIL + apart**2 / expected)))
