"""How partials stray from the law of a stiff string, and likelihoods that allow for it.

A partial strays by a deviation of its pitch (body modes, polarisations) and, where it beats, by a bend of its
own about its mean pitch. Neither is known beforehand: a grid of sizes and shapes is tried.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import FloatArray
from pitchcheck.pitch.middle import median
from pitchcheck.units import CENTS_PER_LOG

BENDS = (0.0, 1.0)  # grid of the partials' own glides over the stretch, re their deviations: beats are curved
LOW = (0.0, 1.0)  # grid of powers of 1/k with which both shrink


def stiffness_lever(number: FloatArray, *, stiffness: float) -> FloatArray:
    """Relative sharpness of each partial per unit of B."""
    return np.asarray(0.5 * number**2 / (1 + stiffness * number**2))


def scatter_shapes(scatters: FloatArray, *, bends: tuple[float, ...], low: tuple[float, ...]) -> FloatArray:
    """Grid of (deviation of the middle partial [cent], bend re deviation, power of 1/k). Shape (s, 3)."""
    return np.array([(s, b, p) for p in low for b in bends for s in scatters])


def own_deviation(number: FloatArray, shapes: FloatArray) -> FloatArray:
    """Standard deviation of each partial off the law, relative. Shape (s, k)."""
    return np.asarray(
        shapes[..., :1] / CENTS_PER_LOG * (number / median(number)) ** -shapes[..., 2:], dtype=float
    )


@dataclass(frozen=True)
class Parts:
    """A likelihood of courses taken apart: mean pitch, bend about it, and so on, each by itself.

    Attributes
    ----------
    known : array, shape (..., d)
        Information on each, uncorrelated.
    found : array, shape (..., d)
        Known x estimate.
    rows : array, shape (..., d, d)
        Each as a sum of the courses; unit upper triangle.
    """

    known: FloatArray
    found: FloatArray
    rows: FloatArray


def take_apart(information: FloatArray, score: FloatArray) -> Parts:
    """Take a likelihood of (sharp, glide, ...) apart, sharp first: L D L' of its information."""
    depth = score.shape[-1]
    left, found = information.copy(), score.copy()
    known, rows = np.zeros(score.shape), np.zeros(information.shape)
    for i in range(depth):
        known[..., i] = np.maximum(left[..., i, i], 0.0)
        rows[..., i, i:] = left[..., i, i:] / np.maximum(known[..., i], 1e-9)[..., None]
        rows[..., i, i] = 1.0
        left = left - known[..., i, None, None] * rows[..., i, :, None] * rows[..., i, None, :]
        found[..., i + 1 :] -= rows[..., i, i + 1 :] * found[..., i : i + 1]
    return Parts(known, found, rows)


def loosened(known: FloatArray, found: FloatArray, variance: FloatArray) -> tuple[FloatArray, ...]:
    """Information and score left when each partial has a variance of its own, and the evidence for it."""
    kept = 1 / (1 + known * variance)
    return known * kept, found * kept, 0.5 * (variance * kept * found**2 + np.log(kept))
