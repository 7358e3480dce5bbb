"""What single cases predict: straight-line physics and sums by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from helpers.planted import job_of
from pitchcheck.fit import cases, priors
from pitchcheck.fit.cases import CaseKind, Coordinate, finger_behind_mm, linearise, predict, predict_points
from pitchcheck.fit.unknowns import CaseRequest, build_unknowns
from pitchcheck.instrument import MeterQuantity
from pitchcheck.takes import Stop

JOB = job_of("electric")
STEEL = JOB.instrument
SCALE = STEEL.scale_mm
C = Coordinate


def place(fret: int) -> float:
    """Of a fret from the nut: equal temperament. [mm]"""
    return SCALE * (1 - 2 ** (-fret / 12))


@pytest.mark.parametrize("fret", [1, 3, 9, 15])
def test_a_finger_presses_nine_millimetres_behind_or_nearer_where_it_is_narrow(fret: int) -> None:
    space = place(fret) - place(fret - 1)
    assert finger_behind_mm(SCALE, fret) == pytest.approx(min(9.0, 0.4 * space))


def coordinates(kind: CaseKind, string: int = 1, **moved: float) -> np.ndarray:
    """Centre of a case's beliefs, some coordinates set."""
    centre = build_unknowns(STEEL, [CaseRequest(kind, string)]).centre.copy()
    for name, value in moved.items():
        centre[0, C[name]] = value
    return centre


def test_force_that_lays_a_string_cleanly_onto_fret_1() -> None:
    # Moments about the nut: the fret bears what the kink towards the slot and the rise to the saddle ask for,
    # and 1 N; the finger stands behind the fret.
    kind = CaseKind(Stop.FRET, 1, 0)
    scale = np.array([SCALE])
    for height, action, tension in ((0.5, 2.0, 70.0), (-0.3, 2.0, 70.0), (0.0, 0.0, 100.0)):
        u = coordinates(kind, SLOT_HEIGHT=height, ACTION_12=action, TENSION=tension)
        kink = max(height, 0.0) / place(1) + 2 * action / SCALE
        least = (kink + 1.0 / tension) * place(1) / (place(1) - 9.0)
        assert cases._least_force(kind, scale, u)[0] == pytest.approx(least)


@pytest.mark.parametrize(("force", "missing"), [(0.05, 0.7), (0.10, 0.0), (0.004, 1.0)])
def test_a_note_with_no_force_to_spare_says_little(force: float, missing: float) -> None:
    kind, scale = CaseKind(Stop.FRET, 1, 0), np.array([SCALE])
    needed = 0.05
    height = needed * (place(1) - 9.0)
    u = coordinates(kind, SLOT_HEIGHT=height, LOG_FORCE=math.log(force))
    found = cases._hardly_down_variance(kind, scale, u)[0]
    expected = min(max(1.7 - force / needed, 0.0), 1.0)
    assert expected == pytest.approx(missing)
    assert found == pytest.approx((12.0 * expected) ** 2)
    for other in (CaseKind(Stop.FRET, 2, 0), CaseKind(Stop.FRET, 1, 1)):
        assert cases._hardly_down_variance(other, scale, u)[0] == 0.0


def test_a_fretted_note_is_the_mean_over_a_hands_touches() -> None:
    # Three touches, weights 1, 4 and 1 sixths at 0 and sqrt 3 sd; a finger that would let the note buzz
    # presses harder, with a knee.
    for fret in (1, 3):
        kind, scale = CaseKind(Stop.FRET, fret, 0), np.array([SCALE])
        u = coordinates(kind)
        sd = float(priors.log_force_scatter(u[:, C.TENSION])[0])
        notes = []
        for step in (-math.sqrt(3), 0.0, math.sqrt(3)):
            moved = u.copy()
            moved[0, C.LOG_FORCE] += step * sd
            if fret == 1:
                least = math.log(cases._least_force(kind, scale, u)[0])
                moved[0, C.LOG_FORCE] = np.logaddexp(12 * moved[0, C.LOG_FORCE], 12 * least) / 12
            notes.append(float(cases._stopped(kind, cases._setup(scale, moved), moved)[0]))
        weight = np.array([1, 4, 1]) / 6
        mean = weight @ notes
        u[0, C.OFFSET_CENTS] = 0.7
        value, variance = cases._mean_and_variance(kind, scale, u)
        assert value[0] == pytest.approx(mean + 0.7)
        assert variance[0] == pytest.approx(weight @ np.square(notes) - mean**2, rel=1e-6, abs=1e-9)


