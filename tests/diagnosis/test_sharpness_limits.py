"""Limits of sharp first frets, touch and suspects at both sides, from records made here."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from helpers.fits import EMPTY_SURVEY, SCALE_MM, Made, make_fit, make_job, neck_cents
from pitchcheck.diagnosis import DiagnosisLimits
from pitchcheck.diagnosis.sharpness import (
    _above_light_prediction,
    _beyond,
    _finger_at_12_cents,
    find_nut_position,
    find_touch,
    not_the_slot,
)
from pitchcheck.diagnosis.suspicion import _excess, find_suspects
from pitchcheck.fit.belief import Belief
from pitchcheck.judgement import Verdict, Witness, judge_slots, slot_goal
from pitchcheck.takes import Position, Stop

LIMITS = DiagnosisLimits()
JOB = make_job()
TARGETS = [slot_goal(JOB, n).target_mm for n in range(1, 7)]


@pytest.mark.parametrize(("median", "beyond"), [(0.45, False), (0.48, True), (-0.45, False), (-0.48, True)])
def test_an_offset_counts_with_its_whole_interval(median: float, beyond: bool) -> None:
    # 0.3 mm and 1.645 sd of 0.1 mm.
    assert _beyond(Belief.normal(median, 0.1), 0.3, tail=0.05) is beyond


@pytest.mark.parametrize("offset", [0.5, -0.5])
def test_a_nut_out_of_place_is_told_in_cents_of_every_note(offset: float) -> None:
    fit = make_fit([Made(t) for t in TARGETS], targets_mm=TARGETS, nut_offset_mm=(offset, 0.05))
    (found,) = find_nut_position(JOB, fit, LIMITS)
    assert found.size == pytest.approx(offset)
    assert found.evidence[0].error_cents == pytest.approx(1200 / math.log(2) * offset / SCALE_MM, rel=1e-3)


def test_the_fingers_part_at_fret_12_is_known_as_badly_as_a_usual_finger_makes() -> None:
    string = SimpleNamespace(neck_touch_cents=np.full(12, 2.0))
    assert _finger_at_12_cents(string, touch_mm=0.3) == pytest.approx(2.0 * (0.6 / 0.3) ** 2)
    assert _finger_at_12_cents(string, touch_mm=0.9) == pytest.approx(2.0)
    assert _finger_at_12_cents(string, touch_mm=0.0) == pytest.approx(2.0)


@pytest.mark.parametrize(("heard", "said"), [(4.8, False), (5.2, True)])
def test_a_first_fret_is_called_sharp_beyond_what_is_heard(heard: float, said: bool) -> None:
    fit = make_fit([Made(t, first_fret_cents=heard) for t in TARGETS], targets_mm=TARGETS)
    slot = judge_slots(JOB, fit)[0]
    assert slot.verdict is Verdict.FINE
    assert LIMITS.sharp_cents == 5.0
    found = not_the_slot(fit.strings[0], slot, scale_mm=SCALE_MM, limits=LIMITS)
    assert (found is not None) is said


def stopped(
    number: int, fret: int, error: float, *, stop: Stop = Stop.FRET, sd: float = 0.5, capo: int = 0
) -> SimpleNamespace:
    return SimpleNamespace(
        take=SimpleNamespace(position=Position(number, stop, fret, capo=capo)), error_cents=error, sd_cents=sd
    )


def test_notes_above_the_light_prediction_are_averaged_and_held_against_chance() -> None:
    fit = make_fit([Made(t, sd_mm=0.02) for t in TARGETS], targets_mm=[t - 0.1 for t in TARGETS])
    string = fit.strings[0]
    goal = slot_goal(JOB, 1)
    light = string.neck_now_cents - string.neck_touch_cents
    mine = [stopped(1, 1, float(light[0]) + 20.0), stopped(1, 2, float(light[1]) + 24.0, sd=0.7)]
    others = [
        stopped(2, 1, 99.0),
        stopped(1, 4, 99.0),
        stopped(1, 1, 99.0, stop=Stop.PRESS),
        stopped(1, 3, 99.0, capo=1),
    ]
    survey = SimpleNamespace(stopped=[*mine, *others])
    found = _above_light_prediction(string, goal, survey, strings=6, limits=LIMITS)
    assert found == pytest.approx(22.0)
    assert (
        _above_light_prediction(string, goal, SimpleNamespace(stopped=mine[:1]), strings=6, limits=LIMITS)
        is None
    )
    # the limit: reading and hand over the count, and the slot's own uncertainty by how strongly it answers
    way = string.height_mm.median - goal.target_mm
    change = float(np.mean((string.neck_now_cents - string.neck_target_cents)[:3]))
    slope = change / way if abs(way) > goal.tolerance_mm else 0.0
    noise = (0.5**2 + 0.7**2) / 2 + LIMITS.touch_scatter_cents**2
    sd = math.sqrt(noise / 2 + (slope * 0.02) ** 2)
    limit = max(float(stats.norm.isf(0.01 / 12)) * sd, 5.0)
    for mean, told in ((limit * 1.02, True), (limit * 0.98, False)):
        survey = SimpleNamespace(
            stopped=[stopped(1, f, float(light[f - 1]) + mean, sd=s) for f, s in ((1, 0.5), (2, 0.7))]
        )
        assert (_above_light_prediction(string, goal, survey, strings=6, limits=LIMITS) is not None) is told


def test_the_slots_own_uncertainty_widens_what_chance_could_do() -> None:
    fit = make_fit([Made(t + 0.4, sd_mm=0.6) for t in TARGETS], targets_mm=TARGETS)
    string, goal = fit.strings[0], slot_goal(JOB, 1)
    light = string.neck_now_cents - string.neck_touch_cents
    change = float(np.mean((string.neck_now_cents - string.neck_target_cents)[:3]))
    slope = change / (string.height_mm.median - goal.target_mm)
    sd = math.sqrt((0.25 + LIMITS.touch_scatter_cents**2) / 3 + (slope * 0.6) ** 2)
    limit = float(stats.norm.isf(0.01 / 12)) * sd
    assert limit > 5.0
    for mean, told in ((limit * 1.02, True), (limit * 0.98, False)):
        survey = SimpleNamespace(stopped=[stopped(1, f, float(light[f - 1]) + mean) for f in (1, 2, 3)])
        assert (_above_light_prediction(string, goal, survey, strings=6, limits=LIMITS) is not None) is told


@pytest.mark.parametrize(("depth", "heavy"), [(1.1 + 1.55 * 0.05, False), (1.1 + 1.75 * 0.05, True)])
def test_a_heavy_hand_is_told_with_belief(depth: float, heavy: bool) -> None:
    # first frets as heard are in tune, so that nothing else tells of the finger
    made = [Made(t, touch_mm=0.5, first_fret_cents=1.0) for t in TARGETS]
    fit = make_fit(made, targets_mm=TARGETS, touch_mm=(depth, 0.05))
    found = find_touch(JOB, fit, EMPTY_SURVEY, judge_slots(JOB, fit), LIMITS)
    assert bool(found) is heavy


# Suspects


def suspect_fit(heights: list[float]) -> object:
    return make_fit([Made(h, sd_mm=0.25, pressed=False) for h in heights], targets_mm=TARGETS)


def test_the_flattest_of_like_notes_says_most_of_the_slot() -> None:
    # Errors over the note at the target, turned into heights by K / n, high frets counting by 1 / n^2.
    string = SimpleNamespace(
        number=1, stretch_factor=Belief.normal(200.0, 1.0), neck_target_cents=np.array([4.0, 3.0, 2.0])
    )
    survey = SimpleNamespace(
        stopped=[
            stopped(1, 1, 20.0),
            stopped(1, 1, 14.0),
            stopped(1, 2, 9.0),
            stopped(1, 3, 2.0),
            stopped(1, 4, 99.0),
            stopped(2, 1, 99.0),
            stopped(1, 1, -50.0, capo=1),
            stopped(1, 1, -50.0, stop=Stop.PRESS),
        ]
    )
    heights = [(14.0 - 4.0) / (200 / 1), (9.0 - 3.0) / (200 / 2), (2.0 - 2.0) / (200 / 3)]
    weights = [2 / 1, 1 / 4, 1 / 9]
    assert _excess(survey, string) == pytest.approx(np.average(heights, weights=weights))
    assert _excess(SimpleNamespace(stopped=[]), string) == -np.inf


@pytest.mark.parametrize(
    ("beliefs", "named"), [((0.42, 0.27, 0.1), (1, 2)), ((0.42, 0.23, 0.1), (1,)), ((0.38, 0.3, 0.1), ())]
)
def test_a_slot_is_suspected_from_a_belief_of_four_in_ten(
    beliefs: tuple[float, ...], named: tuple[int, ...]
) -> None:
    slots = [
        SimpleNamespace(
            number=i, witness=Witness.FRETTED, height_mm=b, goal=SimpleNamespace(belief_high=lambda h: h)
        )
        for i, b in enumerate(beliefs, 1)
    ]
    slots.append(
        SimpleNamespace(
            number=4, witness=Witness.PRESS, height_mm=0.99, goal=SimpleNamespace(belief_high=lambda h: h)
        )
    )
    strings = [
        SimpleNamespace(number=i, stretch_factor=Belief.normal(200.0, 1.0), neck_target_cents=neck_cents(0.4))
        for i in range(1, 5)
    ]
    survey = SimpleNamespace(stopped=[stopped(i, 1, 40.0 - i) for i in range(1, 5)])
    assert find_suspects(survey, SimpleNamespace(strings=strings), slots) == named
    assert find_suspects(survey, SimpleNamespace(strings=strings), slots[3:]) == ()


@pytest.mark.parametrize(("sd", "said"), [(3.5, True), (3.75, False)])
def test_a_first_fret_is_sharp_with_belief(sd: float, said: bool) -> None:
    # 6 cents; 90 % two-sided is 1.645 sd.
    fit = make_fit([Made(t, first_fret_cents=6.0) for t in TARGETS], targets_mm=TARGETS)
    string = replace(fit.strings[0], first_fret_cents=(6.0, sd))
    found = not_the_slot(string, judge_slots(JOB, fit)[0], scale_mm=SCALE_MM, limits=LIMITS)
    assert (found is not None) is said


def test_notes_above_the_prediction_over_a_high_slot_are_no_finger() -> None:
    def found(excess: float) -> list[object]:
        made = [Made(t + excess, sd_mm=0.02, touch_mm=0.5, first_fret_cents=1.0) for t in TARGETS]
        fit = make_fit(made, targets_mm=TARGETS)
        rows = []
        for string in fit.strings:
            light = string.neck_now_cents - string.neck_touch_cents
            rows += [stopped(string.number, f, float(light[f - 1]) + 15.0) for f in (1, 2, 3)]
        return find_touch(JOB, fit, SimpleNamespace(stopped=rows), judge_slots(JOB, fit), LIMITS)

    assert found(0.0)
    assert not found(0.5)
