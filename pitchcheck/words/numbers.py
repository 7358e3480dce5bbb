"""How a number is printed with its uncertainty, for the terminal, the page and the documents alike.

Conventions: lengths come in mm and are shown in mm, in thou (0.001 in), or in both; an interval is the 90 %
one. Values are judged before they are rounded, and a rounded value never reaches a limit that the value
itself does not reach; it is then written "just under" or "just over" the limit. Amounts to take off are
always rounded down.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pitchcheck.units import MM_PER_INCH, LengthUnit, thou

if TYPE_CHECKING:  # loading it brings the whole fit
    from pitchcheck.fit.belief import Belief

MM_DECIMALS = 2  # [-] 0.01 mm: what a good feeler gauge resolves (common practice, no source)
THOU_DECIMALS = 1  # [-] 0.1 thou = 0.0025 mm, so a value in thou hides nothing that the one in mm shows
CENT_DECIMALS = 1  # [-] 0.1 cent: what two readings can be told apart by
_EQUAL = 1e-9  # in any unit here: closer than this is the limit itself, not a side of it
MINUS = "−"
UNKNOWN = "–"


def rounded(value: float, *, decimals: int, limits: Sequence[float] = (), signed: bool = False) -> str:
    """Print one value, never carried across a limit by rounding.

    Parameters
    ----------
    value : float
        Finite, in any unit.
    decimals : int >= 0
        Digits after the point.
    limits : sequence of float
        Values that ``value`` was judged against, in the same unit.
    signed : bool
        Whether a plus sign is shown.

    Returns
    -------
    str
        ``"0.15"``; ``"just under 0.15"`` for a value that is below the limit 0.15 but would print like it.

    Examples
    --------
    >>> rounded(0.1471, decimals=2, limits=[0.15])
    'just under 0.15'
    >>> rounded(0.1471, decimals=2)
    '0.15'
    """
    for limit in limits:
        side = value - limit
        if abs(side) <= _EQUAL:
            continue
        shown, edge = round(value, decimals), round(limit, decimals)
        if side < 0 and shown >= edge:
            return f"just under {_plain(limit, decimals, signed)}"
        if side > 0 and shown <= edge:
            return f"just over {_plain(limit, decimals, signed)}"
    return _plain(value, decimals, signed)


def _plain(value: float, decimals: int, signed: bool) -> str:
    """Return the value with a mathematical minus and without a negative nought."""
    text = f"{round(value, decimals) + 0.0:{'+' if signed else ''}.{decimals}f}"
    return text.replace("-", MINUS)


def length(value_mm: float, *, unit: LengthUnit | None = None, limits_mm: Sequence[float] = ()) -> str:
    """Length with its unit.

    Parameters
    ----------
    value_mm : float
        The length. [mm]
    unit : LengthUnit, optional
        What it is shown in; both by default.
    limits_mm : sequence of float
        What it was judged against: rounding never carries it across. [mm]

    Examples
    --------
    >>> length(0.52), length(0.52, unit=LengthUnit.THOU)
    ('0.52 mm (20.5 thou)', '20.5 thou')
    """
    if unit is None:
        both = (length(value_mm, unit=one, limits_mm=limits_mm) for one in LengthUnit)
        return "{} ({})".format(*both)
    return f"{figure(value_mm, unit=unit, limits_mm=limits_mm)} {unit}"


def long_length(value_mm: float, *, unit: LengthUnit) -> str:
    """Length of a neck, in millimetres or inches: ``"647.7 mm"``, ``"25.50 in"``."""
    if unit is LengthUnit.MM:
        return f"{rounded(value_mm, decimals=1)} mm"
    return f"{rounded(value_mm / MM_PER_INCH, decimals=2)} in"


def figure(
    value_mm: float, *, unit: LengthUnit, limits_mm: Sequence[float] = (), signed: bool = False
) -> str:
    """Length without its unit, for a column whose head names it."""
    if unit is LengthUnit.MM:
        return rounded(value_mm, decimals=MM_DECIMALS, limits=limits_mm, signed=signed)
    limits = [thou(limit) for limit in limits_mm]
    return rounded(thou(value_mm), decimals=THOU_DECIMALS, limits=limits, signed=signed)


def interval(belief: Belief, *, unit: LengthUnit = LengthUnit.MM, joint: str = "to") -> str:
    """90 % interval of a length, as ``"0.44 to 0.60 mm"``.

    Its ends decide nothing (verdicts come from the whole belief), so they are held against no limit.
    """
    return f"{figure(belief.low, unit=unit)} {joint} {length(belief.high, unit=unit)}"


def measured(belief: Belief | None, *, unit: LengthUnit | None = None) -> str:
    """Length with its uncertainty: the median and the 90 % interval; ``None`` is "not measured".

    Examples
    --------
    >>> from pitchcheck.fit.belief import Belief
    >>> measured(Belief.normal(0.52, 0.05))
    '0.52 mm (20.5 thou), 90 % sure between 0.44 and 0.60 mm'
    """
    if belief is None:
        return "not measured"
    between = interval(belief, unit=unit or LengthUnit.MM, joint="and")
    return f"{length(belief.median, unit=unit)}, 90 % sure between {between}"


def removal(amount_mm: float, *, unit: LengthUnit | None = None) -> str:
    """Amount that may come off, in each unit rounded down so that none allows more.

    Examples
    --------
    >>> removal(0.15), removal(0.15, unit=LengthUnit.THOU)
    ('0.15 mm (5.9 thou)', '5.9 thou')
    """
    if unit is None:
        return "{} ({})".format(*(removal(amount_mm, unit=one) for one in LengthUnit))
    if unit is LengthUnit.MM:
        return f"{_down(amount_mm, MM_DECIMALS)} mm"
    return f"{_down(thou(amount_mm), THOU_DECIMALS)} thou"


def _down(value: float, decimals: int) -> str:
    """Return the value rounded down."""
    step = 10**decimals
    return f"{math.floor(value * step + _EQUAL) / step:.{decimals}f}"


def cents(value: float, *, limits: Sequence[float] = ()) -> str:
    """Interval in cents with its sign, as ``"+3.2 cents"``."""
    shown = rounded(value, decimals=CENT_DECIMALS, limits=limits, signed=True)
    return f"{shown} {'cent' if shown in ('+1.0', MINUS + '1.0') else 'cents'}"


def off(value_cents: float) -> str:
    """Return an error in cents with its direction in words, as ``"3.2 cents sharp"``."""
    shown = rounded(abs(value_cents), decimals=CENT_DECIMALS)
    unit = "cent" if shown == "1.0" else "cents"
    return f"{shown} {unit} {'sharp' if value_cents >= 0 else 'flat'}"


def percent(belief: float) -> str:
    """Return a belief rounded down to whole per cent; nothing is ever told to be certain.

    Examples
    --------
    >>> percent(0.9999), percent(0.907)
    ('more than 99 %', '90 %')
    """
    whole = math.floor(100 * belief + _EQUAL)
    return "more than 99 %" if whole >= 99 else f"{whole} %"


def cents_with_sd(value: float, sd: float) -> str:
    """Interval in cents and its standard uncertainty, as ``"+3.2 ± 0.4 cents"``."""
    shown = rounded(value, decimals=CENT_DECIMALS, signed=True)
    return f"{shown} ± {rounded(sd, decimals=CENT_DECIMALS)} cents"
