"""A stopped string: from the geometry of an instrument and a touch to cents.

Conventions: x runs from the ideal place of the nut towards the saddle; y = 0 is the nominal plane of the fret
tops, straight but for the relief; all arrays have shape (m,), one entry per case, so that many variations of
one kind of stop are solved together. Slot height is the string's underside at the front edge of the nut above
the straight line through the tops of frets 1 and 3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.physics.contact import Nodes, rest
from pitchcheck.takes import Stop
from pitchcheck.tuning import CENTS_PER_SEMITONE, fret_place
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_LOG

# [mm] length of string shown beyond nut and saddle; any length well above lambda gives the same
TAIL_MM = 60.0
SADDLE_BREAK_RAD = 0.25  # [rad] from memory; its effect is below 0.2 % of a press
BOW_SPAN = 0.5  # [-] part of the scale over which relief is the sag: fret 1 to about fret 14, common practice
# [lambda] both ends together, equation 8: 1 where the string goes on as stiffly behind each, 1.5 where it is
# clamped at the saddle; our choice, near the first. 0.1 of it is as a saddle 0.1 to 0.3 mm elsewhere, which
# the fit leaves open.
END_SHORTENING = 1.1
FINGER_NODES = 5  # the fingertip's load is spread over this many points
ROD_SPARE_N = 6.0  # [N] beyond what brings the string down, at least: whoever presses makes sure; our choice
# [mm] strings above the middle of a neck that bends, and the fret from which on the body holds it: a board on
# 20 mm of wood, common practice. A deeper neck, or one held elsewhere, is as one that bends otherwise.
ABOVE_NECK_MM, HELD_FROM_FRET = 12.0, 14
FRET_ERRORS = 4  # frets 1 to 4 have their own height error


@dataclass(frozen=True)
class Setup:
    """Geometry and string; every field an array of shape (m,), ``fret_error_mm`` of shape (m, 4)."""

    scale_mm: FloatArray
    slot_height_mm: FloatArray
    nut_offset_mm: FloatArray  # + away from fret 1
    saddle_mm: FloatArray  # extra speaking length at the saddle
    action_12_mm: FloatArray
    relief_mm: FloatArray
    fret_height_mm: FloatArray  # above the board
    fret_error_mm: FloatArray  # frets 1 to 4 above the nominal plane
    break_rad: FloatArray  # angle of the string behind the nut
    stretch_factor: FloatArray  # EA/T of the string, tails included: extra path over scale to tension [-]
    bend_mm: FloatArray  # lambda, open string
    arch_part: FloatArray | float = 0.0  # part of its elastic arch over the nut that the string keeps, 0 to 1
    board_mm: FloatArray | float = 0.0  # board above its nominal place, where the rod or the gauge stands


@dataclass(frozen=True)
class Touch:
    """What the hand does; every field an array of shape (m,).

    ``force`` is the finger's force over the tension [-], ``behind_mm`` the middle of the fingertip behind the
    fret, ``pad_mm`` its width; ``rod_half_mm`` half the width on which the rod holds the string flat on the
    board, ``rod_mm`` the rod's place from the middle of the space, + towards the saddle.
    """

    force: FloatArray
    behind_mm: FloatArray
    pad_mm: FloatArray
    rod_half_mm: FloatArray
    rod_mm: FloatArray
    sink_mm: FloatArray | float = 0.0  # how far the rod sinks into the board


def stop_cents(
    setup: Setup, touch: Touch, *, stop: Stop, fret: int, capo: int = 0, touches: int = 1
) -> FloatArray:
    """Error of a stopped note against its open string, both under the same capo. [cent]

    Parameters
    ----------
    setup, touch : Setup, Touch
        Arrays of shape (m,).
    stop : Stop
        FRET or PRESS; OPEN gives zeros.
    fret : int, capo < fret
    capo : int >= 0
        A capo is a nut of height 0 at its fret.
    touches : int >= 1
        So many consecutive rows are touches of one set-up, whose open string is solved once.

    Returns
    -------
    array, shape (m,)
        ``1200 log2(f / f_open) - 100 (fret - capo)``, equation 9 of docs/model.md.
    """
    if stop is Stop.OPEN:
        return np.zeros_like(setup.scale_mm)
    nut_x, nut_y = nut_edge(setup, capo=capo)
    opened = _open_nodes(setup, nut_x, nut_y, capo=capo).every(touches)
    open_path = np.repeat(_path(opened, setup.bend_mm[::touches])[0], touches)
    build = _press_nodes if stop is Stop.PRESS else _fret_nodes
    nodes = build(setup, touch, nut_x, nut_y, fret=fret, capo=capo)
    path, _ = _path(nodes, setup.bend_mm * (1 - setup.stretch_factor * _rough_strain(setup, stop, fret) / 2))
    speaking = setup.scale_mm + setup.saddle_mm - nut_x
    strain = (path - open_path) / speaking
    stopped = setup.scale_mm + setup.saddle_mm - fret_place(1.0, fret) * setup.scale_mm
    saddle_y = saddle_height(setup)
    top = fret_top(setup, fret)
    # Equation 8: a string that goes on beyond its support turns there half as stiffly as a clamped one.
    open_length = np.hypot(speaking, saddle_y - nut_y) - END_SHORTENING * setup.bend_mm
    stopped_length = np.hypot(stopped, saddle_y - top) - END_SHORTENING * setup.bend_mm
    log_ratio = np.log(open_length / stopped_length)
    log_tension = np.log1p(setup.stretch_factor * strain) + np.log1p(strain)
    cents = CENTS_PER_LOG * (log_ratio + log_tension / 2) - CENTS_PER_SEMITONE * (fret - capo)
    return np.asarray(cents)


def rough_press_cents(
    stretch_factor: float, *, scale_mm: float, slot_mm: float, fret_mm: float, fret: int
) -> float:
    """Sharpness of a press by straight lines, without stiffness: for limits and hints. [cent]

    Parameters
    ----------
    stretch_factor : float > 0
        EA/T. [-]
    scale_mm, slot_mm, fret_mm : float
        Scale, slot height and fret height. [mm]
    fret : int >= 1
        The fret that sounds; the string drapes over the one behind it.
    """
    half = (fret_place(1.0, fret) - fret_place(1.0, fret - 1)) * scale_mm / 2
    above = slot_mm if fret == 1 else 0.0
    draped = 0.0 if fret == 1 else slot_mm**2 / (2 * fret_place(scale_mm, 1))
    path = ((above + fret_mm) ** 2 + fret_mm**2) / (2 * half) + draped
    return float(CENTS_PER_LOG / 2 * (stretch_factor + 1) * path / scale_mm)


def press_force(setup: Setup, *, fret: int, capo: int) -> FloatArray:
    """Force over the tension that brings a string down to the board (equation 16 of docs/model.md). [-]"""
    half = (fret_place(1.0, fret) - fret_place(1.0, fret - 1)) * setup.scale_mm / 2
    above = setup.slot_height_mm if fret == 1 and not capo else 0.0
    return np.asarray((2 * setup.fret_height_mm + above) / half)


def force_left_n(
    setup: Setup, tension_n: FloatArray, rod_force_n: FloatArray | float, *, fret: int, capo: int
) -> FloatArray:
    """Force on the board once the string is down: a tight string asks for a harder push. [N]

    Parameters
    ----------
    setup : Setup
        Arrays of shape (m,).
    tension_n : array, shape (m,)
    rod_force_n : array or float
        Usual push on the rod. [N]
    fret, capo : int
        The fret that sounds and the capo's.
    """
    left_n = rod_force_n - tension_n * press_force(setup, fret=fret, capo=capo)
    return np.asarray(np.maximum(left_n, ROD_SPARE_N))


def side_cents(setup: Setup, side_mm2: FloatArray, *, fret: int) -> FloatArray:
    """How much a push sideways at the rod sharpens a press. [cent]

    Two straight pieces, midway between the frets: the path grows by 2 side^2 / space (equation 14 of
    docs/model.md).

    Parameters
    ----------
    setup : Setup
        Arrays of shape (m,).
    side_mm2 : array, shape (m,)
        Square of the push. [mm^2]
    fret : int
        The fret that sounds.
    """
    space_mm = (fret_place(1.0, fret) - fret_place(1.0, fret - 1)) * setup.scale_mm
    strain = 2 * side_mm2 / space_mm / setup.scale_mm
    return np.asarray(CENTS_PER_LOG / 2 * (setup.stretch_factor + 1) * strain)


def bent_neck_cents(
    setup: Setup, bends_per_n_m2: FloatArray, force_n: FloatArray, *, fret: int
) -> FloatArray:
    """How much a neck that gives way under the rod sharpens a press. [cent]

    A beam held at the body turns back at the rod by F a^2 / (2 EI), and the strings, which lie above its
    middle, become as much longer as that turn is at their distance (equation 19 of docs/model.md).

    Parameters
    ----------
    setup : Setup
        Arrays of shape (m,).
    bends_per_n_m2 : array, shape (m,)
        1 / EI: curvature over the moment; 0 for a neck that is held under the rod. [1/(N m^2)]
    force_n : array, shape (m,)
        Force on the rod. [N]
    fret : int
        The fret that sounds.
    """
    rod = (fret_place(1.0, fret - 1) + fret_place(1.0, fret)) / 2
    arm_m = np.maximum(fret_place(1.0, HELD_FROM_FRET) - rod, 0.0) * setup.scale_mm / 1000
    strain = ABOVE_NECK_MM * force_n * arm_m**2 / 2 * bends_per_n_m2 / setup.scale_mm
    return np.asarray(CENTS_PER_LOG / 2 * (setup.stretch_factor + 1) * strain)


def _bow(setup: Setup, x: FloatArray) -> FloatArray:
    """Height of the relieved plane above the straight line through frets 1 and 3. [mm]"""
    x1, x3 = (fret_place(1.0, k) * setup.scale_mm for k in (1, 3))
    curvature = 8 * setup.relief_mm / (BOW_SPAN * setup.scale_mm) ** 2
    return np.asarray(curvature * (x - x1) * (x - x3) / 2)


def fret_top(setup: Setup, fret: int) -> FloatArray:
    """Height of a fret's top. [mm]"""
    x = fret_place(1.0, fret) * setup.scale_mm
    error = setup.fret_error_mm[:, fret - 1] if fret <= FRET_ERRORS else 0.0
    return np.asarray(_bow(setup, x) + error)


