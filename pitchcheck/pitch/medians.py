"""Medians and pairs of small arrays, quicker than the library's own, whose checks cost more than its work."""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt

from pitchcheck.types import FloatArray


def median(values: FloatArray) -> float:
    """Median of finite numbers. Shape (n,), n > 0."""
    ranked = np.sort(values)
    half = ranked.size // 2
    return float(ranked[half] if ranked.size % 2 else 0.5 * (ranked[half - 1] + ranked[half]))


def row_medians(values: FloatArray) -> FloatArray:
    """Median of each row of finite numbers. Shape (k, n), n > 0, to (k,)."""
    half = values.shape[1] // 2
    if values.shape[1] % 2:
        return np.asarray(np.partition(values, half, axis=1)[:, half])
    ranked = np.partition(values, (half - 1, half), axis=1)
    return np.asarray(0.5 * (ranked[:, half - 1] + ranked[:, half]))


@functools.cache
def pairs(count: int, *, itself: bool) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Every two of so many, each also with itself or not."""
    return np.triu_indices(count, 0 if itself else 1)
