"""Gauge geometry: what a feeler, rule or eye sees for a given slot height.

Conventions: lengths in mm. The string is taken as straight between what it touches and as thin as a line.
Slot height is above the straight line through the fret tops, so every ratio follows from the fret table alone
and is the same for every scale length. All formulas are derived here; docs/method.md, "Gauge readings".
"""

from __future__ import annotations

from pitchcheck.errors import BadValue
from pitchcheck.instrument import Nut, RunsBy, SessionSettings
from pitchcheck.tuning import fret_place

ZERO_FRET_FLOOR_MM = (
    -0.05
)  # [mm] two and a half times the scatter of single frets, below their plane; our choice
_CLEARED_FRET = 1
_HELD_CONTACTS = (2, 3)  # held behind fret 3 the string rests on fret 2, or, lightly touched, on fret 3 only
# how far relief lifts fret 12 off the line through frets 1 and 3, in reliefs (derived)
_PARTS_OF_RELIEF = 2.0


def third_fret_ratio(rests_on: int = 2) -> float:
    """Clearance over fret 1 per slot height, string held behind fret 3. [-]

    Parameters
    ----------
    rests_on : {2, 3}
        The fret nearest the nut that the string rests on. Held by a finger it is fret 2; only a very light
        touch or a very high slot leaves it on fret 3 alone.

    Raises
    ------
    BadValue
        If the contact is not fret 2 or 3.

    Examples
    --------
    >>> round(third_fret_ratio(2), 4), round(third_fret_ratio(3), 4)
    (0.4856, 0.6472)
    """
    if rests_on not in _HELD_CONTACTS:
        raise BadValue(
            f"rests_on is {rests_on}; a string held behind fret 3 rests on fret 2 or on fret 3. Give 2 or 3."
        )
    return 1.0 - fret_place(1.0, _CLEARED_FRET) / fret_place(1.0, rests_on)


def third_fret_clearance_mm(height_mm: float, *, rests_on: int = 2) -> float:
    """Gap between string and fret 1 with the string held behind fret 3. [mm]

    Negative for a slot below the fret plane: the string then lies on fret 1 and a gauge reads 0.
    """
    return height_mm * third_fret_ratio(rests_on)


def height_from_third_fret_mm(clearance_mm: float, *, rests_on: int = 2) -> float:
    """Slot height that leaves this gap over fret 1 with the string held behind fret 3. [mm]"""
    return clearance_mm / third_fret_ratio(rests_on)


def open_clearance_mm(height_mm: float, *, action_12_mm: float, relief_mm: float = 0.0) -> float:
    """Gap between the open string and fret 1. [mm]

    Parameters
    ----------
    height_mm : float
        Slot height.
    action_12_mm : float
        Gap between the open string and fret 12.
    relief_mm : float, default 0
        Bow of the neck at its deepest. A bow that is a parabola from fret 1 to fret 17 lifts fret 12
        off the line through frets 1 and 3 by about twice the relief.

    Returns
    -------
    float
        height x (1 - 2 x_1/L) + (action_12 + 2 relief) x 2 x_1/L, that is 0.888 height + 0.112 (...).
    """
    share = fret_place(1.0, _CLEARED_FRET) / fret_place(1.0, 12)
    return height_mm * (1.0 - share) + share * (action_12_mm + _PARTS_OF_RELIEF * relief_mm)


def height_from_open_mm(clearance_mm: float, *, action_12_mm: float, relief_mm: float = 0.0) -> float:
    """Slot height that leaves this gap between the open string and fret 1. [mm]"""
    share = fret_place(1.0, _CLEARED_FRET) / fret_place(1.0, 12)
    return (clearance_mm - share * (action_12_mm + _PARTS_OF_RELIEF * relief_mm)) / (1.0 - share)


def lowest_height_mm(action_12_mm: float) -> float:
    """Slot height at which the open string touches fret 1, straight neck. [mm]

    Examples
    --------
    >>> round(lowest_height_mm(1.0), 3)
    -0.126
    """
    return height_from_open_mm(0.0, action_12_mm=action_12_mm)


def slot_target_mm(settings: SessionSettings, number: int) -> float:
    """Slot height to aim at on one string. [mm]

    A string's own ``target_height_mm`` comes first. A zero fret belongs into the plane of the others,
    whatever the clearances say. Else the wanted gap over fret 1, string held behind fret 3, runs
    straight from the first string's to the last's, by number or by thickness.
    """
    own = settings.instrument.string(number).target_height_mm
    if own is not None:
        return own
    if settings.instrument.nut is Nut.ZERO_FRET:
        return 0.0
    first, last = settings.target.third_fret_clearance_mm
    return height_from_third_fret_mm(first + (last - first) * _share(settings, number))


def buzz_floor_mm(settings: SessionSettings, number: int) -> float:
    """Slot height below which the open string is likely to buzz on fret 1. [mm]"""
    if settings.instrument.nut is Nut.ZERO_FRET:
        return ZERO_FRET_FLOOR_MM
    first, last = settings.target.floor_mm
    return first + (last - first) * _share(settings, number)


def _share(settings: SessionSettings, number: int) -> float:
    """Where a string stands between the first (0) and the last (1), or the thinnest and the thickest. [-]"""
    strings = settings.instrument.strings
    gauges = [spec.gauge_mm for spec in strings if spec.gauge_mm is not None]
    own = settings.instrument.string(number).gauge_mm
    if settings.target.runs_by is RunsBy.THICKNESS and own is not None and len(gauges) == len(strings):
        thin, thick = min(gauges), max(gauges)
        return 0.0 if thin == thick else (own - thin) / (thick - thin)
    numbers = [spec.number for spec in strings]
    first, last = min(numbers), max(numbers)
    return 0.0 if first == last else (number - first) / (last - first)
