"""What is told of a fit, by sums by hand: questioned readings, what was not told apart, the neck."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from helpers.planted import heard, job_of, truth_of
from pitchcheck.fit import posterior, priors, remarks
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import CaseKind, predict
from pitchcheck.fit.gauges import _likely_slip, question_gauges
from pitchcheck.fit.hand import Scatter
from pitchcheck.fit.neck import neck_curves
from pitchcheck.fit.problem import FitPass, build_problem
from pitchcheck.fit.result import Confounder
from pitchcheck.fit.unknowns import CaseRequest, build_unknowns
from pitchcheck.instrument import MeterQuantity, MeterReading
from pitchcheck.physics.materials import string_constants
from pitchcheck.survey import Survey, build_survey
from pitchcheck.takes import Stop

JOB = job_of("electric")
STEEL = JOB.instrument
SCALE = STEEL.scale_mm


@cache
def full_survey() -> Survey:
    return build_survey(heard(truth_of(JOB, (0.3, 0.4, 0.5, 0.4, 0.5, 0.6))))


@pytest.mark.parametrize(("off_sd", "questioned"), [(2.9, False), (3.1, True), (-2.9, False), (-3.1, True)])
def test_a_reading_three_standard_deviations_off_is_questioned(off_sd: float, questioned: bool) -> None:
    plain = build_problem([FitPass(JOB, full_survey())])
    ear = posterior.solve(plain.unknowns, plain.data)
    reading = MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, 0.3, 0.03)
    (usual,) = question_gauges(build_problem([FitPass(replace(JOB, meter=(reading,)), full_survey())]), ear)
    moved = replace(reading, value_mm=usual.expected_mm + off_sd * usual.sd_mm)
    (check,) = question_gauges(build_problem([FitPass(replace(JOB, meter=(moved,)), full_survey())]), ear)
    assert check.questioned is questioned
    assert check.sd_mm > 0.03  # gauge and ear together
    assert check.expected_mm == pytest.approx(usual.expected_mm)


@pytest.mark.parametrize(
    ("read", "slip"), [(0.01, 0.1), (1.0, 0.1), (0.1 / 25.4, 0.1), (2.54, 0.1), (0.5, None), (0.1, None)]
)
def test_slips_of_the_point_and_of_the_unit_are_named(read: float, slip: float | None) -> None:
    found = _likely_slip(read, 0.1, 0.001)
    assert found == (None if slip is None else pytest.approx(slip))
    assert _likely_slip(1.0, 0.1 + 1.9 * 0.02, 0.02) == pytest.approx(0.1)
    assert _likely_slip(1.0, 0.1 + 2.1 * 0.02, 0.02) is None


def test_depth_of_the_usual_finger_is_that_of_a_string_held_at_both_ends() -> None:
    names = ("u", "force")
    solution = SimpleNamespace(z=np.array([0.0, 0.5]), covariance=np.diag([1.0, 0.25]))
    found = remarks.touch_belief(STEEL, SimpleNamespace(unknowns=SimpleNamespace(names=names)), solution)
    tension = float(np.median([string_constants(s, scale_mm=SCALE).tension_n for s in STEEL.strings]))
    force = math.exp(priors.log_force(tension) + 0.3 * 0.5)
    first_mm = SCALE * (1 - 2 ** (-1 / 12))  # of fret 1 from the nut
    depth = force / tension * 9.0 * (first_mm - 9.0) / first_mm
    assert found.median == pytest.approx(depth, rel=1e-6)
    z90 = stats.norm.ppf(0.95)
    assert math.log(found.high / found.low) == pytest.approx(2 * z90 * 0.3 * 0.5, rel=1e-3)
    plain = remarks.touch_belief(STEEL, SimpleNamespace(unknowns=SimpleNamespace(names=("u",))), solution)
    assert math.log(plain.high / plain.low) == pytest.approx(2 * z90 * 0.3, rel=1e-3)


@pytest.mark.parametrize(("left", "barely"), [(0.58, False), (0.62, True)])
def test_a_slot_that_was_barely_narrowed_could_not_be_told_from_anything(left: float, barely: bool) -> None:
    slope = np.array([0.4, 0.3])  # prior width 0.5
    stub = SimpleNamespace(
        unknowns=SimpleNamespace(names=("a", "b")), strings=(1,), coordinate=lambda *_: (0.0, slope)
    )
    found = remarks.unseparated(stub, SimpleNamespace(covariance=left**2 * np.eye(2), z=np.zeros(2)))
    assert [f.confounder for f in found] == ([Confounder.EVERYTHING] if barely else [])


def test_curves_of_the_neck_are_notes_under_the_usual_and_a_light_finger() -> None:
    plain = build_problem([FitPass(JOB, full_survey())])
    z = 0.2 * np.random.default_rng(3).normal(size=len(plain.unknowns.names))
    curves = neck_curves(JOB, plain.unknowns, z, heights_mm={2: 0.61})
    goal = neck_curves(JOB, plain.unknowns, z)[2].target_cents
    known = dict(zip(plain.unknowns.names, z, strict=True))
    for fret in (1, 7, 12):
        kind = CaseKind(Stop.FRET, fret, 0)
        requests = [
            CaseRequest(kind, 2, fixed_height_mm=0.61),
            CaseRequest(kind, 2, fixed_height_mm=0.61, force_n=1.0),
        ]
        own = build_unknowns(STEEL, requests)
        usual, light = predict(own.cases, own.coordinates(np.array([known.get(n, 0.0) for n in own.names])))
        assert curves[2].now_cents[fret - 1] == pytest.approx(usual)
        assert curves[2].touch_cents[fret - 1] == pytest.approx(usual - light)
        assert curves[2].target_cents[fret - 1] == pytest.approx(goal[fret - 1])
    assert np.all(curves[2].touch_cents > 0)


def test_how_much_rougher_than_a_careful_hand_takes_are() -> None:
    solved = posterior.solve_problem(build_problem([FitPass(JOB, full_survey())]))
    rough = replace(solved, scatter=Scatter(fret=3.0))
    assert solved.roughness(Stop.FRET) == pytest.approx(solved.scatter.fret, rel=0.05)
    model, touch = priors.MODEL_CENTS**2, solved.solution.about.touch_variance
    rows = [solved.data.case[i] for i, (_, p) in enumerate(solved.problem.places) if p.stop is Stop.FRET]
    mean = float(np.mean(touch[rows]))
    assert rough.roughness(Stop.FRET) == pytest.approx(math.sqrt((model + 9 * mean) / (model + mean)))
    assert rough.roughness(Stop.LEAF) == 1.0


def test_a_skew_belief_of_no_skewness_is_normal() -> None:
    assert Belief.skew(1.0, 0.2, 0.0005).high == pytest.approx(Belief.normal(1.0, 0.2).high)
