"""Numbers and string lists as words for the bench.

Conventions: these are for reading only; nothing is decided on a rounded value.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from pitchcheck.fit.belief import Belief
from pitchcheck.units import thou

ROUNDING_DUST = 1e-9  # binary fractions: 0.15 is stored a little below itself


def mm(value_mm: float) -> str:
    """Return a length as ``0.31 mm (12.2 thou)``, as ``report.numbers.length`` does."""
    return f"{value_mm:.2f} mm ({thou(value_mm):.1f} thou)"


def removal_mm(amount_mm: float) -> str:
    """Return an amount that may come off, each unit rounded down so that neither allows more.

    Examples
    --------
    >>> removal_mm(0.5)
    '0.50 mm (19.6 thou)'
    """
    hundredths = math.floor(amount_mm * 100 + ROUNDING_DUST)
    tenths = math.floor(thou(amount_mm) * 10 + ROUNDING_DUST)
    return f"{hundredths / 100:.2f} mm ({tenths / 10:.1f} thou)"


def belief_mm(belief: Belief) -> str:
    """Return a length with its 90 % interval."""
    return f"{mm(belief.median)}, 90 % between {belief.low:.2f} and {belief.high:.2f} mm"


def percent(belief: float) -> str:
    """Return a belief rounded down to whole per cent; nothing is ever told to be certain.

    Examples
    --------
    >>> percent(0.9999), percent(0.907)
    ('more than 99 %', '90 %')
    """
    whole = math.floor(100 * belief + ROUNDING_DUST)
    return "more than 99 %" if whole >= 99 else f"{whole} %"


def cents(value_cents: float) -> str:
    """Return an error in cents with its direction in words."""
    side = "sharp" if value_cents >= 0 else "flat"
    return f"{abs(value_cents):.1f} cents {side}"


def listed(numbers: Sequence[int], *, noun: str = "string") -> str:
    """Return ``string 1``, ``strings 1 and 2``, ``strings 1, 2 and 5``."""
    if len(numbers) == 1:
        return f"{noun} {numbers[0]}"
    head = ", ".join(str(n) for n in numbers[:-1])
    return f"{noun}s {head} and {numbers[-1]}"