def board_height(setup: Setup, x: FloatArray) -> FloatArray:
    """Height of the board. [mm]"""
    return np.asarray(_bow(setup, x) - setup.fret_height_mm + setup.board_mm)


def nut_edge(setup: Setup, *, capo: int) -> tuple[FloatArray, FloatArray]:
    """Place and height of the nut's front edge, or of the fret in front of the capo."""
    if capo:
        return fret_place(1.0, capo) * setup.scale_mm, fret_top(setup, capo)
    x1, x3 = fret_place(1.0, 1), fret_place(1.0, 3)
    e1, e3 = setup.fret_error_mm[:, 0], setup.fret_error_mm[:, 2]
    line = e1 - (e3 - e1) * x1 / (x3 - x1)
    return -setup.nut_offset_mm, setup.slot_height_mm + line


def saddle_height(setup: Setup) -> FloatArray:
    """Height of the string at the saddle, from the action over fret 12. [mm]"""
    _, nut_y = nut_edge(setup, capo=0)
    x12 = fret_place(1.0, 12) * setup.scale_mm
    return np.asarray(2 * (setup.action_12_mm + _bow(setup, x12)) - nut_y)


def _ends(
    setup: Setup, nut_x: FloatArray, nut_y: FloatArray, *, capo: int
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Nodes at both ends: tail and nut, saddle and tail."""
    angle = setup.break_rad
    if capo:  # the capo holds the string on the board midway behind its fret
        space = fret_place(1.0, capo) - fret_place(1.0, capo - 1)
        angle = (fret_top(setup, capo) + setup.fret_height_mm) / (space * setup.scale_mm / 2)
    saddle_x = setup.scale_mm + setup.saddle_mm
    saddle_y = saddle_height(setup)
    x = [nut_x - TAIL_MM, nut_x, saddle_x, saddle_x + TAIL_MM]
    y = [nut_y - TAIL_MM * angle, nut_y, saddle_y, saddle_y - TAIL_MM * SADDLE_BREAK_RAD]
    return x, y


def _open_nodes(setup: Setup, nut_x: FloatArray, nut_y: FloatArray, *, capo: int) -> Nodes:
    """Nodes of the open string."""
    x, y = _ends(setup, nut_x, nut_y, capo=capo)
    return Nodes.build(x, y, kinds="hhhh")


def _frets_below(fret: int, capo: int) -> list[int]:
    """Frets that the string can touch on its way to the stopped one."""
    return [k for k in range(capo + 1, fret) if k >= fret - 2 or k == capo + 1]


def _press_nodes(
    setup: Setup, touch: Touch, nut_x: FloatArray, nut_y: FloatArray, *, fret: int, capo: int
) -> Nodes:
    """Nodes of a press: every fret it may rest on, the rod's flat on the board, the fret."""
    x, y = _ends(setup, nut_x, nut_y, capo=capo)
    below = _frets_below(fret, capo)
    start = nut_x if fret == capo + 1 else fret_place(1.0, fret - 1) * setup.scale_mm
    middle = (start + fret_place(1.0, fret) * setup.scale_mm) / 2 + touch.rod_mm
    rod = [middle - touch.rod_half_mm, middle + touch.rod_half_mm]
    places = [*(fret_place(1.0, k) * setup.scale_mm for k in below), *rod]
    heights = [*(fret_top(setup, k) for k in below), *(board_height(setup, r) - touch.sink_mm for r in rod)]
    places.append(fret_place(1.0, fret) * setup.scale_mm)
    heights.append(fret_top(setup, fret))
    kinds = "hh" + "s" * len(below) + "hh" + "h" + "hh"
    return Nodes.build([*x[:2], *places, *x[2:]], [*y[:2], *heights, *y[2:]], kinds=kinds)


def _fret_nodes(
    setup: Setup, touch: Touch, nut_x: FloatArray, nut_y: FloatArray, *, fret: int, capo: int
) -> Nodes:
    """Nodes of a fretted note: the fingertip is a spread load that the board may stop."""
    x, y = _ends(setup, nut_x, nut_y, capo=capo)
    below = _frets_below(fret, capo)
    fret_x = fret_place(1.0, fret) * setup.scale_mm
    spread = (np.arange(FINGER_NODES) + 0.5) / FINGER_NODES - 0.5
    pad = [fret_x - touch.behind_mm + s * touch.pad_mm for s in spread]
    places = [*(fret_place(1.0, k) * setup.scale_mm for k in below), *pad, fret_x]
    heights = [
        *(fret_top(setup, k) for k in below),
        *(board_height(setup, p) for p in pad),
        fret_top(setup, fret),
    ]
    kinds = "hh" + "s" * len(below) + "f" * FINGER_NODES + "h" + "hh"
    nodes = Nodes.build([*x[:2], *places, *x[2:]], [*y[:2], *heights, *y[2:]], kinds=kinds)
    nodes.load[:, 2 + len(below) : 2 + len(below) + FINGER_NODES] = -touch.force[:, None] / FINGER_NODES
    return nodes


def _rough_strain(setup: Setup, stop: Stop, fret: int) -> FloatArray:
    """Strain of a press by straight lines, to tell how much the bending length shrinks."""
    if stop is not Stop.PRESS:
        return np.zeros_like(setup.scale_mm)
    half = (fret_place(1.0, fret) - fret_place(1.0, fret - 1)) * setup.scale_mm / 2
    above = setup.slot_height_mm if fret == 1 else 0.0
    depth = setup.fret_height_mm
    return np.asarray(((above + depth) ** 2 + depth**2) / (2 * half) / setup.scale_mm)


def _path(nodes: Nodes, bend_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Extra path between the tails' ends, and where the nodes came to rest. [mm]"""
    shape = rest(nodes, bend_mm)
    # The tails are chords of a fixed angle: only their rounding counts.
    return shape.chord_mm[:, 1:-1].sum(axis=1) + shape.bow_mm.sum(axis=1), shape.height_mm
