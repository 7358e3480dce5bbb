"""How takes become cases and data, and what single cases predict: straight-line physics and sums by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from helpers.planted import heard, job_of, truth_of
from pitchcheck.fit import cases, posterior, priors, problem, remarks
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import CaseKind, Coordinate, finger_behind_mm, linearise, predict, predict_points
from pitchcheck.fit.gauges import _likely_slip, question_gauges
from pitchcheck.fit.hand import Scatter
from pitchcheck.fit.neck import neck_curves
from pitchcheck.fit.overtones import bending_lengths
from pitchcheck.fit.problem import FitPass, build_problem
from pitchcheck.fit.result import Confounder
from pitchcheck.fit.unknowns import CaseRequest, Removal, build_unknowns
from pitchcheck.instrument import Length, MeterQuantity, MeterReading
from pitchcheck.instrument import Removal as Told
from pitchcheck.physics.materials import string_constants
from pitchcheck.survey import LeafOutcome, build_survey
from pitchcheck.takes import Position, Stop, Take

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


# Overtones


def opened(string: int, b: float | None, sd: float | None, *, row: int = 1, capo: int = 0) -> Take:
    return Take(row, None, Position(string, Stop.OPEN, capo=capo), 100.0, 0.1, float(row), b, sd)


def test_overtones_tell_the_bending_length() -> None:
    # B = pi^2 lambda^2 / L^2; relative uncertainty half that of B; robust scatter; 6 % for the ends.
    bs = (1.0e-4, 1.1e-4, 1.3e-4)
    takes = [opened(1, b, 4e-6, row=i) for i, b in enumerate(bs, 1)]
    takes += [
        opened(1, 9e-4, 0.26 * 9e-4, row=4),
        opened(1, None, None, row=5),
        opened(1, 5e-4, 1e-6, row=6, capo=2),
        opened(1, -1e-4, 1e-6, row=7),
    ]
    takes += [opened(2, 1e-4, 0.24e-4, row=8)]
    survey = SimpleNamespace(opens=tuple(takes))
    found = bending_lengths(STEEL, [survey])
    logs = np.log([SCALE * math.sqrt(b) / math.pi for b in bs])
    assert found[1].log_mm == pytest.approx(logs[1])
    scatter = float(np.median(np.abs(logs - logs[1]))) * 1.48
    own = float(np.median([4e-6 / b / 2 for b in bs]))
    assert found[1].sd == pytest.approx(math.hypot(max(scatter, own) / math.sqrt(3), 0.06))
    assert found[2].sd == pytest.approx(math.hypot(0.12, 0.06))
    assert set(found) == {1, 2}


# Problems


SURVEY = build_survey(heard(truth_of(JOB, (0.3, 0.4, 0.5, 0.4, 0.5, 0.6))))


def test_rows_are_the_stopped_takes_then_overtones_and_equal_takes_share_a_case() -> None:
    found = build_problem([FitPass(JOB, SURVEY)])
    stopped = SURVEY.stopped
    assert found.strings == (1, 2, 3, 4, 5, 6)
    assert found.pressed == set(found.strings)
    assert [p for _, p in found.places] == [s.take.position for s in stopped]
    assert found.data.value[: len(stopped)] == pytest.approx([s.error_cents for s in stopped])
    for i in range(len(stopped)):
        for j in range(i):
            alike = stopped[i].take.position == stopped[j].take.position
            assert bool(found.data.case[i] == found.data.case[j]) is alike
    assert found.data.covariance[: len(stopped), : len(stopped)] == pytest.approx(SURVEY.covariance_cents2)
    assert found.data.robust.all()
    z = np.random.default_rng(2).normal(size=len(found.unknowns.names))
    value, slope = found.coordinate(3, C.SADDLE, z)
    column = found.unknowns.column("saddle 3")
    assert value == pytest.approx(1.1 + slope[column] * z[column])


def test_what_came_off_is_as_told_or_unknown_where_a_string_was_played_again() -> None:
    told = replace(JOB, removed=(Told(1, 0.10), Told(1, 0.05), Told(2, 0.0)))
    passes = [FitPass(JOB, SURVEY), FitPass(told, SURVEY)]
    everybody = [set(range(1, 7))] * 2
    found = problem._removed(passes, everybody, 0)
    assert set(found) == {1}
    assert found[1].mean_mm == pytest.approx(0.15)
    assert found[1].sd_mm == pytest.approx(math.hypot(0.02, 0.1 * 0.15))
    untold = [FitPass(JOB, SURVEY), FitPass(JOB, SURVEY)]
    assert problem._removed(untold, [{1, 2}, {2, 3}], 0) == {2: Removal(0.20, 0.20)}


def test_tuning_counts_from_the_last_pass_that_heard_a_string() -> None:
    def survey(pitches: dict[int, list[float]]) -> SimpleNamespace:
        takes = [replace(opened(n, None, None), hz=hz) for n, hzs in pitches.items() for hz in hzs]
        takes.append(replace(opened(1, None, None, capo=2), hz=999.0))
        return SimpleNamespace(opens=tuple(takes))

    passes = [
        SimpleNamespace(survey=survey(p))
        for p in ({1: [100.0], 2: [200.0]}, {1: [110.0, 111.0, 150.0]}, {2: [190.0]})
    ]
    assert problem._tuned_log(passes, 0) == {
        1: pytest.approx(math.log(100 / 111)),
        2: pytest.approx(math.log(200 / 190)),
    }
    assert problem._tuned_log(passes, 1) == {1: pytest.approx(0.0)}


def test_gauges_of_all_passes_come_once_and_count_in_the_last() -> None:
    shared = MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, 0.24, 0.025)
    later = MeterReading(MeterQuantity.SLOT_FLOOR, 5, 1.5, 0.05)
    stated = replace(JOB, instrument=replace(STEEL, fret_height=Length(1.1, 0.05), relief=Length(0.2, 0.05)))
    passes = [
        FitPass(replace(JOB, meter=(shared,)), SURVEY),
        FitPass(replace(stated, meter=(shared, later)), SURVEY),
    ]
    found = problem._gauges_of(passes)
    assert [(i, j, r.what) for i, j, r in found] == [
        (0, None, MeterQuantity.CLEARANCE_THIRD),
        (1, 1, MeterQuantity.SLOT_FLOOR),
        (1, None, MeterQuantity.FRET_HEIGHT),
        (1, None, MeterQuantity.RELIEF),
    ]
    assert [(r.value_mm, r.sd_mm) for _, _, r in found[2:]] == [(1.1, 0.05), (0.2, 0.05)]


def test_passes_differ_by_their_stated_action() -> None:
    before = replace(JOB, instrument=replace(STEEL, action_12=Length(2.3, 0.1)))
    passes = [FitPass(before, SURVEY), FitPass(JOB, SURVEY)]
    assert problem._effects(passes, 0, [{}]).action_shift_mm == pytest.approx(2.3 - STEEL.action_12.value_mm)
    assert problem._effects(passes, 1, [{}]).action_shift_mm == 0.0
    none = replace(JOB, instrument=replace(STEEL, action_12=None))
    assert problem._effects([FitPass(none, SURVEY), FitPass(JOB, SURVEY)], 0, [{}]).action_shift_mm == 0.0


# Gauges against the sound, and what is said of a fit


@pytest.mark.parametrize(("off_sd", "questioned"), [(2.9, False), (3.1, True), (-2.9, False), (-3.1, True)])
def test_a_reading_three_standard_deviations_off_is_questioned(off_sd: float, questioned: bool) -> None:
    plain = build_problem([FitPass(JOB, SURVEY)])
    ear = posterior.solve(plain.unknowns, plain.data)
    reading = MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, 0.3, 0.03)
    (usual,) = question_gauges(build_problem([FitPass(replace(JOB, meter=(reading,)), SURVEY)]), ear)
    moved = replace(reading, value_mm=usual.expected_mm + off_sd * usual.sd_mm)
    (check,) = question_gauges(build_problem([FitPass(replace(JOB, meter=(moved,)), SURVEY)]), ear)
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
    depth = force / tension * 9.0 * (place(1) - 9.0) / place(1)
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
    plain = build_problem([FitPass(JOB, SURVEY)])
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
    solved = posterior.solve_problem(build_problem([FitPass(JOB, SURVEY)]))
    rough = replace(solved, scatter=Scatter(fret=3.0))
    assert solved.roughness(Stop.FRET) == pytest.approx(solved.scatter.fret, rel=0.05)
    model, touch = priors.MODEL_CENTS**2, solved.solution.about.touch_variance
    rows = [solved.data.case[i] for i, (_, p) in enumerate(solved.problem.places) if p.stop is Stop.FRET]
    mean = float(np.mean(touch[rows]))
    assert rough.roughness(Stop.FRET) == pytest.approx(math.sqrt((model + 9 * mean) / (model + mean)))
    assert rough.roughness(Stop.LEAF) == 1.0


def test_a_skew_belief_of_no_skewness_is_normal() -> None:
    assert Belief.skew(1.0, 0.2, 0.0005).high == pytest.approx(Belief.normal(1.0, 0.2).high)


def test_leaf_takes_bound_the_gap_of_the_open_string_and_keep_their_row_in_the_last_pass() -> None:
    def leaf(row: int, outcome: LeafOutcome, mm: float = 0.4) -> SimpleNamespace:
        taken = SimpleNamespace(position=Position(2, Stop.LEAF, 1, leaf_mm=mm), row=row)
        return SimpleNamespace(take=taken, outcome=outcome, leaf_mm=mm)

    def surveyed(*leaves: SimpleNamespace) -> FitPass:
        return FitPass(JOB, replace(SURVEY, leaves=leaves))

    passes = [
        surveyed(leaf(5, LeafOutcome.PASSES)),
        surveyed(
            leaf(7, LeafOutcome.PASSES), leaf(8, LeafOutcome.STOPS, 0.5), leaf(9, LeafOutcome.NEAR, 0.45)
        ),
    ]
    found = build_problem(passes)
    assert [(one.index, one.take_row, one.sign, one.bound_mm, one.string) for one in found.leaves] == [
        (0, None, 1.0, 0.4, 2),
        (1, 7, 1.0, 0.4, 2),
        (1, 8, -1.0, 0.5, 2),
    ]
    assert all(one.sd_mm == priors.LEAF_SD_MM and one.meter_index is None for one in found.leaves)
    assert found.leaves[1].case == found.leaves[2].case != found.leaves[0].case
    kind = found.unknowns.cases[found.leaves[0].case].kind
    assert kind.gauge is MeterQuantity.CLEARANCE_OPEN
    (near,) = found.gauges  # a string that buzzes on a leaf reads its thickness, half as sharply again
    assert (near.reading.value_mm, near.reading.sd_mm) == (0.45, pytest.approx(1.5 * priors.LEAF_SD_MM))
    assert (near.index, near.meter_index, near.reading.string) == (1, None, 2)


def test_intervals_of_the_meter_table_are_leaves() -> None:
    reading = MeterReading(MeterQuantity.CLEARANCE_THIRD, 3, None, 0.01, passes_mm=0.2, stops_mm=0.3)
    found = build_problem([FitPass(replace(JOB, meter=(reading,)), SURVEY)])
    assert found.gauges == ()
    rows = [
        (one.bound_mm, one.sign, one.sd_mm, one.meter_index, one.take_row, one.string) for one in found.leaves
    ]
    assert rows == [(0.2, 1.0, 0.01, 0, None, 3), (0.3, -1.0, 0.01, 0, None, 3)]
