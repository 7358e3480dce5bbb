"""The most likely unknowns: damped Gauss-Newton steps with bad takes weighed down.

Conventions: data y with reading covariance R; the hand adds its own scatter, whose size follows from the
model's slopes. Residuals are taken as Student t with ``DEGREES`` degrees of freedom, so that one bad take
loses its weight (equation 12 of docs/model.md). Unknowns are standard normal beforehand.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag, cho_factor, cho_solve

from pitchcheck.fit.cases import Slopes, linearise, predict
from pitchcheck.fit.hand import CAREFUL, Scatter, hand_parts
from pitchcheck.fit.unknowns import Unknowns
from pitchcheck.types import BoolArray, FloatArray

DEGREES = 6.0  # [-] of the t distribution; our choice: a residual of 4 sd keeps a third of its weight
MOST_STEPS = 30
SETTLED = 0.03  # [sd of its belief] largest change of an unknown at which the fit has settled


@dataclass(frozen=True)
class Data:
    """What was measured, one row a take or a gauge reading.

    Attributes
    ----------
    value : array, shape (d,)
        Cents, or mm for a gauge.
    covariance : array, shape (d, d)
        Of the reading alone.
    case : integer array, shape (d,)
        Which case each row measures.
    robust : bool array, shape (d,)
        Whether the row may be weighed down.
    scatter : Scatter
        Of the hand that played.
    """

    value: FloatArray
    covariance: FloatArray
    case: FloatArray
    robust: FloatArray
    scatter: Scatter = CAREFUL

    def joined(self, more: Data) -> Data:
        """Return these rows, then others, independent of them."""
        return Data(
            value=np.concatenate([self.value, more.value]),
            covariance=block_diag(self.covariance, more.covariance) if more.value.size else self.covariance,
            case=np.concatenate([self.case, more.case]),
            robust=np.concatenate([self.robust, more.robust]),
            scatter=self.scatter,
        )

    def without(self, rows: BoolArray) -> Data:
        """Return the data without some rows (a bool array)."""
        kept = ~rows
        return Data(
            value=self.value[kept],
            covariance=self.covariance[np.ix_(kept, kept)],
            case=self.case[kept],
            robust=self.robust[kept],
            scatter=self.scatter,
        )


@dataclass(frozen=True)
class Solution:
    """Most likely unknowns and their covariance (Laplace).

    ``residual``, ``scatter`` (standard deviation) and ``hand`` (variance of the hand in it) are of the data
    rows, ``weight`` is 1 for a row fully used.
    """

    z: FloatArray
    covariance: FloatArray
    jacobian: FloatArray
    expected: FloatArray
    residual: FloatArray
    scatter: FloatArray
    hand: FloatArray
    about: Slopes
    weight: FloatArray
    settled: bool


def solve(unknowns: Unknowns, data: Data, *, start: FloatArray | None = None) -> Solution:
    """Find the most likely unknowns.

    Parameters
    ----------
    unknowns : Unknowns, n of them
    data : Data, d rows
    start : array, shape (n,), optional

    Returns
    -------
    Solution
    """
    n = len(unknowns.names)
    z = np.zeros(n) if start is None else start.copy()
    weight = np.ones(data.value.size)
    settled = False
    before: FloatArray | None = None
    for _ in range(MOST_STEPS):
        coordinates = unknowns.coordinates(z)
        about = linearise(unknowns.cases, coordinates)
        jacobian = np.einsum("ca,can->cn", about.slope, unknowns.spread)[data.case]
        expected = about.value[data.case]
        hand = hand_parts(unknowns.cases, about).total(data.scatter)[data.case]
        residual = data.value - expected
        total = np.diag(data.covariance) + hand
        weight = np.where(data.robust, np.minimum(1.0, (DEGREES + 1) / (DEGREES + residual**2 / total)), 1.0)
        noise = data.covariance + np.diag(hand + total * (1 / weight - 1))
        factor = cho_factor(noise)
        response = cho_solve(factor, jacobian)
        hessian = jacobian.T @ response + np.eye(n)
        step = np.linalg.solve(hessian, response.T @ residual - z)
        size = _step_size(unknowns, data, z, step, factor)
        if before is not None and step @ hessian @ before < 0:  # there and back: the weights chase the step
            size /= 2
        before = step
        z = z + size * step
        if np.all(step**2 < SETTLED**2 * np.diag(np.linalg.inv(hessian))):
            settled = True
            break
    return Solution(
        z=z,
        covariance=np.linalg.inv(hessian),
        jacobian=jacobian,
        expected=expected,
        residual=residual,
        scatter=np.sqrt(total),
        hand=hand,
        about=about,
        weight=weight,
        settled=settled,
    )


def _step_size(unknowns: Unknowns, data: Data, z: FloatArray, step: FloatArray, factor: object) -> float:
    """Largest of 1, 1/2, 1/4, 1/8 that lowers the misfit."""

    def misfit(at: FloatArray) -> float:
        miss = data.value - predict(unknowns.cases, unknowns.coordinates(at))[data.case]
        return float(miss @ cho_solve(factor, miss) + at @ at)

    if np.max(np.abs(step)) < 0.05:
        return 1.0
    now = misfit(z)
    size = 1.0
    while size > 0.1 and misfit(z + size * step) > now:
        size /= 2
    return size
