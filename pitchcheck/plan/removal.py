"""What may come off a slot now.

Conventions: mm; made on the unrounded belief. Definitions: docs/formats.md.
"""

from __future__ import annotations

import math

from pitchcheck.fit.belief import Belief

SPARED_BELIEF = 0.025  # [-] belief of going under target that a removal may leave: definition
MOST_OF_EXCESS = 0.7  # [-] of the median excess in one pass, so that one listens again: definition
STEPS_PER_MM = 20  # [1/mm] removals are told in steps of 0.05 mm: definition


def safe_removal_mm(excess_mm: Belief) -> float:
    """How much of an excess may come off in one pass.

    Parameters
    ----------
    excess_mm : Belief
        Slot height less its target. [mm]

    Returns
    -------
    float >= 0
        The smaller of the 2.5th percentile and 0.7 times the median, rounded down to 0.05 mm. [mm]
    """
    return round_down_mm(min(excess_mm.quantile(SPARED_BELIEF), MOST_OF_EXCESS * excess_mm.median))


def round_down_mm(value_mm: float) -> float:
    """Largest multiple of 0.05 mm that is not above the value; 0 for anything below 0. [mm]

    Never above the value, also where binary fractions would carry it there.

    Examples
    --------
    >>> round_down_mm(0.15), round_down_mm(0.1499999999), round_down_mm(-0.2)
    (0.15, 0.1, 0.0)
    """
    if not value_mm > 0:
        return 0.0
    steps = math.floor(value_mm * STEPS_PER_MM) + 1
    while steps / STEPS_PER_MM > value_mm:
        steps -= 1
    return steps / STEPS_PER_MM
