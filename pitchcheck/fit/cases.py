"""Cases: every different thing that was done to a string, in coordinates the physics understands.

Conventions: a case has a number for every ``Coordinate`` (a logarithm where it is positive), and each is
a centre plus a linear mix of the instrument's unknowns, which are standard normal beforehand:
u = centre + spread z. So the prior of the whole fit is z ~ N(0, 1), and every prior correlation is in
``spread``.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

import numpy as np

from pitchcheck.fit import priors
from pitchcheck.instrument import MeterQuantity
from pitchcheck.physics.gauging import gauge_mm
from pitchcheck.physics.stops import (
    Setup,
    Touch,
    bent_neck_cents,
    force_left_n,
    press_force,
    side_cents,
    stop_cents,
)
from pitchcheck.takes import Stop
from pitchcheck.tuning import fret_place
from pitchcheck.types import FloatArray


class Coordinate(IntEnum):
    """Coordinates of a case."""

    SLOT_HEIGHT = 0
    NUT_OFFSET = 1
    SADDLE = 2
    ACTION_12 = 3
    RELIEF = 4
    LOG_FRET_HEIGHT = 5
    FRET_ERROR_1 = 6
    FRET_ERROR_2 = 7
    FRET_ERROR_3 = 8
    FRET_ERROR_4 = 9
    BREAK = 10
    LOG_STRETCH_FACTOR = 11
    LOG_BEND = 12
    LOG_FORCE = 13  # force over tension
    ROD_HALF = 14
    OFFSET_CENTS = 15
    ROD_PLACE = 16
    SIDE = 17  # square of the push sideways at the rod
    GIVE = 18  # how far the board gives, over the force on it
    TENSION = 19  # [N], known
    BOARD = 20  # board above its nominal place, under the rod or where the gauge stands
    ARCH_PART = 21  # part of the elastic arch over the nut that the string keeps
    NECK_BENDS = 22  # curvature of the neck over the moment that the rod bends it with [1/(N m^2)]


STEP = np.array(
    [
        0.01,
        0.02,
        0.05,
        0.05,
        0.02,
        0.01,
        *[0.005] * 4,
        0.01,
        0.01,
        0.02,
        0.03,
        0.05,
        0.05,
        0.1,
        0.01,
        0.0005,
        1.0,
        0.005,
        0.1,
        0.0001,
    ]
)
"""Step of each coordinate for the difference quotient, small against its prior width."""
# A note answers the force about with its square, so a hand's scatter shifts the mean note and skews it: three
# touches stand for the scatter (Gauss-Hermite quadrature, Abramowitz and Stegun 25.4.46, n = 3).
TOUCH_STEP = np.sqrt(3.0) * np.array([-1.0, 0.0, 1.0])  # [sd]
TOUCH_WEIGHT = np.array([1.0, 4.0, 1.0]) / 6.0
NARROW_FRET = 9  # from here on spaces are narrower than a fingertip with room behind it
PAD_PER_BEHIND = 2.0  # [-] a fingertip does not lie over the fret: its width is at most so many times that
SPARE_FORCE = 1.7  # [-] force over what brings the string down, from which a fretted note is a usual one
CLEAN_N = (
    1.0  # [N] with which a string lies on its fret at least: nobody plays a note that buzzes; our choice
)
FORCE_KNEE = 12.0  # [-] how sharply that takes over from a usual touch; our choice
HARDLY_DOWN_CENTS = 12.0  # [cent] what is not known of a note with none to spare; our choice
LEAST_ROD_HALF_MM = 0.05  # [mm] the rod has two edges


_PRESS_ONLY = (
    Coordinate.ROD_HALF,
    Coordinate.ROD_PLACE,
    Coordinate.SIDE,
    Coordinate.GIVE,
    Coordinate.BOARD,
    Coordinate.NECK_BENDS,
)


@dataclass(frozen=True)
class CaseKind:
    """What sort of case: a stopped note, a gauge reading, or the bending length that the overtones tell."""

    stop: Stop | None
    fret: int
    capo: int
    gauge: MeterQuantity | None = None
    overtones: bool = False


@dataclass(frozen=True)
class Case:
    """One case: its kind, the string, the scale."""

    kind: CaseKind
    string: int | None
    scale_mm: float


class Slopes(NamedTuple):
    """Cases about a point: what is predicted, and how it answers.

    Attributes
    ----------
    value : array, shape (c,)
    slope : array, shape (c, len(Coordinate))
        By each coordinate.
    touch_variance : array, shape (c,)
        From note to note of a hand; 0 but for fretted notes. [cent^2]
    """

    value: FloatArray
    slope: FloatArray
    touch_variance: FloatArray


def evaluate(kind: CaseKind, scale_mm: FloatArray, coordinates: FloatArray) -> FloatArray:
    """Predict cases of one kind.

    Parameters
    ----------
    kind : CaseKind
    scale_mm : array, shape (m,)
    coordinates : array, shape (m, len(Coordinate))

    Returns
    -------
    array, shape (m,)
        Error in cents of a note (a fretted one: mean over a hand's touches), the reading of a gauge in mm,
        or ln(lambda / mm) from the overtones.
    """
    return _mean_and_variance(kind, scale_mm, coordinates)[0]


def _mean_and_variance(kind: CaseKind, scale_mm: FloatArray, u: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Prediction of cases of one kind and the variance of a hand's touch, shape (m,) each."""
    none = np.zeros(len(u))
    if kind.overtones:
        return u[:, Coordinate.LOG_BEND], none
    if kind.gauge is not None:
        return gauge_mm(_setup(scale_mm, u), what=kind.gauge), none
    if kind.stop is Stop.FRET:
        cents = _touched(kind, scale_mm, u)
        mean = cents @ TOUCH_WEIGHT
        variance = cents**2 @ TOUCH_WEIGHT - mean**2
        return mean + u[:, Coordinate.OFFSET_CENTS], variance + _hardly_down_variance(kind, scale_mm, u)
    setup = _setup(scale_mm, u)
    pushed = side_cents(setup, u[:, Coordinate.SIDE], fret=kind.fret)
    down_n = u[:, Coordinate.TENSION] * press_force(setup, fret=kind.fret, capo=kind.capo)
    force_n = down_n + _left_n(kind, setup, u)
    bent = bent_neck_cents(setup, u[:, Coordinate.NECK_BENDS], force_n, fret=kind.fret)
    return _stopped(kind, setup, u) + u[:, Coordinate.OFFSET_CENTS] + pushed + bent, none


def _setup(scale_mm: FloatArray, u: FloatArray) -> Setup:
    """Geometry and string from coordinates."""
    return Setup(
        scale_mm=scale_mm,
        slot_height_mm=u[:, Coordinate.SLOT_HEIGHT],
        nut_offset_mm=u[:, Coordinate.NUT_OFFSET],
        saddle_mm=u[:, Coordinate.SADDLE],
        action_12_mm=u[:, Coordinate.ACTION_12],
        relief_mm=u[:, Coordinate.RELIEF],
        fret_height_mm=np.exp(u[:, Coordinate.LOG_FRET_HEIGHT]),
        fret_error_mm=u[:, Coordinate.FRET_ERROR_1 : Coordinate.FRET_ERROR_4 + 1],
        break_rad=u[:, Coordinate.BREAK],
        arch_part=u[:, Coordinate.ARCH_PART],
        stretch_factor=np.exp(u[:, Coordinate.LOG_STRETCH_FACTOR]),
        bend_mm=np.exp(u[:, Coordinate.LOG_BEND]),
        board_mm=u[:, Coordinate.BOARD],
    )


def _touched(kind: CaseKind, scale_mm: FloatArray, u: FloatArray) -> FloatArray:
    """Error of a fretted note at the three touches that stand for a hand's scatter, shape (m, 3). [cent]"""
    count = len(TOUCH_STEP)
    scatter = priors.log_force_scatter(u[:, Coordinate.TENSION])
    moved = np.repeat(u, count, axis=0)
    moved[:, Coordinate.LOG_FORCE] += (scatter[:, None] * TOUCH_STEP).ravel()
    if _from_the_nut(kind):
        least = np.log(np.repeat(_least_force(kind, scale_mm, u), count))
        force = moved[:, Coordinate.LOG_FORCE]
        moved[:, Coordinate.LOG_FORCE] = np.logaddexp(FORCE_KNEE * force, FORCE_KNEE * least) / FORCE_KNEE
    setup = _setup(np.repeat(scale_mm, count), moved)
    return _stopped(kind, setup, moved, touches=count).reshape(-1, count)


def _from_the_nut(kind: CaseKind) -> bool:
    """Whether the finger presses between the nut and the first fret."""
    return kind.fret == 1 and not kind.capo


def _least_force(kind: CaseKind, scale_mm: FloatArray, u: FloatArray) -> FloatArray:
    """Force over tension with which a string lies on fret 1 so that it sounds clean. [-]

    By straight lines: the moment about the nut of what the fret must bear, of the string's kink towards the
    slot and of its rise towards the saddle.
    """
    first = fret_place(1.0, 1) * scale_mm
    kink = np.maximum(u[:, Coordinate.SLOT_HEIGHT], 0.0) / first + 2 * u[:, Coordinate.ACTION_12] / scale_mm
    borne = np.maximum(kink, 0.0) + CLEAN_N / u[:, Coordinate.TENSION]
    return np.asarray(borne * first / (first - finger_behind_mm(scale_mm, 1)))


def _hardly_down_variance(kind: CaseKind, scale_mm: FloatArray, u: FloatArray) -> FloatArray:
    """Variance of a fretted note whose finger hardly brings the string onto its fret. [cent^2]

    Behind fret 1 a high slot on a short scale takes nearly all of a usual finger's force; whoever plays it
    presses harder than usual, or the string floats over the fret. Either way the note says little.
    """
    if not _from_the_nut(kind):
        return np.zeros_like(scale_mm)
    reach = fret_place(1.0, 1) * scale_mm - finger_behind_mm(scale_mm, kind.fret)
    needed = np.maximum(u[:, Coordinate.SLOT_HEIGHT], 0.0) / reach
    spare = np.exp(u[:, Coordinate.LOG_FORCE]) / np.maximum(needed, 1e-6)
    missing = np.clip(SPARE_FORCE - spare, 0.0, 1.0)
    return np.asarray((HARDLY_DOWN_CENTS * missing) ** 2)


def _stopped(kind: CaseKind, setup: Setup, u: FloatArray, *, touches: int = 1) -> FloatArray:
    """Error of one stopped note. [cent]"""
    assert kind.stop is not None
    behind = finger_behind_mm(setup.scale_mm, kind.fret)
    touch = Touch(
        force=np.exp(u[:, Coordinate.LOG_FORCE]) * (priors.FORCE_AT_12 if kind.fret >= NARROW_FRET else 1.0),
        behind_mm=behind,
        pad_mm=np.minimum(priors.FINGER_PAD_MM, PAD_PER_BEHIND * behind),
        rod_half_mm=np.maximum(u[:, Coordinate.ROD_HALF], LEAST_ROD_HALF_MM),
        rod_mm=u[:, Coordinate.ROD_PLACE],
        sink_mm=_sink_mm(kind, setup, u),
    )
    return stop_cents(setup, touch, stop=kind.stop, fret=kind.fret, capo=kind.capo, touches=touches)


def finger_behind_mm(scale_mm: FloatArray | float, fret: int) -> FloatArray:
    """How far behind a fret the middle of the fingertip presses: nearer where the space is narrow. [mm]"""
    space_mm = fret_place(1.0, fret) - fret_place(1.0, fret - 1)
    return np.minimum(priors.FINGER_BEHIND_MM, priors.FINGER_BEHIND_PART * space_mm * np.asarray(scale_mm))


def _sink_mm(kind: CaseKind, setup: Setup, u: FloatArray) -> FloatArray:
    """How far the rod sinks into the board: what force is left when the string is down. [mm]"""
    if kind.stop is not Stop.PRESS:
        return np.zeros_like(setup.scale_mm)
    return np.asarray(u[:, Coordinate.GIVE] * _left_n(kind, setup, u))


def _left_n(kind: CaseKind, setup: Setup, u: FloatArray) -> FloatArray:
    """What the rod pushes with once the string is down. [N]"""
    tension_n = u[:, Coordinate.TENSION]
    return force_left_n(setup, tension_n, priors.ROD_FORCE_N, fret=kind.fret, capo=kind.capo)


def predict(cases: tuple[Case, ...], coordinates: FloatArray) -> FloatArray:
    """Predict every case, shape (c,), from its coordinates, shape (c, len(Coordinate))."""
    out = np.zeros(len(cases))
    for kind, index in _by_kind(cases).items():
        scale = np.array([cases[i].scale_mm for i in index])
        out[index] = evaluate(kind, scale, coordinates[index])
    return out


def predict_points(cases: tuple[Case, ...], points: FloatArray) -> FloatArray:
    """Predict every case, shape (c, k), at k points of its own, shape (c, k, len(Coordinate))."""
    count = points.shape[1]
    out = np.zeros(points.shape[:2])
    for kind, index in _by_kind(cases).items():
        scale = np.repeat([cases[i].scale_mm for i in index], count)
        got = evaluate(kind, scale, points[index].reshape(-1, len(Coordinate)))
        out[index] = got.reshape(len(index), count)
    return out


def linearise(cases: tuple[Case, ...], coordinates: FloatArray) -> Slopes:
    """Predict every case, shape (c,), with its slopes and the hand's scatter."""
    value, touch = np.zeros(len(cases)), np.zeros(len(cases))
    slope = np.zeros((len(cases), len(Coordinate)))
    for kind, index in _by_kind(cases).items():
        moved = [a for a in Coordinate if _matters(kind, a)]
        steps = np.zeros((len(moved) + 1, len(Coordinate)))
        for row, a in enumerate(moved, start=1):
            steps[row, a] = STEP[a]
        points = (coordinates[index][:, None, :] + steps[None]).reshape(-1, len(Coordinate))
        scale = np.repeat([cases[i].scale_mm for i in index], len(steps))
        mean, variance = _mean_and_variance(kind, scale, points)
        got = mean.reshape(len(index), len(steps))
        value[index] = got[:, 0]
        touch[index] = variance[:: len(steps)]
        for row, a in enumerate(moved, start=1):
            slope[index, a] = (got[:, row] - got[:, 0]) / STEP[a]
        if kind.stop is not None:
            slope[index, Coordinate.OFFSET_CENTS] = 1.0
    return Slopes(value, slope, touch)


def _by_kind(cases: tuple[Case, ...]) -> dict[CaseKind, list[int]]:
    """Indices of the cases of each kind."""
    found: dict[CaseKind, list[int]] = {}
    for i, case in enumerate(cases):
        found.setdefault(case.kind, []).append(i)
    return found


def _matters(kind: CaseKind, a: Coordinate) -> bool:
    """Whether a coordinate can change cases of a kind."""
    if kind.overtones:
        return a is Coordinate.LOG_BEND
    if kind.gauge is not None:
        return a <= Coordinate.BREAK or a in (Coordinate.LOG_BEND, Coordinate.ARCH_PART, Coordinate.BOARD)
    if a in (Coordinate.TENSION, Coordinate.OFFSET_CENTS, Coordinate.ARCH_PART):
        return False  # known; added as it stands
    if Coordinate.FRET_ERROR_1 <= a <= Coordinate.FRET_ERROR_4:
        fret = a - Coordinate.FRET_ERROR_1 + 1  # slot heights count from frets 1 and 3
        return fret in (1, 3, kind.capo) or kind.fret - 2 <= fret <= kind.fret
    if kind.stop is Stop.PRESS:
        return a is not Coordinate.LOG_FORCE
    return a not in _PRESS_ONLY
