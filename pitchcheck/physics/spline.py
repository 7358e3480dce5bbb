"""Shape of a stiff string under tension that rests on points: the tension spline.

Between its nodes the string obeys T y'' = EI y'''' (equation 3 of docs/model.md), whose solutions are a
straight line and two exponentials of length lambda = sqrt(EI/T). At a node the string is either held at a
height or carries a load. Unknown are the curvature and the height of every node; both ends are free to turn.

Conventions: batches run along the leading axes, nodes along the last one, left to right. Heights in mm,
curvatures in 1/mm, loads as load/T (a number), positive upwards. Slopes are small (their square enters).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.types import BoolArray, FloatArray


@dataclass(frozen=True)
class Spline:
    """A solved string.

    Attributes
    ----------
    height_mm : array, shape (..., n)
    reaction : array, shape (..., n)
        Upward force of whatever is at the node, over the tension; the load itself where nothing holds. [-]
    chord_mm : array, shape (..., n - 1)
        Straight extra length of each piece, exact: hypot(dx, dy) - dx. [mm]
    bow_mm : array, shape (..., n - 1)
        Extra length of each piece over its chord, from the rounding by bending. [mm]
    """

    height_mm: FloatArray
    reaction: FloatArray
    chord_mm: FloatArray
    bow_mm: FloatArray


def solve_spline(
    place_mm: FloatArray,
    height_mm: FloatArray,
    *,
    held: BoolArray,
    load: FloatArray,
    bend_mm: FloatArray,
) -> Spline:
    """Solve the string over its nodes.

    Parameters
    ----------
    place_mm : array, shape (..., n), increasing along the last axis
        Places of the nodes. [mm]
    height_mm : array, shape (..., n)
        Heights of the held nodes; ignored where ``held`` is false. [mm]
    held : bool array, shape (..., n)
        Whether the node is held at its height. The two ends must be.
    load : array, shape (..., n)
        Upward load over the tension at nodes that are not held. [-]
    bend_mm : array, shape (...,), > 0
        Bending length lambda = sqrt(EI/T). [mm]

    Returns
    -------
    Spline
    """
    n = place_mm.shape[-1]
    length = np.diff(place_mm)
    lam = bend_mm[..., None]
    decay = np.exp(-length / lam)
    csch = 2 * decay / (1 - decay**2)
    coth = (1 + decay**2) / (1 - decay**2)
    matrix, right = _system(length, lam, csch, coth, held=held, target=np.where(held, height_mm, load))
    unknown = np.asarray(np.linalg.solve(matrix, right[..., None])[..., 0], dtype=np.float64)
    curvature: FloatArray = unknown[..., :n]
    height: FloatArray = unknown[..., n:]
    step = np.asarray(np.diff(height), dtype=np.float64)
    bend_step = np.diff(curvature)
    shear = step / length - bend_step * lam**2 / length
    reaction = np.zeros_like(height)
    reaction[..., 1:-1] = shear[..., :-1] - shear[..., 1:]
    return Spline(
        height_mm=height,
        reaction=reaction,
        chord_mm=np.hypot(length, step) - length,
        bow_mm=_bow(curvature, length=length, lam=lam, csch=csch, coth=coth),
    )


def _system(
    length: FloatArray,
    lam: FloatArray,
    csch: FloatArray,
    coth: FloatArray,
    *,
    held: BoolArray,
    target: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Linear system for the curvatures (first n unknowns) and the heights (last n)."""
    n = held.shape[-1]
    batch = held.shape[:-1]
    matrix = np.zeros((*batch, 2 * n, 2 * n))
    right = np.zeros((*batch, 2 * n))
    inner = np.arange(1, n - 1)
    left, here, after = slice(None, -1), inner, slice(1, None)
    side = lam * (lam / length - csch)
    middle = lam * (coth - lam / length)
    slope = 1 / length
    shear = lam**2 / length

    # Slope is continuous at the inner nodes (equation 4); the ends carry no moment.
    matrix[..., 0, 0] = 1
    matrix[..., n - 1, n - 1] = 1
    matrix[..., here, here - 1] = side[..., left]
    matrix[..., here, here] = middle[..., left] + middle[..., after]
    matrix[..., here, here + 1] = side[..., after]
    matrix[..., here, n + here - 1] = -slope[..., left]
    matrix[..., here, n + here] = slope[..., left] + slope[..., after]
    matrix[..., here, n + here + 1] = -slope[..., after]

    # A node is held at its height, or the jump of the transverse force is its load (equation 5).
    every = np.arange(n)
    free = np.where(held, 0.0, 1.0)[..., inner]
    matrix[..., n + every, n + every] = np.where(held, 1.0, 0.0)
    matrix[..., n + here, n + here] += free * (slope[..., left] + slope[..., after])
    matrix[..., n + here, n + here - 1] = -free * slope[..., left]
    matrix[..., n + here, n + here + 1] = -free * slope[..., after]
    matrix[..., n + here, here - 1] = free * shear[..., left]
    matrix[..., n + here, here] = -free * (shear[..., left] + shear[..., after])
    matrix[..., n + here, here + 1] = free * shear[..., after]
    right[..., n:] = target
    return matrix, right


def _bow(
    curvature: FloatArray, *, length: FloatArray, lam: FloatArray, csch: FloatArray, coth: FloatArray
) -> FloatArray:
    """Half the integral of the squared slope about the chord, piece by piece (equation 6)."""
    a, b = curvature[..., :-1], curvature[..., 1:]
    square = length / 2 * csch**2 + lam * coth / 2
    cross = length * coth * csch / 2 + lam * csch / 2
    whole = lam**2 * ((a**2 + b**2) * square - 2 * a * b * cross) - (b - a) ** 2 * lam**4 / length
    return np.asarray(whole / 2)
