"""Fundamental, inharmonicity and glide fitted to the partials of a note.

Partial k is sharp by sharp + q_k dB + d_k, with q_k = k^2 / (2 (1 + B k^2)) and a deviation d_k of its own
(body modes, polarisations). The scatter of the d_k, whether there is a glide and how fast it fades are not
known, so the answer is the average over a grid of them, each weighted by how well it explains the phases.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.pitch.medians import median, pairs
from pitchcheck.pitch.partial_scatter import (
    BENDS,
    LOW,
    closer_shapes,
    inharmonicity_sensitivity,
    orthogonalise,
    own_deviation,
    scatter_shapes,
    variance_inflation,
    with_own_variance,
)
from pitchcheck.pitch.partial_slopes import Slopes
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_LOG

SCATTERS_CENTS = np.geomspace(0.0003, 12.0, 12)  # [cent] grid of the partials' own deviations
GLIDE_PRIOR_CENTS = 5.0  # [cent] plucks start 0 to 10 cents sharp
GLIDE_SHARE = 0.5  # belief, before listening, that there is a glide worth the name
INHARMONICITY_PRIOR = (0.0, 6e-4)  # B before listening, mean and sd; strings lie between 1e-6 and 1.2e-3
UNLIKELY = 20.0  # logarithm of the evidence by which a shape of scatter may fall behind (pull may yet change)
CLOSE = 1.35  # ratio of sizes of scatter that are looked at in the end
FINE = 0.8  # spread of the glide time, in steps of its grid, that is resolved well enough
TAIL = 5.0  # degrees of freedom of the deviations: some partials are pulled far off


@dataclass(frozen=True)
class InharmonicFit:
    """What the partials say together, relative to the reference law.

    Attributes
    ----------
    sharp, sharp_sd : float
        Settled fundamental over the reference, less 1.
    excess_inharmonicity, excess_inharmonicity_sd : float
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
    robust_weight : array, shape (k,)
        Weight of each partial: of one that deviates as expected 1, up to (TAIL + 1) / TAIL.
    own : array, shape (k,)
        Each partial over the law, relative.
    tau_weight : array, shape (t,)
        Belief in each decay time of the glide's law.
    shapes : array, shape (s, 4)
        Shapes of the scatter that are not unlikely.
    """

    sharp: float
    sharp_sd: float
    excess_inharmonicity: float
    excess_inharmonicity_sd: float
    glide: float
    glide_sd: float
    tau_s: float
    tau_spread: float
    scatter_cents: float
    robust_weight: FloatArray
    own: FloatArray
    tau_weight: FloatArray
    shapes: FloatArray


def fit_inharmonic_partials(
    slopes: Slopes,
    *,
    inharmonicity: float,
    log_prior: FloatArray,
    robust_weight: FloatArray | None = None,
    shapes: FloatArray | None = None,
    believed: tuple[float, float] = INHARMONICITY_PRIOR,
    rough: bool = False,
) -> InharmonicFit:
    """Average the law over the scatter of the partials and over the shape of the glide.

    Parameters
    ----------
    slopes : Slopes
        Phases reduced with different glide times.
    inharmonicity : float
        B of the reference.
    log_prior : array, shape (t,)
        Belief in each glide time before listening, as a logarithm.
    robust_weight : array, shape (k,), optional
        Weight of each partial, from an earlier fit; found here when not given.
    shapes : array, shape (s, 4), optional
        Shapes of the scatter that are worth looking at, from an earlier fit; all when not given.
    believed : tuple of float
        B before these phases were looked at: mean and standard deviation.
    rough : bool
        Do not look at how the scatter is shaped.
    """
    if robust_weight is None:
        robust_weight = initial_robust_weight(slopes, inharmonicity=inharmonicity)
    if shapes is None:
        shapes = scatter_shapes(
            SCATTERS_CENTS, bends=BENDS[:1] if rough else BENDS, low=LOW[:1] if rough else LOW, on_model=0.0
        )
        log_weight, mean, variance = _grid(
            slopes, shapes, inharmonicity=inharmonicity, robust_weight=robust_weight, believed=believed
        )
        if not rough:
            likely = (log_weight + log_prior[:, None]).max(axis=(0, 1))
            kept = shapes[likely > likely.max() - UNLIKELY]
            shapes = closer_shapes(kept, ratio=SCATTERS_CENTS[1] / SCATTERS_CENTS[0], new=CLOSE)
    if not rough:
        log_weight, mean, variance = _grid(
            slopes, shapes, inharmonicity=inharmonicity, robust_weight=robust_weight, believed=believed
        )
    log_weight = log_weight + log_prior[:, None]  # (glide or not, t, s)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    centre = np.sum(weight[:, None] * mean, axis=(0, 2, 3))
    spread = variance + (mean - centre[:, None, None]) ** 2
    spread = np.sqrt(np.sum(weight[:, None] * spread, axis=(0, 2, 3)))
    scatter = float(np.exp(np.sum(weight * np.log(np.maximum(shapes[:, 0], SCATTERS_CENTS[0])))))
    tau_weight = weight.sum(axis=(0, 2))
    best = int(np.argmax(tau_weight))
    robust_weight, own = student_weight(
        slopes, best, centre, inharmonicity=inharmonicity, shape=shapes[np.argmax(weight.sum(axis=(0, 1)))]
    )
    return InharmonicFit(
        float(centre[0]),
        float(spread[0]),
        float(centre[1]),
        float(spread[1]),
        float(centre[2]),
        float(spread[2]),
        float(slopes.taus_s[best]),
        _log_spread(slopes.taus_s, tau_weight),
        scatter,
        robust_weight,
        own,
        tau_weight,
        shapes[log_weight.max(axis=(0, 1)) > log_weight.max() - UNLIKELY],
    )


def finer(taus: FloatArray, weight: FloatArray, *, bounds: tuple[float, float]) -> FloatArray | None:
    """Glide times closer around the likely ones, within bounds; None when the grid is fine enough."""
    logs = np.log(taus)
    lowest, highest = np.log(bounds)
    gap = float(logs[1] - logs[0])
    centre = float(weight @ logs)
    spread = _log_spread(taus, weight)
    if spread > FINE * gap:
        return None
    top = int(np.argmax(weight))
    if top in (0, taus.size - 1):  # the best lies between there and its neighbour, or beyond
        first, last = max(logs[top] - gap, lowest), min(logs[top] + gap, highest)
        return np.asarray(np.exp(np.linspace(first, last, taus.size)))
    level = np.log(np.maximum(weight[top - 1 : top + 2], 1e-300))
    bend = level[0] - 2 * level[1] + level[2]
    if bend < 0:
        centre = logs[top] + gap * float(np.clip(0.5 * (level[0] - level[2]) / bend, -0.5, 0.5))
    around = centre + max(1.8 * spread, 0.7 * gap) * np.linspace(-1, 1, taus.size)
    return np.asarray(np.exp(around))


def _log_spread(taus: FloatArray, weight: FloatArray) -> float:
    """Spread of the logarithm of the glide time."""
    logs = np.log(taus)
    return float(np.sqrt(weight @ (logs - weight @ logs) ** 2))


def _grid(
    slopes: Slopes,
    shapes: FloatArray,
    *,
    inharmonicity: float,
    robust_weight: FloatArray,
    believed: tuple[float, float],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log evidence (2, t, s), estimates and variances (2, 3, t, s): without and with a glide."""
    parts = orthogonalise(slopes.information, slopes.score)  # (t, k, 2)
    own = own_deviation(slopes.number, shapes) ** 2 / robust_weight  # (s, k)
    bends = own * (shapes[:, 1:2] / slopes.fading[:, None, None]) ** 2  # (t, s, k)
    known, found, constant = with_own_variance(parts.known[:, None, :, 0], parts.found[:, None, :, 0], own)
    bent, bent_found, more = with_own_variance(parts.known[:, None, :, 1], parts.found[:, None, :, 1], bends)
    constant = np.sum(constant + more, axis=-1) + shapes[:, 3]
    times, count = slopes.taus_s.size, shapes.shape[0]
    # unknowns: sharp, stiffer, glide; the symmetric matrix of each grid point is taken apart as L D L'
    sensitivity = inharmonicity_sensitivity(slopes.number, inharmonicity=inharmonicity)
    gliding = parts.rows[..., 0, 1, None]  # (t, k, 1)
    tight = believed[1] ** -2
    a11, r1 = known.sum(axis=-1), found.sum(axis=-1)
    a12, r2 = known @ sensitivity, found @ sensitivity - (inharmonicity - believed[0]) * tight
    a22 = known @ sensitivity**2 + tight
    a13, r3 = (known @ gliding)[..., 0], (found @ gliding)[..., 0] + bent_found.sum(axis=-1)
    a23 = (known @ (sensitivity[:, None] * gliding))[..., 0]
    prior = (GLIDE_PRIOR_CENTS / CENTS_PER_LOG) ** -2
    a33 = (known @ gliding**2)[..., 0] + bent.sum(axis=-1) + prior
    l21, l31 = a12 / a11, a13 / a11
    d2 = a22 - l21 * a12
    y2 = r2 - l21 * r1
    l32 = (a23 - l21 * a13) / d2
    d3 = a33 - l31 * a13 - l32**2 * d2
    y3 = r3 - l31 * r1 - l32 * y2
    log_weight = np.empty((2, times, count))
    mean, variance = np.zeros((2, 3, times, count)), np.zeros((2, 3, times, count))
    log_weight[0] = constant + 0.5 * (r1**2 / a11 + y2**2 / d2 - np.log(a11 * d2))
    mean[0, 1] = y2 / d2
    mean[0, 0] = r1 / a11 - l21 * mean[0, 1]
    variance[0, 1] = 1 / d2
    variance[0, 0] = 1 / a11 + l21**2 / d2
    log_weight[1] = log_weight[0] + 0.5 * (y3**2 / d3 + np.log(prior / d3))
    log_weight[1] += np.log(GLIDE_SHARE / (1 - GLIDE_SHARE))
    mean[1, 2] = y3 / d3
    mean[1, 1] = mean[0, 1] - l32 * mean[1, 2]
    mean[1, 0] = r1 / a11 - l21 * mean[1, 1] - l31 * mean[1, 2]
    variance[1, 2] = 1 / d3
    variance[1, 1] = variance[0, 1] + l32**2 / d3
    variance[1, 0] = variance[0, 0] + (l21 * l32 - l31) ** 2 / d3
    return log_weight, mean, variance * variance_inflation(parts.known[:, None, :, 0], known, tail=TAIL)