def test_a_press_adds_its_push_sideways_and_its_offset() -> None:
    kind, scale = CaseKind(Stop.PRESS, 2, 0), np.array([SCALE])
    base = coordinates(kind, SIDE=0.0)
    pushed = coordinates(kind, SIDE=0.02, OFFSET_CENTS=0.4)
    space = place(2) - place(1)
    stretch = math.exp(base[0, C.LOG_STRETCH_FACTOR])
    more = 1200 / math.log(2) / 2 * (stretch + 1) * 2 * 0.02 / space / SCALE
    values = [float(cases.evaluate(kind, scale, u)[0]) for u in (base, pushed)]
    assert values[1] - values[0] == pytest.approx(more + 0.4)


def test_a_rod_sinks_by_the_force_that_is_left() -> None:
    kind, scale = CaseKind(Stop.PRESS, 1, 0), np.array([SCALE])
    u = coordinates(kind, TENSION=70.0, GIVE=0.002)
    setup = cases._setup(scale, u)
    height, fret = u[0, C.SLOT_HEIGHT], math.exp(u[0, C.LOG_FRET_HEIGHT])
    needed = 70.0 * (2 * fret + height) / (place(1) / 2)
    left = max(16.0 - needed, 6.0)
    assert cases._sink_mm(kind, setup, u)[0] == pytest.approx(0.002 * left)
    assert cases._sink_mm(CaseKind(Stop.FRET, 1, 0), setup, u)[0] == 0.0


def test_the_finger_pushes_harder_in_narrow_spaces_and_is_no_wider_than_its_place() -> None:
    seen = {}

    def watch(setup: object, touch: cases.Touch, **rest: object) -> np.ndarray:
        seen["touch"] = touch
        return np.zeros(1)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cases, "stop_cents", watch)
        for fret, harder in ((8, 1.0), (9, 1.10), (12, 1.10)):
            kind = CaseKind(Stop.FRET, fret, 0)
            u = coordinates(kind, LOG_FORCE=math.log(0.08), ROD_HALF=-0.3)
            cases._stopped(kind, cases._setup(np.array([SCALE]), u), u)
            behind = min(9.0, 0.4 * (place(fret) - place(fret - 1)))
            touch = seen["touch"]
            assert touch.force[0] == pytest.approx(0.08 * harder)
            assert touch.behind_mm[0] == pytest.approx(behind)
            assert touch.pad_mm[0] == pytest.approx(min(8.0, 2 * behind))
            assert touch.rod_half_mm[0] == pytest.approx(0.05)


def test_overtones_and_gauges_are_predicted_as_they_stand() -> None:
    bend = CaseKind(None, 0, 0, overtones=True)
    assert cases.evaluate(bend, np.array([SCALE]), coordinates(bend, LOG_BEND=1.3))[0] == 1.3
    action = CaseKind(None, 0, 0, MeterQuantity.ACTION_12)
    assert cases.evaluate(action, np.array([SCALE]), coordinates(action, ACTION_12=1.9))[0] == 1.9


def test_many_cases_are_predicted_each_as_alone() -> None:
    kinds = [
        CaseKind(Stop.PRESS, 1, 0),
        CaseKind(Stop.FRET, 2, 0),
        CaseKind(Stop.PRESS, 1, 0),
        CaseKind(None, 0, 0, MeterQuantity.RELIEF),
    ]
    found = build_unknowns(STEEL, [CaseRequest(k, n) for k, n in zip(kinds, (1, 2, 6, 1), strict=True)])
    u = found.coordinates(np.random.default_rng(1).normal(size=len(found.names)) * 0.3)
    alone = [float(cases.evaluate(k, np.array([SCALE]), u[i : i + 1])[0]) for i, k in enumerate(kinds)]
    assert predict(found.cases, u) == pytest.approx(alone)
    assert predict_points(found.cases, np.stack([u, u + 0.001], axis=1))[:, 0] == pytest.approx(alone)
    about = linearise(found.cases, u)
    assert about.value == pytest.approx(alone)
    assert about.slope[:, C.OFFSET_CENTS].tolist() == [1.0, 1.0, 1.0, 0.0]
    assert about.touch_variance[[0, 2, 3]].tolist() == [0.0, 0.0, 0.0]
    assert about.touch_variance[1] > 0
