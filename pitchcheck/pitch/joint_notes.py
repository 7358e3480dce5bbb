"""Notes of one string in one linear fit: what each does, what all share, what each partial does by itself.

Note n, partial k: sharp by sharp_n + q_nk dB_n + c_k + d_nk and gliding by glide_n + e_k + b_nk; further
trends of a note (another fading time of its glide, a slow part of it) are common to its partials. c_k and
e_k are what all notes share and are left wholly free. Only differences between notes mean anything here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.pitch.partial_scatter import (
    inharmonicity_sensitivity,
    orthogonalise,
    own_deviation,
    variance_inflation,
    with_own_variance,
)
from pitchcheck.types import FloatArray, IntArray
from pitchcheck.units import CENTS_PER_LOG

GLIDES_CENTS = (0.0005, 0.1, 0.7, 4.0)  # [cent] grid of how much the glides of the notes differ
FREE_CENTS = 30.0  # [cent] prior width of what is left free
TAIL = 10.0  # degrees of freedom of the partials' deviations
STIFFNESS_ALIKE = 0.1  # notes of one string at like pitch have like B, within this share


@dataclass(frozen=True)
class JointNotes:
    """Laws that the notes' phases are counted against.

    Attributes
    ----------
    number : array, shape (k,)
        Partials.
    hz, inharmonicity : array, shape (n,)
    """

    number: FloatArray
    hz: FloatArray
    inharmonicity: FloatArray

    @property
    def sensitivity(self) -> FloatArray:
        """Relative sharpness of each partial per unit of B. Shape (n, k)."""
        return np.array([inharmonicity_sensitivity(self.number, inharmonicity=b) for b in self.inharmonicity])

    def only(self, some: IntArray) -> JointNotes:
        """Return some of the notes, by their places."""
        return JointNotes(self.number, self.hz[some], self.inharmonicity[some])


@dataclass(frozen=True)
class NoteLikelihood:
    """One way of looking at the notes.

    Attributes
    ----------
    information : array, shape (n, k, d + 1, d + 1)
        Of each note's partial on d trends in time, sharp and glide first, and on the glide that a partial
        may have in common with the other notes' (last); 0 where a note lacks a partial.
    score : array, shape (n, k, d + 1)
    power : float
        What there is to explain.
    belief : float
        Before listening, as a logarithm.
    glide : array, shape (n,)
        Glide that is already taken off, relative.
    own_sd : tuple of array, shape (n,)
        What is believed of each further course of each note: standard deviation about 0.
    fading : array, shape (n, 1)
        How much of the glide's law fades within the stretch.
    """

    information: FloatArray
    score: FloatArray
    power: float
    belief: float
    glide: FloatArray
    own_sd: tuple[FloatArray, ...]
    fading: FloatArray

    @property
    def known(self) -> FloatArray:
        """Information on each partial's pitch. Shape (n, k)."""
        return np.asarray(self.information[..., 0, 0])

    def only(self, some: IntArray) -> NoteLikelihood:
        """Return the same look at some of the notes, by their places; ``power`` stays that of all."""
        return replace(
            self,
            information=self.information[some],
            score=self.score[some],
            glide=self.glide[some],
            own_sd=tuple(sd[some] for sd in self.own_sd),
            fading=self.fading[some],
        )


