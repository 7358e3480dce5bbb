"""What a gauge would read on a given instrument, over frets of uneven height.

A stiff string that bends down behind the nut runs above the straight line from its slot: beyond some bending
lengths by lambda theta / 2, with theta the break angle (the tension spline of a kink, equation 3 of
docs/model.md). How much of that is left once a string has taken a set is ``Setup.arch_part``.

Conventions: as in ``stops``. ``gauges`` has the same geometry for level frets.
"""

from __future__ import annotations

import numpy as np

from pitchcheck.instrument import MeterQuantity
from pitchcheck.physics.stops import Setup, board_height, fret_top, nut_edge, saddle_height
from pitchcheck.tuning import fret_place
from pitchcheck.types import FloatArray

# Held behind fret 3 the line from nut to fret 2 turns with the arch, which leaves 1 - x_1/x_2 = 0.49 of it
# over fret 1, and the kink on fret 2 adds some: finite elements give 0.54 to 0.62.
HELD_ARCH = 0.58  # [-]


def gauge_mm(setup: Setup, *, what: MeterQuantity) -> FloatArray:
    """Reading of one gauge. [mm]

    Parameters
    ----------
    setup : Setup
        Arrays of shape (m,).
    what : MeterQuantity
        ``CLEARANCE_THIRD``: string held down between frets 2 and 3, so that it rests on fret 2. A string that
        lies on fret 1 would read 0; here the straight line goes on below it, which keeps the slope.

    Returns
    -------
    array, shape (m,)
    """
    if what is MeterQuantity.FRET_HEIGHT:
        return np.asarray(setup.fret_height_mm - setup.board_mm)
    if what is MeterQuantity.ACTION_12:
        return setup.action_12_mm
    if what is MeterQuantity.RELIEF:
        return setup.relief_mm
    nut_x, nut_y = nut_edge(setup, capo=0)
    if what is MeterQuantity.SLOT_FLOOR:
        return nut_y - board_height(setup, nut_x)
    first_x = fret_place(1.0, 1) * setup.scale_mm
    first_y = fret_top(setup, 1)
    if what is MeterQuantity.CLEARANCE_OPEN:
        end_x = setup.scale_mm + setup.saddle_mm
        end_y = saddle_height(setup)
        return np.asarray(_line(nut_x, nut_y, end_x, end_y, first_x) - first_y + _arch(setup))
    second_x = fret_place(1.0, 2) * setup.scale_mm
    straight = _line(nut_x, nut_y, second_x, fret_top(setup, 2), first_x) - first_y
    return np.asarray(straight + HELD_ARCH * _arch(setup))


def _arch(setup: Setup) -> FloatArray:
    """Height of the string above the straight line from its slot, some bending lengths away. [mm]"""
    return np.asarray(setup.arch_part * setup.bend_mm * setup.break_rad / 2)


def _line(x0: FloatArray, y0: FloatArray, x1: FloatArray, y1: FloatArray, x: FloatArray) -> FloatArray:
    """Height at x of the straight line through two points."""
    return np.asarray(y0 + (y1 - y0) * (x - x0) / (x1 - x0))
