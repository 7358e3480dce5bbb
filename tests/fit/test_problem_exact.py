"""How takes, gauge readings and passes become cases and data."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest

from helpers.planted import heard, job_of, truth_of
from pitchcheck.fit import priors, problem
from pitchcheck.fit.cases import Coordinate
from pitchcheck.fit.overtones import bending_lengths
from pitchcheck.fit.problem import FitPass, build_problem
from pitchcheck.fit.unknowns import Removal
from pitchcheck.instrument import Length, MeterQuantity, MeterReading
from pitchcheck.instrument import Removal as Told
from pitchcheck.survey import LeafOutcome, Survey, build_survey
from pitchcheck.takes import Position, Stop, Take

JOB = job_of("electric")
STEEL = JOB.instrument
SCALE = STEEL.scale_mm
C = Coordinate


@cache
def full_survey() -> Survey:
    return build_survey(heard(truth_of(JOB, (0.3, 0.4, 0.5, 0.4, 0.5, 0.6))))


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


def test_rows_are_the_stopped_takes_then_overtones_and_equal_takes_share_a_case() -> None:
    found = build_problem([FitPass(JOB, full_survey())])
    stopped = full_survey().stopped
    assert found.strings == (1, 2, 3, 4, 5, 6)
    assert found.pressed == set(found.strings)
    assert [p for _, p in found.places] == [s.take.position for s in stopped]
    assert found.data.value[: len(stopped)] == pytest.approx([s.error_cents for s in stopped])
    for i in range(len(stopped)):
        for j in range(i):
            alike = stopped[i].take.position == stopped[j].take.position
            assert bool(found.data.case[i] == found.data.case[j]) is alike
    assert found.data.covariance[: len(stopped), : len(stopped)] == pytest.approx(
        full_survey().covariance_cents2
    )
    assert found.data.robust.all()
    z = np.random.default_rng(2).normal(size=len(found.unknowns.names))
    value, slope = found.coordinate(3, C.SADDLE, z)
    column = found.unknowns.column("saddle 3")
    assert value == pytest.approx(1.1 + slope[column] * z[column])


def test_what_came_off_is_as_told_or_unknown_where_a_string_was_played_again() -> None:
    told = replace(JOB, removed=(Told(1, 0.10), Told(1, 0.05), Told(2, 0.0)))
    passes = [FitPass(JOB, full_survey()), FitPass(told, full_survey())]
    everybody = [set(range(1, 7))] * 2
    found = problem._removed(passes, everybody, 0)
    assert set(found) == {1}
    assert found[1].mean_mm == pytest.approx(0.15)
    assert found[1].sd_mm == pytest.approx(math.hypot(0.02, 0.1 * 0.15))
    untold = [FitPass(JOB, full_survey()), FitPass(JOB, full_survey())]
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
        FitPass(replace(JOB, meter=(shared,)), full_survey()),
        FitPass(replace(stated, meter=(shared, later)), full_survey()),
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
    passes = [FitPass(before, full_survey()), FitPass(JOB, full_survey())]
    assert problem._effects(passes, 0, [{}]).action_shift_mm == pytest.approx(2.3 - STEEL.action_12.value_mm)
    assert problem._effects(passes, 1, [{}]).action_shift_mm == 0.0
    none = replace(JOB, instrument=replace(STEEL, action_12=None))
    assert (
        problem._effects([FitPass(none, full_survey()), FitPass(JOB, full_survey())], 0, [{}]).action_shift_mm
        == 0.0
    )


def test_leaf_takes_bound_the_gap_of_the_open_string_and_keep_their_row_in_the_last_pass() -> None:
    def leaf(row: int, outcome: LeafOutcome, mm: float = 0.4) -> SimpleNamespace:
        taken = SimpleNamespace(position=Position(2, Stop.LEAF, 1, leaf_mm=mm), row=row)
        return SimpleNamespace(take=taken, outcome=outcome, leaf_mm=mm)

    def surveyed(*leaves: SimpleNamespace) -> FitPass:
        return FitPass(JOB, replace(full_survey(), leaves=leaves))

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
    found = build_problem([FitPass(replace(JOB, meter=(reading,)), full_survey())])
    assert found.gauges == ()
    rows = [
        (one.bound_mm, one.sign, one.sd_mm, one.meter_index, one.take_row, one.string) for one in found.leaves
    ]
    assert rows == [(0.2, 1.0, 0.01, 0, None, 3), (0.3, -1.0, 0.01, 0, None, 3)]
