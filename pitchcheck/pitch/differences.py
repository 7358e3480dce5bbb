"""Differences between notes of one string, averaged over what is not known about them.

Not known: how much the glides of the notes differ and how fast they fade, and how the partials of a note
deviate from the string's other notes. Each way of looking is weighted by how well it explains the phases.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.pitch.joint_notes import GLIDES_CENTS, TAIL, JointNotes, NoteLikelihood, solve
from pitchcheck.pitch.partial_scatter import BENDS, LOW, closer_shapes, own_deviation, scatter_shapes
from pitchcheck.types import BoolArray, FloatArray, IntArray

SCATTERS_CENTS = np.geomspace(0.0005, 8.0, 9)  # [cent] grid of what a partial does in one note only
# [cent] scatter left to the partials of notes that differ in pitch alone: none would outrun the arithmetic
ON_MODEL_CENTS = 0.0003
RATIO = float(SCATTERS_CENTS[1] / SCATTERS_CENTS[0])
CLOSE = 1.3  # ratio of sizes that are looked at in the end
SHAPES = scatter_shapes(SCATTERS_CENTS, bends=BENDS, low=LOW, on_model=ON_MODEL_CENTS)
ALIKE = 0.5 / 12  # [octave] notes no further apart are pulled alike: half the width of a mode of the body
UNLIKELY = 12.0  # logarithm of the evidence by which a shape of scatter may fall behind
FAR = 0.25  # [octave] from the other notes at which partials deviate twice as much, in variance: another pull


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


def first_look(trial: NoteLikelihood, notes: JointNotes) -> tuple[FloatArray, FloatArray]:
    """Weights of the notes' partials (n, k), and shapes of scatter worth looking at, from three rounds."""
    robust_weight, shapes = np.ones(trial.known.shape) / _distance_inflation(notes.hz), SHAPES
    some, glides = unlike_pitches(notes.hz), GLIDES_CENTS[1::2]
    for turn in range(3):
        evidence, means, _ = solve(trial, shapes, notes, robust_weight, glides=glides)
        kept = _likely(evidence)
        if some.size < notes.hz.size:
            few = solve(trial.only(some), shapes, notes.only(some), robust_weight[some], glides=glides)[0]
            kept |= _likely(few)
            if _size(shapes, few) > _size(shapes, evidence):
                evidence = few
        glide, best = np.unravel_index(int(np.argmax(evidence)), evidence.shape)
        robust_weight = _student_weight(trial, notes, means[glide, best], shape=shapes[best])
        shapes = shapes[kept]
        if turn == 0:
            shapes = closer_shapes(shapes, ratio=RATIO, new=CLOSE)
    return robust_weight, shapes


def _likely(evidence: FloatArray) -> BoolArray:
    """Which shapes are not far behind the best at any spread of the glides; ``evidence`` has shape (g, s)."""
    return np.asarray(np.any(evidence > evidence.max(axis=1, keepdims=True) - UNLIKELY, axis=0))


def _size(shapes: FloatArray, log_weight: FloatArray) -> float:
    """Mean logarithm of the scatter's size, by weights of shape (..., s)."""
    weight = np.exp(log_weight - log_weight.max())
    return float(np.sum(weight * np.log(shapes[:, 0])) / np.sum(weight))


def fit_differences(
    trials: Sequence[NoteLikelihood], shapes: FloatArray, notes: JointNotes, *, robust_weight: FloatArray
) -> Differences:
    """Average the differences over the trials, the scatter and the glides' spread.

    Parameters
    ----------
    trials : sequence of NoteLikelihood
        Ways of looking at the same phases.
    shapes : array, shape (s, 4)
        Shapes of scatter.
    notes : JointNotes
    robust_weight : array, shape (n, k)
        Weights of the partials.
    """
    from scipy.special import logsumexp

    count = notes.hz.size
    points = [solve(t, shapes, notes, robust_weight, glides=GLIDES_CENTS) for t in trials]
    log_weight = np.array([p[0] + t.belief for p, t in zip(points, trials, strict=True)])  # (t, g, s)
    some = unlike_pitches(notes.hz)
    if some.size < count:  # the scatter by these where they tell of more, the glides by all
        few, weights = notes.only(some), robust_weight[some]
        told = np.array(
            [solve(t.only(some), shapes, few, weights, glides=GLIDES_CENTS)[0] + t.belief for t in trials]
        )
        if _size(shapes, told) > _size(shapes, log_weight):
            log_weight += logsumexp(told, axis=(0, 1)) - logsumexp(log_weight, axis=(0, 1))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    sharp = np.array([p[1][..., :count] for p in points])
    mean = np.einsum("tgs,tgsn->n", weight, sharp)
    gap = sharp - mean
    between = gap[..., :, None] - gap[..., None, :]
    variance = np.einsum("tgs,tgsij->ij", weight, np.array([p[2] for p in points]) + between**2)
    return Differences(mean, variance)


def unlike_pitches(hz: FloatArray) -> IntArray:
    """Places of notes no two of which are alike in pitch, the first of each; all where that leaves one.

    Where these tell that partials deviate more in one note only than all do, they are believed: the body
    pulls by frequency, so whatever is played again is pulled alike and bears no witness against it.
    """
    chosen: list[int] = []
    for i, one in enumerate(hz):
        if all(abs(np.log2(one / hz[j])) > ALIKE for j in chosen):
            chosen.append(i)
    return np.array(chosen if len(chosen) > 1 else range(hz.size))


def own_variances(variance: FloatArray) -> FloatArray:
    """Variance of each note such that those of any two add up to that of their difference. Shape (n,)."""
    count = variance.shape[0]
    if count == 2:
        return np.full(2, variance[0, 1] / 2)
    rows = variance.sum(axis=1)
    total = rows.sum() / (2 * (count - 1))
    return np.asarray(np.maximum((rows - total) / (count - 2), 0.05 * rows / (count - 1)))


def _distance_inflation(hz: FloatArray) -> FloatArray:
    """Extra variance of the deviations of a note's partials for being far from the others. Shape (n, 1)."""
    octaves = np.log2(hz / np.median(hz))
    return np.asarray(1 + (octaves / FAR) ** 2)[:, None]


def _student_weight(
    trial: NoteLikelihood, notes: JointNotes, estimate: FloatArray, *, shape: FloatArray
) -> FloatArray:
    """Student weights of each note's partials against the partial's mean over the notes. Shape (n, k)."""
    count = notes.hz.size
    known = np.maximum(trial.known, 1e-6)
    own = own_deviation(notes.number, shape) ** 2
    sharp, excess_inharmonicity, glide = (estimate[i * count : (i + 1) * count, None] for i in range(3))
    apart = (
        (trial.score[..., 0] - trial.information[..., 0, 1] * glide) / known
        - sharp
        - notes.sensitivity * excess_inharmonicity
    )
    weight = known / (1 + known * own)
    apart = apart - np.sum(weight * apart, axis=0) / weight.sum(axis=0)
    inflation = _distance_inflation(notes.hz)
    off = apart**2 / (own * inflation + 1 / known)
    return np.asarray((TAIL + 1) / (TAIL + off) / inflation)
