"""Chosen limits of the diagnosis at both sides, and the weights of its averages, from records made here."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from helpers.fits import EMPTY_SURVEY, SCALE_MM, Made, make_fit, make_job, neck_cents
from pitchcheck.diagnosis import DiagnosisLimits
from pitchcheck.diagnosis.heard import _capo_error, find_worn
from pitchcheck.diagnosis.misfits import _believed, _by_string, find_frets
from pitchcheck.diagnosis.sharpness import (
    _above_light_prediction,
    _beyond,
    _finger_at_12_cents,
    find_nut_position,
    find_saddle,
    find_touch,
    not_the_slot,
)
from pitchcheck.diagnosis.suspicion import _excess, find_suspects
from pitchcheck.diagnosis.witness import (
    fretted_at,
    heard_on_frets,
    heard_up_the_neck,
    is_witness,
    notes_up_the_neck,
)
from pitchcheck.doubts import OvertonesOff
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Residual
from pitchcheck.judgement import Verdict, Witness, judge_slots, slot_goal
from pitchcheck.takes import Position, Stop, Take

LIMITS = DiagnosisLimits()
JOB = make_job()
TARGETS = [slot_goal(JOB, n).target_mm for n in range(1, 7)]


def take(row: int, place: Position, hz: float, *, sd_cents: float = 0.15, when: float | None = None) -> Take:
    return Take(row, None, place, hz, sd_cents, float(row) if when is None else when)


def residual(
    number: int,
    stop: Stop,
    fret: int,
    off: float,
    *,
    weight: float = 1.0,
    row: int = 1,
    capo: int = 0,
    sd: float = 0.5,
) -> Residual:
    return Residual(Position(number, stop, fret, capo=capo), row, 5.0 + off, 5.0, sd, weight)


def fit_with(*rows: Residual) -> SimpleNamespace:
    return SimpleNamespace(residuals=rows)


# Witnesses


@pytest.mark.parametrize(("fret", "told"), [(4, False), (5, True), (12, True)])
def test_a_note_tells_the_saddle_from_fret_five(fret: int, told: bool) -> None:
    assert heard_up_the_neck(fit_with(residual(2, Stop.FRET, fret, 0.0)), 2) is told
    assert not heard_up_the_neck(fit_with(residual(1, Stop.FRET, fret, 0.0)), 2)
    assert not heard_up_the_neck(fit_with(residual(2, Stop.PRESS, fret, 0.0)), 2)
    assert not heard_up_the_neck(fit_with(residual(2, Stop.FRET, 12, 0.0, weight=0.28)), 2)
    assert heard_up_the_neck(fit_with(residual(2, Stop.FRET, 12, 0.0, weight=0.32)), 2)


def test_notes_up_the_neck_are_told_as_at_fret_12() -> None:
    # A saddle's part grows with 2^(n/12) - 1.
    rows = (
        residual(1, Stop.FRET, 5, 2.0),
        residual(1, Stop.FRET, 12, 3.0, weight=0.9),
        residual(1, Stop.FRET, 12, 9.0, weight=0.1),
    )
    found = notes_up_the_neck(fit_with(*rows), 1)
    assert found == [(pytest.approx(2.0 / (2 ** (5 / 12) - 1)), 1.0), (pytest.approx(3.0), 0.9)]
    hardly = notes_up_the_neck(fit_with(rows[2], residual(1, Stop.FRET, 7, 1.0, capo=2)), 1)
    assert hardly == [(pytest.approx(9.0), 0.1)]


@pytest.mark.parametrize(
    ("notes", "told"),
    [
        ([], False),
        ([(3.0, 0.32)], True),
        ([(3.0, 0.28)], False),
        ([(3.0, 0.1), (8.8, 0.1)], True),  # two that agree within six cents
        ([(3.0, 0.1), (9.2, 0.1)], False),
    ],
)
def test_one_note_that_was_used_or_two_that_agree(notes: list[tuple[float, float]], told: bool) -> None:
    assert is_witness(notes) is told


def test_places_at_which_a_string_was_stopped() -> None:
    fit = fit_with(
        residual(1, Stop.FRET, 1, 0),
        residual(1, Stop.PRESS, 1, 0),
        residual(1, Stop.FRET, 2, 0),
        residual(1, Stop.FRET, 5, 0, capo=3),
        residual(2, Stop.FRET, 7, 0),
    )
    assert heard_on_frets(fit, 1) == 2
    assert fretted_at(fit, 1, 3)
    assert not fretted_at(fit, 2, 3)
    assert not fretted_at(fit_with(residual(1, Stop.PRESS, 1, 0)), 1, 3)
    assert fretted_at(fit_with(residual(1, Stop.FRET, 3, 0)), 1, 3)
    assert not fretted_at(fit_with(residual(1, Stop.FRET, 4, 0)), 1, 3)
    assert not fretted_at(fit_with(residual(1, Stop.FRET, 1, 0, weight=0.28)), 1, 3)


# Frets


def test_a_strings_notes_are_averaged_with_their_noise() -> None:
    rows = [
        residual(2, Stop.FRET, 1, 1.0, sd=0.3),
        residual(2, Stop.FRET, 1, 3.0, sd=0.4),
        residual(1, Stop.FRET, 1, -1.0),
    ]
    found = _by_string(rows)
    assert found[0] == (1, pytest.approx(-1.0), pytest.approx(0.5))
    assert found[1] == (2, pytest.approx(2.0), pytest.approx(math.sqrt((0.09 + 0.16) / 2 / 2)))


def test_takes_set_aside_do_not_count_unless_they_are_the_most() -> None:
    used, aside = residual(1, Stop.FRET, 1, 0.0, weight=0.31), residual(1, Stop.FRET, 1, 9.0, weight=0.29)
    assert _believed([used, aside]) == [used]
    assert _believed([used, aside, aside]) == [used, aside, aside]


@pytest.mark.parametrize(("mean", "named"), [(1.4, False), (1.6, True), (-1.6, True)])
def test_a_fret_error_below_what_a_touch_scatters_is_not_told(mean: float, named: bool) -> None:
    rows = [
        residual(n, Stop.FRET, f, mean if f == 2 else 0.0, sd=0.01) for f in (1, 2, 3) for n in range(1, 7)
    ]
    fit = replace(make_fit([Made(t) for t in TARGETS], targets_mm=TARGETS), residuals=tuple(rows))
    assert [f.frets for f in find_frets(fit, LIMITS)] == ([(2,)] if named else [])


@pytest.mark.parametrize(("strings", "frets", "named"), [(3, 3, True), (2, 3, False), (3, 2, False)])
def test_a_fret_is_named_by_three_strings_heard_at_three_frets(strings: int, frets: int, named: bool) -> None:
    rows = [
        residual(n, Stop.FRET, f, 9.0 if f == 2 else 0.0, sd=0.01)
        for f in range(1, frets + 1)
        for n in range(1, strings + 1)
    ]
    fit = replace(make_fit([Made(t) for t in TARGETS], targets_mm=TARGETS), residuals=tuple(rows))
    assert bool(find_frets(fit, LIMITS)) is named


def test_of_two_ways_of_stopping_the_worse_tells_the_fret_and_behind_a_capo_none() -> None:
    rows = [
        residual(n, stop, f, off if f == 2 else 0.0, sd=0.01)
        for stop, off in ((Stop.FRET, 4.0), (Stop.PRESS, -6.0))
        for f in (1, 2, 3)
        for n in range(1, 5)
    ]
    fit = replace(make_fit([Made(t) for t in TARGETS], targets_mm=TARGETS), residuals=tuple(rows))
    (found,) = find_frets(fit, LIMITS)
    assert found.size == pytest.approx(-6.0)
    behind = tuple(
        replace(r, position=replace(r.position, capo=1, fret=(r.position.fret or 0) + 1)) for r in rows
    )
    assert find_frets(replace(fit, residuals=behind), LIMITS) == []


# Worn strings and capos


@pytest.mark.parametrize(
    ("marked", "of", "named"), [(2, 3, True), (1, 1, False), (2, 4, False), (3, 5, True)]
)
def test_a_false_string_shows_in_more_than_half_of_its_takes(marked: int, of: int, named: bool) -> None:
    takes = [
        replace(take(i, Position(1, Stop.OPEN), 330.0), doubts=(OvertonesOff(5.0 + i),) if i < marked else ())
        for i in range(of)
    ]
    found = find_worn(
        JOB, make_fit([Made(t) for t in TARGETS], targets_mm=TARGETS), EMPTY_SURVEY, takes, LIMITS
    )
    assert [(f.strings, f.size) for f in found] == (
        [((1,), pytest.approx(100 * marked / of))] if named else []
    )
    if named:
        assert found[0].evidence[0].scatter_cents == pytest.approx(
            np.median([5.0 + i for i in range(marked)])
        )


def test_a_capoed_note_is_held_against_the_nearest_open_one() -> None:
    capoed = take(50, Position(1, Stop.OPEN, capo=2), 100.0 * 2 ** ((200 + 3.0) / 1200), sd_cents=0.3)
    near = take(60, Position(1, Stop.OPEN), 100.0, sd_cents=0.4)
    far = take(20, Position(1, Stop.OPEN), 101.0, sd_cents=0.4)
    assert _capo_error(capoed, [far, near]) == (pytest.approx(3.0), pytest.approx(0.5))
    assert _capo_error(capoed, [replace(near, row=90)]) is not None
    assert _capo_error(capoed, [replace(near, row=91)]) is None  # forty rows at most
    assert _capo_error(capoed, [replace(near, position=Position(2, Stop.OPEN))]) is None
    assert _capo_error(replace(capoed, position=Position(1, Stop.FRET, 5, capo=2)), [near]) is None
    assert _capo_error(replace(capoed, hz=None), [near]) is None


# Sharp first frets


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


@pytest.mark.parametrize(("cents", "asked"), [(6.9, False), (7.3, True), (-6.9, False), (-7.3, True)])
def test_a_saddle_is_asked_about_beyond_what_is_not_known_of_it(cents: float, asked: bool) -> None:
    # No note up the neck was heard: 5 cents, and 1.645 sd of the saddle (0.3 mm) and of the pluck (1 cent).
    per_mm = 1200 / math.log(2) / SCALE_MM
    limit = 5.0 + float(stats.norm.ppf(0.95)) * math.hypot(0.3 * per_mm, 1.0)
    assert (abs(cents) > limit) is asked
    made = [Made(t, fret_12_cents=cents if n == 1 else 0.0) for n, t in enumerate(TARGETS, 1)]
    rows = tuple(residual(n, Stop.FRET, f, 0.0) for n in range(1, 7) for f in (1, 2, 3))
    found = find_saddle(JOB, make_fit(made, targets_mm=TARGETS, residuals=rows), LIMITS)
    assert [(type(f).__name__, f.strings) for f in found] == ([("Question", (1,))] if asked else [])