def solve(
    trial: NoteLikelihood,
    shapes: FloatArray,
    notes: JointNotes,
    robust_weight: FloatArray,
    *,
    glides: Sequence[float],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Fit the notes, for each shape of the partials' scatter and each spread of the notes' glides.

    Parameters
    ----------
    trial : NoteLikelihood
    shapes : array, shape (s, 4)
        From ``scatter_shapes``.
    notes : JointNotes
    robust_weight : array, shape (n, k)
        Weights of the partials.
    glides : sequence of float > 0
        How much the notes' glides differ. [cent]

    Returns
    -------
    tuple of array, shape (g, s), (g, s, p n) and (g, s, n, n)
        Logarithm of the evidence; estimates: sharp of all notes, then dB, glide, further trends; variances
        of the differences between the notes' sharp.
    """
    matrix, vector, constant, less = _gather(trial, shapes, notes, robust_weight)
    count = notes.hz.size
    evidences, estimates, variances = [], [], []
    for glide in glides:
        priors, mean, log_prior = _priors(trial, notes, glide=glide)
        # counted from what is believed, as beliefs may be far sharper than the sound
        pulled = matrix @ mean
        left = vector - pulled
        precision = matrix + priors
        scale = 1 / np.sqrt(np.einsum("sii->si", precision))
        scaled = precision * scale[:, :, None] * scale[:, None, :]
        covariance = np.linalg.inv(scaled) * scale[:, :, None] * scale[:, None, :]
        estimate = (covariance @ left[..., None])[..., 0]
        evidence = constant + log_prior + vector @ mean - 0.5 * pulled @ mean
        evidence += 0.5 * np.sum(left * estimate, axis=1)
        evidence -= 0.5 * np.linalg.slogdet(scaled)[1] - np.sum(np.log(scale), axis=1)
        sharp = covariance[:, :count, :count]
        own = np.einsum("sii->si", sharp)
        evidences.append(evidence)
        estimates.append(mean + estimate)
        variances.append((own[:, :, None] + own[:, None, :] - 2 * sharp) * less[:, None, None])
    return np.array(evidences), np.array(estimates), np.array(variances)


def _gather(
    trial: NoteLikelihood, shapes: FloatArray, notes: JointNotes, robust_weight: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Information (s, p n, p n), score (s, p n) and log evidence (s,) of the phases, before any belief.

    The last is what variances must be multiplied by, (s,).
    """
    depth = trial.score.shape[-1] - 1  # the last course is what all notes' glides may share
    params = depth + 1
    count, partials, grid = notes.hz.size, notes.number.size, shapes.shape[0]
    parts = orthogonalise(trial.information, trial.score)  # (n, k, d)
    own = own_deviation(notes.number, shapes)[:, None, :] ** 2 / robust_weight  # (s, n, k)
    loose = [own, own * (shapes[:, 1, None, None] / trial.fading) ** 2]
    design = np.zeros((count, partials, depth, params))  # each part as a sum of the note's unknowns
    design[..., 0, 0] = 1.0
    design[..., 0, 1] = notes.sensitivity
    design[..., 2:] = parts.rows[..., :depth, 1:depth]
    alike = parts.rows[..., :depth, depth]  # (n, k, d) what a common glide does to each part
    matrix = np.zeros((grid, params, count, params, count))
    vector = np.zeros((grid, params, count))
    evidence = shapes[:, 3] - 0.5 * trial.power
    known: list[FloatArray] = []
    found: list[FloatArray] = []
    each = np.arange(count)
    for i in range(depth):
        row = design[:, :, i]  # (n, k, p)
        information, score = parts.known[None, ..., i], parts.found[None, ..., i]
        if i < len(loose):
            information, score, gain = with_own_variance(information, score, loose[i])
            evidence += gain.sum(axis=(1, 2))
        known.append(information)
        found.append(score)
        outer = (row[..., :, None] * row[..., None, :]).reshape(count, partials, -1)
        block = (information[..., None, :] @ outer)[..., 0, :].reshape(-1, count, params, params)
        matrix[:, :, each, :, each] += block.transpose(1, 0, 2, 3)
        vector += (score[..., None, :] @ row)[..., 0, :].swapaxes(1, 2)
    matrix, vector = matrix.reshape(grid, params * count, -1), vector.reshape(grid, -1)
    before = _common([parts.known[None, ..., i] for i in range(depth)], alike)
    after = _common(known, alike)
    # what all notes share is no evidence for anything: only what the scatter does to it counts
    evidence += 0.5 * np.sum(np.log(before[0] / after[0]) + np.log(before[1] / after[1]), axis=-1)
    moved, level = np.zeros((grid, count, partials, params)), np.zeros((grid, partials))
    for i in range(depth):
        tilt = alike[..., i] - (after[2][:, None] if i == 0 else 0.0)
        moved = moved + (tilt * known[i])[..., None] * design[:, :, i]
        level = level + np.sum(tilt * found[i], axis=1)
    joints = (known[0][..., None] * design[:, :, 0], found[0].sum(axis=1)), (moved, level)
    for (joint, along), total in zip(joints, after[:2], strict=True):
        evidence += 0.5 * np.sum(along**2 / total, axis=-1)
        across = joint.transpose(0, 3, 1, 2).reshape(grid, params * count, partials)
        matrix -= (across / total[:, None]) @ across.swapaxes(1, 2)
        vector -= (across @ (along / total)[..., None])[..., 0]
    less = variance_inflation(parts.known[..., 0].ravel(), known[0].reshape(grid, -1), tail=TAIL)
    return matrix, vector, evidence, less


def _common(known: Sequence[FloatArray], alike: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Information on what all notes do alike in each partial: mean pitch, glide; and their mean slope."""
    free = (FREE_CENTS / CENTS_PER_LOG) ** -2
    steady = known[0].sum(axis=1)
    middle = np.sum(known[0] * alike[..., 0], axis=1) / np.maximum(steady, 1e-9)
    gliding = np.sum(known[0] * (alike[..., 0] - middle[:, None]) ** 2, axis=1)
    for i, one in enumerate(known[1:], 1):
        gliding = gliding + np.sum(one * alike[..., i] ** 2, axis=1)
    return steady + free, gliding + free, middle


def _priors(
    trial: NoteLikelihood, notes: JointNotes, *, glide: float
) -> tuple[FloatArray, FloatArray, float]:
    """Precision, mean and log density of what is believed before listening.

    Levels are free; notes of one string have like B, growing with pitch by a power between 0 (same string,
    tuned) and 2 (shorter string); their glides differ by about ``glide`` cents.
    """
    count, hz, inharmonicity = notes.hz.size, notes.hz, notes.inharmonicity
    depth = trial.score.shape[-1]
    priors, mean = np.zeros((depth * count, depth * count)), np.zeros(depth * count)
    priors[:count, :count] = np.eye(count) * (FREE_CENTS / CENTS_PER_LOG) ** -2
    pitch = np.log(hz / np.exp(np.mean(np.log(hz))))
    level = max(float(np.median(inharmonicity / np.exp(pitch))), 1e-6) * np.exp(pitch)
    alike = level * (STIFFNESS_ALIKE + np.abs(pitch))
    tight = np.diag(alike**-2)
    tight -= np.outer(level / alike**2, level / alike**2) / (np.sum(level**2 / alike**2) + 1.0)
    priors[count : 2 * count, count : 2 * count] = tight
    mean[count : 2 * count] = level - inharmonicity
    apart = (glide / CENTS_PER_LOG) ** -2
    priors[2 * count : 3 * count, 2 * count : 3 * count] = np.eye(count) * apart - apart / count * (1 - 1e-9)
    mean[2 * count : 3 * count] = trial.glide.mean() - trial.glide
    log_prior = 0.5 * (count - 1) * float(np.log(apart))
    for i, sd in enumerate(trial.own_sd, 3):
        priors[i * count : (i + 1) * count, i * count : (i + 1) * count] = np.diag(sd**-2.0)
        log_prior -= float(np.sum(np.log(sd)))
    return priors, mean, log_prior
