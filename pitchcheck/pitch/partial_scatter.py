"""How far partials deviate from the stiff-string formula, and likelihoods that allow for it.

A partial deviates in its pitch (body modes, polarisations) and, where it beats, by a bend of its
own about its mean pitch. Neither is known beforehand: a grid of sizes and shapes is tried.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.pitch.medians import median
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_LOG

# Grid of the partials' own glides over the stretch, re their deviations: beats are curved.
BENDS = (0.0, 0.1, 0.3, 1.0)
# belief, before listening, that no partial deviates (it hardly matters where they clearly do)
ON_MODEL_BELIEF = 0.8
LOW = (0.0, 1.0)  # grid of powers of 1/k with which both shrink


def inharmonicity_sensitivity(number: FloatArray, *, inharmonicity: float) -> FloatArray:
    """Relative sharpness of each partial per unit of B."""
    return np.asarray(0.5 * number**2 / (1 + inharmonicity * number**2))


def scatter_shapes(
    scatters: FloatArray, *, bends: tuple[float, ...], low: tuple[float, ...], on_model: float
) -> FloatArray:
    """Grid of (deviation of the middle partial [cent], bend re deviation, power of 1/k, log belief).

    The last is that partials keep to the law; sizes between are equally likely on a logarithmic scale.

    Parameters
    ----------
    scatters : array > 0
        Sizes in even ratios. [cent]
    bends, low : tuple of float
        Grids as ``BENDS`` and ``LOW``. [-]
    on_model : float >= 0
        Deviation of partials that follow the formula. [cent]

    Returns
    -------
    array, shape (s, 4)
    """
    each = float(np.log((1 - ON_MODEL_BELIEF) / (len(bends) * len(low) * scatters.size)))
    rows = [(s, b, p, each) for p in low for b in bends for s in scatters]
    return np.array([*rows, (on_model, 0.0, 0.0, np.log(ON_MODEL_BELIEF))])


def closer_shapes(shapes: FloatArray, *, ratio: float, new: float) -> FloatArray:
    """Sizes in smaller steps over the range of those given, and half a step beyond; same forms.

    Parameters
    ----------
    shapes : array, shape (s, 4)
        Some of ``scatter_shapes``.
    ratio, new : float
        Of neighbouring sizes, now and afterwards.
    """
    on_model = shapes[:, 3] == np.log(ON_MODEL_BELIEF)
    scattered = shapes[~on_model]
    if not scattered.size:
        return shapes
    least, most = scattered[:, 0].min() / np.sqrt(ratio), scattered[:, 0].max() * np.sqrt(ratio)
    count = max(1, int(np.ceil(np.log(most / least) / np.log(new))))
    step = np.log(most / least) / count
    sizes = least * np.exp(step * (np.arange(count) + 0.5))
    each = scattered[0, 3] + np.log(step / np.log(ratio))
    rows = [(s, b, p, each) for b, p in np.unique(scattered[:, 1:3], axis=0) for s in sizes]
    return np.concatenate([rows, shapes[on_model]])


def own_deviation(number: FloatArray, shapes: FloatArray) -> FloatArray:
    """Standard deviation of each partial off the law, relative. Shape (s, k)."""
    return np.asarray(
        shapes[..., :1] / CENTS_PER_LOG * (number / median(number)) ** -shapes[..., 2:3], dtype=float
    )


@dataclass(frozen=True)
class OrthogonalLikelihood:
    """A likelihood of trends taken apart: mean pitch, bend about it, and so on, each by itself.

    Attributes
    ----------
    known : array, shape (..., d)
        Information on each, uncorrelated.
    found : array, shape (..., d)
        Known x estimate.
    rows : array, shape (..., d, d)
        Each as a sum of the trends; unit upper triangle.
    """

    known: FloatArray
    found: FloatArray
    rows: FloatArray


def orthogonalise(information: FloatArray, score: FloatArray) -> OrthogonalLikelihood:
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
    return OrthogonalLikelihood(known, found, rows)


def variance_inflation(known: FloatArray, kept: FloatArray, *, tail: float) -> FloatArray:
    """How much less a Student law tells than its weights say, as a factor of the variance. Shape (...).

    Its weights come from the same partials: they add up to one each, but the information of a t distribution
    on its location is (tail + 1) / (tail + 3) of it (Lange, Little and Taylor 1989). That concerns the part
    that deviations limit, not noise: ``kept`` of the information ``known``, shapes (..., k).
    """
    scattered = np.sum(kept * (1 - kept / np.maximum(known, 1e-300)), axis=-1) / np.sum(kept, axis=-1)
    return np.asarray(1 + scattered * 2 / (tail + 1))


def with_own_variance(known: FloatArray, found: FloatArray, variance: FloatArray) -> tuple[FloatArray, ...]:
    """Information and score left when each partial has a variance of its own, and the evidence for it."""
    kept = 1 / (1 + known * variance)
    return known * kept, found * kept, 0.5 * (variance * kept * found**2 + np.log(kept))
