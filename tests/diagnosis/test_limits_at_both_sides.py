"""Limits of witnesses, frets, worn strings, capos and saddle at both sides, from records made here."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from helpers.fits import EMPTY_SURVEY, SCALE_MM, Made, make_fit, make_job
from pitchcheck.diagnosis import DiagnosisLimits
from pitchcheck.diagnosis.heard import _capo_error, find_worn
from pitchcheck.diagnosis.misfits import _believed, _by_string, find_frets
from pitchcheck.diagnosis.sharpness import (
    find_saddle,
)
from pitchcheck.diagnosis.witness import (
    fretted_at,
    heard_on_frets,
    heard_up_the_neck,
    is_witness,
    notes_up_the_neck,
)
from pitchcheck.doubts import OvertonesOff
from pitchcheck.fit.result import Residual
from pitchcheck.judgement import slot_goal
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


# Saddle


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
