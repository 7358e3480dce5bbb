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
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "″": MM_PER_INCH,
    "”": MM_PER_INCH,
    "thou": MM_PER_THOU,
}
_DIGITS = 12  # [-] of a number at most; lengths have fewer
_LENGTH = re.compile(
    rf"""^\s*([-+]?)(?:
        (\d{{1,{_DIGITS}}})[\s-]+(\d{{1,4}})\s*/\s*(\d{{1,4}})        # 25 1/2
      | (\d{{1,4}})\s*/\s*(\d{{1,4}})                               # 1/2
      | (\d{{1,{_DIGITS}}}(?:[.,]\d{{0,{_DIGITS}}})?|[.,]\d{{1,{_DIGITS}}})  # 25.5 or 25,5
    )\s*(mm|cm|inches|inch|in|thou|["″”])\s*$""",
    re.VERBOSE,
)


class LengthUnit(StrEnum):
    """What lengths are shown in: millimetres, or thousandths of an inch."""

    MM = "mm"
    THOU = "thou"


def length_mm(text: str) -> float:
    """Length written with its unit, in millimetres.

    Parameters
    ----------
    text : str
        A number (decimal point or comma, or a fraction) and a unit: mm, cm, in (inch, inches, ``"``), thou.
        ``"0.010 in"``, ``"10 thou"``, ``"25 1/2 in"``, ``"647,7 mm"``.

    Returns
    -------
    float
        The length. [mm]

    Raises
    ------
    BadValue
        If there is no unit, or it is not one of these, or the number is none.

    Examples
    --------
    >>> length_mm("10 thou")
    0.254
    >>> length_mm("25 1/2 in") == length_mm("25,5 inches") == length_mm('25.5"')
    True
    """
    match = _LENGTH.match(text)
    if match is None:
        raise BadValue(
            f"{text[:40]!r} is not a length; it must be a number and a unit (mm, cm, in or thou), "
            'like "0.25 mm", "0.010 in" or "25 1/2 in". Write the unit after the number.'
        )
    sign, whole, over, under, part, of, number, unit = match.groups()
    if number is not None:
        value = float(number.replace(",", "."))
    else:
        bottom = int(under or of)
        if bottom == 0:
            raise BadValue(f"{text[:40]!r} divides by nought. Write the fraction again.")
        value = int(whole or 0) + int(over or part) / bottom
    return (-value if sign == "-" else value) * _MM_PER_UNIT[unit]


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
