"""What open takes alone tell, from changes made here: medians, scatter and lines written out."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from helpers.fits import open_session
from pitchcheck.diagnosis import Cause, DiagnosisLimits
from pitchcheck.diagnosis import opens as opens_module
from pitchcheck.diagnosis.opens import _trend, _undoes, find_catching, find_drift, find_jumps
from pitchcheck.survey import Return
from pitchcheck.takes import Position, Stop, Take

LIMITS = DiagnosisLimits()


def take(row: int, place: Position, hz: float, *, sd_cents: float = 0.15, when: float | None = None) -> Take:
    return Take(row, None, place, hz, sd_cents, float(row) if when is None else when)


def changes(values: list[float], *, string: int = 1, sd: float = 0.1) -> list[Return]:
    return [
        Return(string, 0, 2 * i + 1, 2 * i + 3, v, sd, (Position(string, Stop.PRESS, 1),))
        for i, v in enumerate(values)
    ]


def test_changes_are_built_as_the_survey_builds_them() -> None:
    survey, _ = open_session([[0.0, 1.0, 1.0]])
    assert [type(r) for r in survey.returns] == [Return, Return]


@pytest.mark.parametrize(
    ("first", "then", "back"),
    [
        (4.0, -1.9, False),
        (4.0, -2.1, True),
        (4.0, -5.9, True),
        (4.0, -6.1, False),
        (-4.0, 2.1, True),
        (4.0, 3.0, False),
        (0.0, 1.0, False),
    ],
)
def test_a_change_is_undone_by_half_to_one_and_a_half_of_it(first: float, then: float, back: bool) -> None:
    assert _undoes(first, then) is back


def trend(slope: float, *, count: int = 6, sd: float = 0.1, off: float = 0.0) -> float | None:
    times = np.arange(count, dtype=float)
    wave = off * np.array([1.0, -1.0, -1.0, 1.0, 1.0, -1.0])[:count]
    taken = [
        take(
            i + 1,
            Position(1, Stop.OPEN),
            100.0 * 2 ** ((slope * t / (count - 1) + w) / 1200),
            sd_cents=sd,
            when=10 * t,
        )
        for i, (t, w) in enumerate(zip(times, wave, strict=True))
    ]
    return _trend(taken, strings=3, limits=LIMITS)


def test_a_run_is_the_weighted_line_over_the_whole_time() -> None:
    assert trend(5.0) == pytest.approx(5.0, rel=1e-6)
    assert trend(-5.0) == pytest.approx(-5.0, rel=1e-6)
    assert trend(2.9) is None
    assert trend(3.1) == pytest.approx(3.1, rel=1e-6)
    assert trend(5.0, count=4) == pytest.approx(5.0, rel=1e-6)
    assert trend(5.0, count=3) is None
    still = [take(i, Position(1, Stop.OPEN), 100.0 + i, when=3.0) for i in range(5)]
    assert _trend(still, strings=3, limits=LIMITS) is None


def test_a_run_is_beyond_chance_by_students_law_of_its_own_scatter() -> None:
    when = np.arange(6.0)
    wave = np.array([1.0, -1.0, -1.0, 1.0, 1.0, -1.0])
    design = np.column_stack([np.ones(6), (when - when.mean()) / 5])
    for off in (0.8, 1.2, 1.6):
        heard = 5.0 * when / 5 + off * wave
        fitted = stats.linregress(when, heard)
        left = heard - fitted.intercept - fitted.slope * when
        sd = math.sqrt(left @ left / 4 * np.linalg.inv(design.T @ design)[1, 1])
        run = fitted.slope * 5
        expected = run if abs(run) > stats.t.isf(0.01 / 6, 4) * sd and abs(run) > 3.0 else None
        found = trend(5.0, off=off)
        assert found == (None if expected is None else pytest.approx(expected, rel=1e-6))


def jumps_of(values: dict[int, list[float]], *, sd: float = 0.1) -> list[tuple[int, float, float]]:
    returns = [r for n, v in values.items() for r in changes(v, string=n, sd=sd)]
    found = find_jumps(SimpleNamespace(returns=returns), LIMITS)
    return [(j.change.string, j.beyond_cents, j.limit_cents) for j in found]


def test_few_changes_are_held_against_the_scatter_of_a_usual_hand() -> None:
    # Three changes of one string: no median of its own, 0.7 cents of scatter, normal law shared over three.
    limit = float(stats.norm.isf(0.01 / 6)) * 0.7
    assert limit > 1.5
    for size, found in ((limit * 1.02, True), (limit * 0.98, False)):
        jumps = jumps_of({1: [0.0, size, 0.0]})
        assert jumps == ([(1, pytest.approx(size), pytest.approx(limit))] if found else [])
    # noise of the reading where it is greater
    wide = float(stats.norm.isf(0.01 / 6)) * 1.1
    assert jumps_of({1: [0.0, wide * 0.98, 0.0]}, sd=1.1) == []


def test_four_changes_of_a_string_are_held_against_their_own_median() -> None:
    assert [j[1] for j in jumps_of({1: [2.0, 2.0, 2.0, 9.0]})] == [pytest.approx(7.0)]
    assert [j[1] for j in jumps_of({1: [2.0, 2.0, 9.0]})][-1] == pytest.approx(9.0)


def test_many_changes_are_judged_by_their_own_scatter() -> None:
    rng = np.random.default_rng(1)
    values = {n: list(rng.normal(0, 0.6, 6)) for n in (1, 2, 3)}
    values[2][3] += 9.0
    beyond = np.concatenate([np.array(v) - np.median(v) for v in values.values()])
    count, free = 18, 15
    sd = stats.median_abs_deviation(beyond, scale="normal") * math.sqrt(count / free)
    freedom = max(1, int(0.37 * free / 1.5))
    limit = max(1.5, float(stats.t.isf(0.01 / (2 * count), freedom)) * max(sd, 0.1))
    (jump,) = jumps_of(values)
    assert jump[2] == pytest.approx(limit)
    assert (opens_module._ENOUGH_FOR_A_SCATTER, opens_module._ENOUGH_FOR_A_MEDIAN) == (8, 4)


def test_a_jump_that_came_back_is_one_jump_and_catches() -> None:
    returns = changes([0.0, 8.0, -8.0, 0.0, 0.0, 0.0])
    survey = SimpleNamespace(returns=returns, opens=())
    (jump,) = find_jumps(survey, LIMITS)
    assert jump.came_back
    (found,) = find_catching(survey, LIMITS)
    assert (found.cause, found.frets, found.size) == (Cause.CATCHING_SLOT, (1,), pytest.approx(8.0))
    last = SimpleNamespace(returns=changes([0.0, 0.0, 8.0]), opens=())
    assert [j.came_back for j in find_jumps(last, LIMITS)] == [None]


def drift_of(changes_cents: list[float], opens_cents: list[float]) -> list[tuple[tuple[int, ...], float]]:
    opened = [
        take(2 * i + 1, Position(1, Stop.OPEN), 100.0 * 2 ** (c / 1200)) for i, c in enumerate(opens_cents)
    ]
    survey = SimpleNamespace(returns=changes(changes_cents), opens=opened)
    return [(f.strings, f.size) for f in find_drift(survey, LIMITS)]


def test_what_takes_back_a_change_too_small_to_count_is_a_jump_of_its_own() -> None:
    # two changes by a usual hand of 0.7 cent: the normal limit of one in a hundred, shared by both
    limit = 0.7 * stats.norm.isf(0.01 / 4)
    survey = SimpleNamespace(returns=changes([-0.97 * limit, 1.3 * limit]))
    assert [jump.beyond_cents for jump in find_jumps(survey, LIMITS)] == pytest.approx([1.3 * limit])
    survey = SimpleNamespace(returns=changes([-1.03 * limit, 1.3 * limit]))
    assert [jump.beyond_cents for jump in find_jumps(survey, LIMITS)] == pytest.approx([-1.03 * limit])


def test_a_second_jump_that_takes_nothing_back_is_another() -> None:
    limit = 0.7 * stats.norm.isf(0.01 / 4)
    for second in (1.5, -4.0):  # the same way again; back by far more than it went
        survey = SimpleNamespace(returns=changes([1.5 * limit, second * limit]))
        found = [jump.beyond_cents / limit for jump in find_jumps(survey, LIMITS)]
        assert found == pytest.approx([1.5, second])


def test_tuning_that_slipped_and_stayed_is_drift_once() -> None:
    flat = [0.0, 0.0, 0.0]
    assert drift_of([0.0, 8.0, 0.0], flat) == [((1,), pytest.approx(8.0))]
    assert drift_of([0.0, 8.0, -8.0], flat) == []  # it came back
    assert drift_of([0.0, 2.9, 0.0], flat) == []  # beyond chance, and not worth telling
    # a string that runs is told by its whole run and not by a jump within it
    run = list(np.linspace(0.0, 12.0, 6))
    ((strings, size),) = drift_of([0.0, 8.0, 0.0], run)
    assert strings == (1,)
    assert size == pytest.approx(12.0)
