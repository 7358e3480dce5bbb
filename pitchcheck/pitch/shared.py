"""Differences between notes of one string, from partials that all of them have.

Note n, partial k: sharp by sharp_n + q_nk dB_n + c_k + d_nk and gliding by glide_n + e_k. What all notes share (c_k,
e_k: the body's pull on that partial, the string's faults, the common glide) is left wholly free, so that it cancels
between notes; d_nk is what a partial does in one note only. Only differences between notes mean anything here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import FloatArray
from pitchcheck.pitch.law import stiffness_lever
from pitchcheck.pitch.slopes import Slopes
from pitchcheck.units import CENTS_PER_LOG

SCATTERS_CENTS = np.geomspace(0.002, 8.0, 11)  # [cent] grid of d_nk
GLIDES_CENTS = (0.01, 0.1, 0.5, 1.5, 4.0)  # [cent] grid of how much the glides of the notes differ
FREE_CENTS = 30.0  # [cent] prior width of what is left free
STIFFNESS_ALIKE = 0.1  # notes of one string at like pitch have like B, within this share
TAIL = 4.0  # degrees of freedom of the deviations


@dataclass(frozen=True)
class Differences:
    """Notes against each other.

    Attributes
    ----------
    sharp : array, shape (n,)
        Each note over its reference, less 1; only differences count.
    variance : array, shape (n, n)
        Variance of each difference, sharp_i - sharp_j.
    """

    sharp: FloatArray
    variance: FloatArray


def fit_differences(
    notes: Sequence[Sequence[Slopes]], *, hz: FloatArray, stiffness: FloatArray, log_prior: FloatArray
) -> Differences:
    """Average the differences over the scatter, the glides' spread and their time.

    Parameters
    ----------
    notes : sequence (tau) of sequence (note) of Slopes
        All over the same partials; information 0 where a note lacks one.
    hz, stiffness : array, shape (n,)
        Reference laws.
    log_prior : array, shape (tau,)
        Belief in each glide time before listening.
    """
    count = hz.size
    pull = np.ones((count, notes[0][0].number.size))
    for turn in range(3):
        weights, means, spreads = [], [], []
        for belief, slopes in zip(log_prior, notes, strict=True):
            for glide in GLIDES_CENTS:
                for scatter in SCATTERS_CENTS:
                    one = _solve(slopes, hz, stiffness, pull, scatter=scatter, glide=glide)
                    weights.append(one[0] + belief)
                    means.append(one[1])
                    spreads.append(one[2])
        weight = np.exp(np.array(weights) - max(weights))
        weight /= weight.sum()
        best = int(np.argmax(weight))
        if turn < 2:
            per_tau = len(GLIDES_CENTS) * SCATTERS_CENTS.size
            scatter = SCATTERS_CENTS[best % SCATTERS_CENTS.size]
            pull = _pull(notes[best // per_tau], means[best], stiffness, scatter=scatter)
    mean = np.array(means)
    sharp = mean[:, :count]
    gap = sharp[:, :, None] - sharp[:, None, :]
    middle = np.einsum("w,wij->ij", weight, gap)
    variance = np.einsum("w,wij->ij", weight, np.array(spreads) + (gap - middle) ** 2)
    return Differences(weight @ sharp, variance)


def own_variances(variance: FloatArray) -> FloatArray:
    """Variance of each note such that those of any two add up to that of their difference. Shape (n,)."""
    count = variance.shape[0]
    if count == 2:
        return np.full(2, variance[0, 1] / 2)
    rows = variance.sum(axis=1)
    total = rows.sum() / (2 * (count - 1))
    return np.asarray(np.maximum((rows - total) / (count - 2), 0.05 * rows / (count - 1)))


def _solve(
    slopes: Sequence[Slopes],
    hz: FloatArray,
    stiffness: FloatArray,
    pull: FloatArray,
    *,
    scatter: float,
    glide: float,
) -> tuple[float, FloatArray, FloatArray]:
    """Log evidence, estimate (3 n,) and variances of differences (n, n) at one point of the grid."""
    count = hz.size
    info = np.array([s.information for s in slopes])  # (n, k, 2, 2)
    score = np.array([s.score for s in slopes])
    own = (scatter / CENTS_PER_LOG) ** 2 / pull
    lost = own / (1 + info[..., 0, 0] * own)
    evidence = 0.5 * float(np.sum(lost * score[..., 0] ** 2 - np.log1p(info[..., 0, 0] * own)))
    first = info[..., :, :1] @ info[..., :1, :]
    score = score - lost[..., None] * info[..., :, 0] * score[..., :1]
    info = info - lost[..., None, None] * first
    free = (FREE_CENTS / CENTS_PER_LOG) ** -2
    total = info.sum(axis=0) + np.eye(2) * free
    inverse = np.linalg.inv(total)
    summed = score.sum(axis=0)
    evidence += 0.5 * float(np.einsum("kc,kcd,kd->", summed, inverse, summed))
    evidence -= 0.5 * float(np.sum(np.linalg.slogdet(total / free)[1]))
    lever = np.array([stiffness_lever(slopes[0].number, stiffness=b) for b in stiffness])
    design = np.zeros((count, lever.shape[1], 2, 3))
    design[..., 0, 0], design[..., 0, 1], design[..., 1, 2] = 1.0, lever, 1.0
    moved = info @ design  # (n, k, 2, 3)
    cross = -np.einsum("nkci,kcd,mkdj->nimj", moved, inverse, moved)
    diagonal = np.einsum("nkci,nkcj->nij", design, moved)
    for n in range(count):
        cross[n, :, n, :] += diagonal[n]
    right = np.einsum("nkci,nkc->ni", design, score)
    right -= np.einsum("nkci,kcd,kd->ni", moved, inverse, summed)
    matrix = cross.transpose(1, 0, 3, 2).reshape(3 * count, 3 * count)
    vector = right.T.reshape(-1)
    priors = np.zeros_like(matrix)
    priors[:count, :count] = np.eye(count) * free
    pitch = np.log(hz / np.exp(np.mean(np.log(hz))))
    typical = float(np.median(stiffness / np.exp(pitch)))
    level = max(typical, 1e-6) * np.exp(pitch)
    alike = level * (STIFFNESS_ALIKE + np.abs(pitch))
    tight = np.diag(alike**-2)
    tight -= np.outer(level / alike**2, level / alike**2) / (np.sum(level**2 / alike**2) + 1.0)
    priors[count : 2 * count, count : 2 * count] = tight
    vector[count : 2 * count] -= tight @ (stiffness - level)
    evidence -= 0.5 * float((stiffness - level) @ tight @ (stiffness - level))
    apart = (glide / CENTS_PER_LOG) ** -2
    priors[2 * count :, 2 * count :] = np.eye(count) * apart - apart / count * (1 - 1e-9)
    matrix = matrix + priors
    scale = 1 / np.sqrt(np.diag(matrix))
    covariance = np.linalg.inv(matrix * scale[:, None] * scale) * scale[:, None] * scale
    estimate = covariance @ vector
    evidence += 0.5 * float(vector @ estimate)
    evidence -= 0.5 * float(np.linalg.slogdet(matrix * scale[:, None] * scale)[1] - 2 * np.sum(np.log(scale)))
    evidence += 0.5 * (count - 1) * float(np.log(apart))
    sharp = np.diag(covariance)[:count]
    return evidence, estimate, sharp[:, None] + sharp - 2 * covariance[:count, :count]


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
