"""Thresholds of the cause finding, and the statistics that turn a false-alarm rate into a limit.

Conventions: a false-alarm rate is for one whole survey and one kind of finding, however many strings were
looked at: the limit grows with their number (Bonferroni's inequality). Where a limit is not statistical its
comment says where it comes from.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from pitchcheck.judgement import DECISION_BELIEF
from pitchcheck.survey import FRETTED_HAND_CENTS
from pitchcheck.tuning import AUDIBLE_CENTS
from pitchcheck.types import FloatArray

_MAD_TO_SD = 1 / NormalDist().inv_cdf(0.75)  # [-] of a normal distribution
_SD_IN_90_PERCENT = 2 * NormalDist().inv_cdf(0.95)  # [-] width of a normal 90 % interval


@dataclass(frozen=True)
class DiagnosisLimits:
    """When a deviation becomes a finding."""

    belief: float = DECISION_BELIEF  # of a statement about a slot: the definition of the verdicts
    alarm: float = 0.01  # false alarms per survey and kind of finding: chosen, one sound survey in a hundred
    # the nut is out of place beyond this: 0.8 cent on every fret at 648 mm; chosen
    nut_offset_mm: float = 0.3
    in_tune_cents: float = AUDIBLE_CENTS  # fret 12 this near counts as in tune
    sharp_cents: float = AUDIBLE_CENTS  # a first fret beyond this is called sharp
    # depth below the fret tops that counts as a heavy hand; 8 N on a plain string sink 0.8 mm: chosen
    heavy_touch_mm: float = 1.1
    touch_cents: float = 2.0  # a touch part that a player would notice over three frets: chosen
    touch_scatter_cents: float = FRETTED_HAND_CENTS  # from note to note by hand
    fret_cents: float = 1.5  # a fret error worth telling of: chosen, the scatter of one touch
    return_cents: float = 1.5  # two like presses may differ by a cent: docs/method.md, "The press test"
    open_scatter_cents: float = 0.7  # of an open note by hand, where too few are there to tell: chosen
    drift_cents: float = 3.0  # over the survey of a string; less is taken out by the brackets: chosen
    stiffness_log_sd: float = 0.20  # of B against kappa r^2: docs/method.md, "Forward model" (10 to 20 %)
    # of a string's takes; a neighbour that rings along spoils one, not most: chosen
    doubted_share: float = 0.5
    capo_scatter_cents: float = 2.0  # from capo to capo at one place: chosen, the upper end of a finger's


def z_limit(count: int, *, alarm: float) -> float:
    """Two-sided limit in standard deviations that ``count`` normal deviations pass with belief 1 - alarm.

    Parameters
    ----------
    count : int >= 1
        How many deviations are looked at; they may be correlated.
    alarm : float, 0 to 1
        Chance that any of them is beyond the limit by chance, at most.

    References
    ----------
    Bonferroni's inequality.

    Examples
    --------
    >>> round(z_limit(1, alarm=0.05), 2)
    1.96
    """
    return NormalDist().inv_cdf(1 - alarm / (2 * max(count, 1)))


def t_limit(count: int, *, alarm: float, freedom: int) -> float:
    """Like `z_limit`, the standard deviation itself estimated with ``freedom`` degrees of freedom."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 1 - alarm / (2 * max(count, 1))))


def robust_sd(values: FloatArray) -> float:
    """Standard deviation from the median absolute deviation: blind to a few wild values."""
    return float(_MAD_TO_SD * np.median(np.abs(values - np.median(values))))


def sd_of_interval(low: float, high: float) -> float:
    """Standard deviation of a normal belief with this 90 % interval."""
    return (high - low) / _SD_IN_90_PERCENT