def student_weight(
    slopes: Slopes, at: int, centre: FloatArray, *, inharmonicity: float, shape: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Weights of a Student law: partials far off the law count for less; and how far each is off, relative.

    ``at`` is the place of one of the glide times.
    """
    info = slopes.information[at, :, 0, 0]
    apart = (slopes.score[at, :, 0] - slopes.information[at, :, 0, 1] * centre[2]) / info
    apart = (
        apart - centre[0] - inharmonicity_sensitivity(slopes.number, inharmonicity=inharmonicity) * centre[1]
    )
    own_variance = own_deviation(slopes.number, shape) ** 2
    robust_weight = (TAIL + 1) / (TAIL + apart**2 / (own_variance + 1 / info))
    return robust_weight, apart * own_variance / (own_variance + robust_weight / info)


def initial_robust_weight(slopes: Slopes, *, inharmonicity: float) -> FloatArray:
    """First weights, from the median slope through pairs of partials (Theil 1950, Sen 1968), then refined."""
    middle = slopes.taus_s.size // 2
    info = slopes.information[middle, :, 0, 0]
    sharp = slopes.score[middle, :, 0] / info
    sensitivity = inharmonicity_sensitivity(slopes.number, inharmonicity=inharmonicity)
    if sensitivity.size < 4:
        return np.ones(sensitivity.size)
    first, second = pairs(sensitivity.size, itself=False)
    slope = median((sharp[second] - sharp[first]) / (sensitivity[second] - sensitivity[first]))
    apart = (sharp - slope * sensitivity - median(sharp - slope * sensitivity)) ** 2
    scale = max(2.2 * median(apart), 1e-14)  # median of a squared normal to its mean
    for _ in range(4):
        robust_weight = (TAIL + 1) / (TAIL + apart / (scale + 1 / info))
        weight = robust_weight / (scale + 1 / info)
        x = sensitivity - np.sum(weight * sensitivity) / weight.sum()
        y = sharp - np.sum(weight * sharp) / weight.sum()
        slope = np.sum(weight * x * y) / np.sum(weight * x * x)
        apart = (y - slope * x) ** 2
        scale = max(2.2 * median(apart - 1 / info), 1e-14)
    return np.asarray((TAIL + 1) / (TAIL + apart / (scale + 1 / info)))
