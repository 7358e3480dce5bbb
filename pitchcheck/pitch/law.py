"""One fundamental, stiffness and glide through the partials of a note.

Partial k is sharp by sharp + q_k dB + d_k, with q_k = k^2 / (2 (1 + B k^2)) and a deviation d_k of its own
(body modes, polarisations). The scatter of the d_k, whether there is a glide and how fast it fades are not
known, so the answer is the average over a grid of them, each weighted by how well it explains the phases.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import FloatArray
from pitchcheck.pitch.scatter import (
    BENDS,
    LOW,
    loosened,
    own_deviation,
    scatter_shapes,
    stiffness_lever,
    take_apart,
)
from pitchcheck.pitch.slopes import Slopes
from pitchcheck.units import CENTS_PER_LOG

SCATTERS_CENTS = np.geomspace(0.0003, 12.0, 12)  # [cent] grid of the partials' own deviations
GLIDE_PRIOR_CENTS = 5.0  # [cent] plucks start 0 to 10 cents sharp
GLIDE_SHARE = 0.5  # belief, before listening, that there is a glide worth the name
STIFFNESS_PRIOR = (0.0, 6e-4)  # B before listening, mean and sd; strings lie between 1e-6 and 1.2e-3
FINE = 0.8  # spread of the glide time, in steps of its grid, that is resolved well enough
TAIL = 5.0  # degrees of freedom of the deviations: some partials are pulled far off


@dataclass(frozen=True)
class Law:
    """What the partials say together, relative to the reference law.

    Attributes
    ----------
    sharp, sharp_sd : float
        Settled fundamental over the reference, less 1.
    stiffer, stiffer_sd : float
        B less the reference B.
    glide : float
        Relative excess at the start of the stretch.
    glide_sd : float
        Its standard uncertainty.
    tau_s : float
        Most likely decay time of the glide's law. [s]
    tau_spread : float
        Standard uncertainty of its logarithm.
    scatter_cents : float
        Typical deviation of a partial from the law. [cent]
    pull : array, shape (k,)
        Weight left to each partial, 1 = full.
    """

    sharp: float
    sharp_sd: float
    stiffer: float
    stiffer_sd: float
    glide: float
    glide_sd: float
    tau_s: float
    tau_spread: float
    scatter_cents: float
    pull: FloatArray
    tau_weight: FloatArray


def fit_law(
    slopes: Slopes,
    *,
    stiffness: float,
    log_prior: FloatArray,
    pull: FloatArray | None = None,
    believed: tuple[float, float] = STIFFNESS_PRIOR,
    rough: bool = False,
) -> Law:
    """Average the law over the scatter of the partials and over the shape of the glide.

    Parameters
    ----------
    slopes : Slopes
        Phases reduced with different glide times.
    stiffness : float
        B of the reference.
    log_prior : array, shape (t,)
        Belief in each glide time before listening, as a logarithm.
    pull : array, shape (k,), optional
        Weight of each partial, from an earlier fit; found here when not given.
    believed : tuple of float
        B before these phases were looked at: mean and standard deviation.
    rough : bool
        Do not look at how the scatter is shaped.
    """
    if pull is None:
        pull = robust_pull(slopes, stiffness=stiffness)
    shapes = scatter_shapes(
        SCATTERS_CENTS, bends=BENDS[:1] if rough else BENDS, low=LOW[:1] if rough else LOW
    )
    log_weight, mean, variance = _grid(slopes, shapes, stiffness=stiffness, pull=pull, believed=believed)
    log_weight = log_weight + log_prior[:, None]  # (glide or not, t, s)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    centre = np.einsum("gts,gtsi->i", weight, mean)
    spread = np.sqrt(np.einsum("gts,gtsi->i", weight, variance + (mean - centre) ** 2))
    scatter = float(np.exp(np.sum(weight * np.log(shapes[:, 0]))))
    tau_weight = weight.sum(axis=(0, 2))
    best = int(np.argmax(tau_weight))
    pull = student_pull(
        slopes, best, centre, stiffness=stiffness, shape=shapes[np.argmax(weight.sum(axis=(0, 1)))]
    )
    return Law(
        float(centre[0]),
        float(spread[0]),
        float(centre[1]),
        float(spread[1]),
        float(centre[2]),
        float(spread[2]),
        float(slopes.taus_s[best]),
        _log_spread(slopes.taus_s, tau_weight),
        scatter,
        pull,
        tau_weight,
    )


def finer(taus: FloatArray, weight: FloatArray) -> FloatArray | None:
    """Glide times closer around the likely ones; None when the grid is fine enough."""
    logs = np.log(taus)
    gap = float(logs[1] - logs[0])
    centre = float(weight @ logs)
    spread = _log_spread(taus, weight)
    if spread > FINE * gap:
        return None
    top = int(np.argmax(weight))
    if top in (0, taus.size - 1):
        return None  # as fast or as slow as is believed at all
    level = np.log(np.maximum(weight[top - 1 : top + 2], 1e-300))
    bend = level[0] - 2 * level[1] + level[2]
    if bend < 0:
        centre = logs[top] + gap * float(np.clip(0.5 * (level[0] - level[2]) / bend, -0.5, 0.5))
    return np.asarray(np.exp(centre + max(1.8 * spread, 0.7 * gap) * np.linspace(-1, 1, taus.size)))


def _log_spread(taus: FloatArray, weight: FloatArray) -> float:
    """Spread of the logarithm of the glide time."""
    logs = np.log(taus)
    return float(np.sqrt(weight @ (logs - weight @ logs) ** 2))


def _grid(
    slopes: Slopes, shapes: FloatArray, *, stiffness: float, pull: FloatArray, believed: tuple[float, float]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log evidence (2, t, s), estimates and variances (2, t, s, 3): without and with a glide."""
    parts = take_apart(slopes.information, slopes.score)  # (t, k, 2)
    own = own_deviation(slopes.number, shapes) ** 2 / pull  # (s, k)
    bends = own * (shapes[:, 1:2] / slopes.fading[:, None, None]) ** 2  # (t, s, k)
    known, found, constant = loosened(parts.known[:, None, :, 0], parts.found[:, None, :, 0], own)
    bent, bent_found, more = loosened(parts.known[:, None, :, 1], parts.found[:, None, :, 1], bends)
    constant = np.sum(constant + more, axis=-1)
    times, count = slopes.taus_s.size, shapes.shape[0]
    row = np.ones((times, slopes.number.size, 3))
    row[..., 1] = stiffness_lever(slopes.number, stiffness=stiffness)
    row[..., 2] = parts.rows[..., 0, 1]
    outer = (row[..., :, None] * row[..., None, :]).reshape(times, -1, 9)
    precision = (known @ outer).reshape(times, count, 3, 3)
    precision[..., 2, 2] += bent.sum(axis=-1)
    right = found @ row
    right[..., 2] += bent_found.sum(axis=-1)
    precision[..., 1, 1] += believed[1] ** -2
    right[..., 1] -= (stiffness - believed[0]) * believed[1] ** -2
    log_weight = np.zeros((2, times, count))
    mean = np.zeros((2, times, count, 3))
    variance = np.zeros_like(mean)
    scale = np.array([1e-4, 1e-5, 1e-3])  # keeps the determinants within range
    for glides in (0, 1):
        size = 2 + glides
        matrix = precision[..., :size, :size].copy()
        if glides:
            prior = (GLIDE_PRIOR_CENTS / CENTS_PER_LOG) ** -2
            matrix[..., 2, 2] += prior
        matrix *= scale[:size, None] * scale[:size]
        covariance = np.linalg.inv(matrix) * scale[:size, None] * scale[:size]
        estimate = (covariance @ right[..., :size, None])[..., 0]
        evidence = constant + 0.5 * np.sum(right[..., :size] * estimate, axis=-1)
        evidence -= 0.5 * np.linalg.slogdet(matrix)[1]
        if glides:
            evidence += 0.5 * np.log(prior) + np.log(scale[2]) + np.log(GLIDE_SHARE / (1 - GLIDE_SHARE))
        log_weight[glides], mean[glides, ..., :size] = evidence, estimate
        variance[glides, ..., :size] = np.diagonal(covariance, axis1=-2, axis2=-1)
    return log_weight, mean, variance


