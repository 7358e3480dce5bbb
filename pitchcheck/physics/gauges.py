"""Gauge geometry: what a feeler, rule or eye sees for a given slot height.

Conventions: lengths in mm. The string is taken as straight between what it touches and as thin as a line.
Slot height is above the straight line through the fret tops, so every ratio follows from the fret table alone
and is the same for every scale length. All formulas are derived here; docs/method.md, "Gauge readings".
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.errors import BadValue
from pitchcheck.tuning import fret_place

_CLEARED_FRET = 1
_HELD_CONTACTS = (2, 3)  # held behind fret 3 the string rests on fret 2, or, lightly touched, on fret 3 only
_PARTS_OF_RELIEF = (
    2.0  # how far relief lifts fret 12 off the line through frets 1 and 3, in reliefs (derived)
)


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


def slot_floor_mm(height_mm: float, *, fret_height_mm: float) -> float:
    """Height of the slot's floor above the board. [mm]"""
    return height_mm + fret_height_mm


def height_from_slot_floor_mm(floor_mm: float, *, fret_height_mm: float) -> float:
    """Slot height of a slot whose floor is this far above the board. [mm]"""
    return floor_mm - fret_height_mm


def lowest_height_mm(action_12_mm: float) -> float:
    """Slot height at which the open string touches fret 1, straight neck. [mm]

    Examples
    --------
    >>> round(lowest_height_mm(1.0), 3)
    -0.126
    """
    return height_from_open_mm(0.0, action_12_mm=action_12_mm)


def by_number(ends: tuple[float, float], *, number: int, numbers: Sequence[int]) -> float:
    """Value for one string, linear by string number from the first string's to the last's.

    Parameters
    ----------
    ends : tuple of float
        Value for the lowest-numbered and for the highest-numbered string.
    number : int
        The string asked for.
    numbers : sequence of int, not empty
        The numbers of all strings. With one string alone the first value is taken.
    """
    first, last = min(numbers), max(numbers)
    if first == last:
        return ends[0]
    part = (number - first) / (last - first)
    return ends[0] + (ends[1] - ends[0]) * part


def target_height_mm(
    clearance_mm: tuple[float, float],
    *,
    number: int,
    numbers: Sequence[int],
    override_mm: float | None = None,
) -> float:
    """Slot height to aim at. [mm]

    Parameters
    ----------
    clearance_mm : tuple of float
        Wanted gap over fret 1, string held behind fret 3 and resting on fret 2, for the first and the last
        string.
    number, numbers
        As for `by_number`.
    override_mm : float, optional
        A slot height asked for on this very string; it is returned as it is.
    """
    if override_mm is not None:
        return override_mm
    return height_from_third_fret_mm(by_number(clearance_mm, number=number, numbers=numbers))
