"""What a gauge would read on a given instrument, over frets of uneven height.

A stiff string that bends down behind the nut runs above the straight line from its slot: beyond some bending
lengths by lambda theta / 2, with theta the break angle (the tension spline of a kink, equation 3 of
docs/model.md). How much of that is left once a string has taken a set is ``Setup.arch_part``.

Conventions: as in ``stops``. ``gauges`` has the same geometry for level frets.
"""

from __future__ import annotations

import numpy as np

from pitchcheck.instrument import MeterQuantity
from pitchcheck.physics.stops import (
    SADDLE_BREAK_RAD,
    Setup,
    board_height,
    fret_top,
    nut_edge,
    saddle_height,
)
from pitchcheck.tuning import fret_place
from pitchcheck.types import FloatArray

# Where the middle of the finger is that holds a string down onto the board behind fret 3, at most that part
# of a narrow space. Our choice.
HELD_BEHIND_MM, HELD_BEHIND_PART = 9.0, 0.40


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
        straight = _line(nut_x, nut_y, end_x, end_y, first_x) - first_y
        # Arched over both ends, over the saddle by the angle there.
        over_ends = _line(
            nut_x, _arch(setup, setup.break_rad), end_x, _arch(setup, SADDLE_BREAK_RAD), first_x
        )
        return np.asarray(straight + over_ends)
    second_x = fret_place(1.0, 2) * setup.scale_mm
    straight = _line(nut_x, nut_y, second_x, fret_top(setup, 2), first_x) - first_y
    # Arched over the nut and, where the finger bends it down, over fret 2; there it has taken no set.
    over_fret = _line(
        nut_x, _arch(setup, setup.break_rad), second_x, setup.bend_mm * held_kink_rad(setup) / 2, first_x
    )
    return np.asarray(straight + over_fret)


def held_kink_rad(setup: Setup) -> FloatArray:
    """Angle by which a string bends down over fret 2 when it is held onto the board behind fret 3. [rad]"""
    space_mm = (fret_place(1.0, 3) - fret_place(1.0, 2)) * setup.scale_mm
    behind_mm = np.minimum(HELD_BEHIND_MM, HELD_BEHIND_PART * space_mm)
    return np.asarray(setup.fret_height_mm / (space_mm - behind_mm))


def _arch(setup: Setup, angle_rad: FloatArray | float) -> FloatArray:
    """Height of the string above the straight line from a support, some bending lengths away. [mm]"""
    return np.asarray(setup.arch_part * setup.bend_mm * angle_rad / 2)


def _line(x0: FloatArray, y0: FloatArray, x1: FloatArray, y1: FloatArray, x: FloatArray) -> FloatArray:
    """Height at x of the straight line through two points."""
    return np.asarray(y0 + (y1 - y0) * (x - x0) / (x1 - x0))