def student_pull(
    slopes: Slopes, at: int, centre: FloatArray, *, stiffness: float, shape: FloatArray
) -> FloatArray:
    """Weights of a Student law: partials far off the law count for less. ``at`` one of the glide times."""
    info = slopes.information[at, :, 0, 0]
    apart = (slopes.score[at, :, 0] - slopes.information[at, :, 0, 1] * centre[2]) / info
    apart = apart - centre[0] - stiffness_lever(slopes.number, stiffness=stiffness) * centre[1]
    expected = own_deviation(slopes.number, shape) ** 2 + 1 / info
    return np.asarray(np.minimum(1.0, (TAIL + 1) / (TAIL + apart**2 / expected)))


def robust_pull(slopes: Slopes, *, stiffness: float) -> FloatArray:
    """First weights, from the median slope through pairs of partials (Theil 1950, Sen 1968), then refined."""
    middle = slopes.taus_s.size // 2
    info = slopes.information[middle, :, 0, 0]
    sharp = slopes.score[middle, :, 0] / info
    lever = stiffness_lever(slopes.number, stiffness=stiffness)
    if lever.size < 4:
        return np.ones(lever.size)
    first, second = np.triu_indices(lever.size, 1)
    slope = float(np.median((sharp[second] - sharp[first]) / (lever[second] - lever[first])))
    apart = (sharp - slope * lever - np.median(sharp - slope * lever)) ** 2
    scale = max(2.2 * float(np.median(apart)), 1e-14)  # median of a squared normal to its mean
    for _ in range(4):
        pull = (TAIL + 1) / (TAIL + apart / (scale + 1 / info))
        weight = pull / (scale + 1 / info)
        x = lever - np.sum(weight * lever) / weight.sum()
        y = sharp - np.sum(weight * sharp) / weight.sum()
        slope = np.sum(weight * x * y) / np.sum(weight * x * x)
        apart = (y - slope * x) ** 2
        scale = max(2.2 * float(np.median(apart - 1 / info)), 1e-14)
    return np.asarray(np.minimum(1.0, (TAIL + 1) / (TAIL + apart / (scale + 1 / info))))
