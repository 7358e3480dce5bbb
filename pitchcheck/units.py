"""Conversions between units; the only place where they are made."""

from __future__ import annotations

import math
import re
from enum import StrEnum

from pitchcheck.errors import BadValue

MM_PER_INCH = 25.4  # [mm/in] exact by definition (international inch)
MM_PER_THOU = MM_PER_INCH / 1000  # [mm/thou]
CENTS_PER_OCTAVE = 1200.0  # [cent]
CENTS_PER_LOG = CENTS_PER_OCTAVE / math.log(2)  # [cent] per unit of natural logarithm

_MM_PER_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    '"': MM_PER_INCH,
    "thou": MM_PER_THOU,
}
_LENGTH = re.compile(r'^\s*([-+]?(?:\d+\.?\d*|\.\d+))\s*(mm|cm|inch|in|thou|")\s*$')


class LengthUnit(StrEnum):
    """What lengths are shown in: millimetres, or thousandths of an inch."""

    MM = "mm"
    THOU = "thou"


def length_mm(text: str) -> float:
    """Length written with its unit, in millimetres.

    Parameters
    ----------
    text : str
        A number and a unit: mm, cm, in, thou. ``"0.010 in"``, ``"10 thou"``, ``"0.25 mm"``.

    Returns
    -------
    float
        The length. [mm]

    Raises
    ------
    BadValue
        If there is no unit, or it is not one of the four.

    Examples
    --------
    >>> length_mm("10 thou")
    0.254
    """
    match = _LENGTH.match(text)
    if match is None:
        raise BadValue(
            f"{text!r} is not a length; it must be a number and a unit (mm, cm, in or thou), "
            'like "0.25 mm" or "0.010 in". Write the unit after the number.'
        )
    return float(match[1]) * _MM_PER_UNIT[match[2]]


def unit_of(text: str) -> LengthUnit:
    """Unit in which somebody who writes a length so wants to read others.

    Examples
    --------
    >>> unit_of("25.5 in"), unit_of("648 mm")
    (<LengthUnit.THOU: 'thou'>, <LengthUnit.MM: 'mm'>)
    """
    return LengthUnit.MM if text.strip().endswith(("mm", "cm")) else LengthUnit.THOU


def thou(length_in_mm: float) -> float:
    """Return millimetres as thousandths of an inch."""
    return length_in_mm / MM_PER_THOU


def cents_between(low_hz: float, high_hz: float) -> float:
    """Interval from ``low_hz`` up to ``high_hz``. [cent]"""
    return CENTS_PER_LOG * math.log(high_hz / low_hz)
