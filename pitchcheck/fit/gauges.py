"""MeterQuantity readings held against what the sound alone says.

Conventions: mm. A reading is never rescaled: a likely slip is only named.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcheck.fit.cases import linearise
from pitchcheck.fit.problem import Problem
from pitchcheck.fit.result import MeterResidual
from pitchcheck.fit.solve import Solution
from pitchcheck.instrument import MeterReading
from pitchcheck.units import MM_PER_INCH

QUESTIONED_SD = (
    4.0  # [sd] our choice: 1 true reading in 16,000 is questioned, and the fit's own sd is not exact
)
SLIP_FITS_SD = 2.0  # [sd] a slip is named when the reading without it lies within this
SLIPS = (0.1, 10.0, 1 / MM_PER_INCH, MM_PER_INCH)  # decimal point, and mm for inches


def question_gauges(
    gauges: Sequence[MeterReading], problem: Problem, ear: Solution
) -> tuple[MeterResidual, ...]:
    """Hold every gauge reading against what the sound alone says.

    Parameters
    ----------
    gauges : sequence of MeterReading
        In the order of ``problem.gauge_case``.
    problem : Problem
    ear : Solution
        Of the takes alone.

    Returns
    -------
    tuple of MeterResidual, one a reading
    """
    if not gauges:
        return ()
    unknowns = problem.unknowns
    cases = tuple(unknowns.cases[i] for i in problem.gauge_case)
    chosen = list(problem.gauge_case)
    about = linearise(cases, unknowns.coordinates(ear.z)[chosen])
    expected = about.value
    jacobian = np.einsum("ca,can->cn", about.slope, unknowns.spread[chosen])
    variance = np.einsum("cn,nm,cm->c", jacobian, ear.covariance, jacobian)
    rows = []
    for i, gauge in enumerate(gauges):
        sd = float(np.hypot(gauge.sd_mm, np.sqrt(variance[i])))
        off = abs(gauge.value_mm - expected[i]) > QUESTIONED_SD * sd
        slip = _likely_slip(gauge.value_mm, float(expected[i]), sd) if off else None
        rows.append(MeterResidual(i, gauge.value_mm, float(expected[i]), sd, slip, questioned=bool(off)))
    return tuple(rows)


def _likely_slip(read_mm: float, expected_mm: float, sd_mm: float) -> float | None:
    """Return the reading without the slip that explains it best, if one does."""
    candidates = [read_mm * factor for factor in SLIPS]
    best = min(candidates, key=lambda value: abs(value - expected_mm))
    return best if abs(best - expected_mm) <= SLIP_FITS_SD * sd_mm else None
