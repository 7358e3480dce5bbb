"""The survey: brackets, errors in cents and their covariance; wrong notes set aside."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitchcheck.doubts import NoOpenTakeOn, Side, StoppedOffItsPlace
from pitchcheck.instrument import Instrument, StringSpec
from pitchcheck.placing import check_places
from pitchcheck.survey import LeafOutcome, build_survey, first_fret_cents
from pitchcheck.takes import Position, Stop, Take

EXACT_CENTS = 1e-9  # formulas without approximation: only rounding of the last bits
OPEN = Position(1, Stop.OPEN)
INSTRUMENT = Instrument("imaginary", 648.0, (StringSpec(1, "A4", 0.3, "plain steel", False),))


def take(row: int, position: Position, cents: float, *, sd: float = 0.1, when: float | None = None) -> Take:
    """Return a take ``cents`` above its tempered place over 440 Hz."""
    hz = 440.0 * 2 ** ((100 * position.semitones + cents) / 1200)
    return Take(row, None, position, hz, sd, row if when is None else when)


def fret(number: int, capo: int = 0) -> Position:
    return Position(1, Stop.FRET, number, capo)


def test_drift_is_removed_by_interpolation_in_time() -> None:
    drift = [take(1, OPEN, 0.0, when=0), take(2, fret(1), 5 + 1.5, when=1), take(3, OPEN, 6.0, when=4)]
    (stopped,) = build_survey(drift).stopped
    assert stopped.error_cents == pytest.approx(5.0, abs=EXACT_CENTS)


@given(st.floats(-500, 500), st.lists(st.floats(-20, 20), min_size=1, max_size=6))
def test_errors_do_not_depend_on_the_reference_pitch(shift: float, errors: list[float]) -> None:
    rows = [take(1, OPEN, shift)]
    for i, error in enumerate(errors):
        rows += [take(2 * i + 2, fret(i + 1), error + shift), take(2 * i + 3, OPEN, shift)]
    found = [s.error_cents for s in build_survey(rows).stopped]
    assert found == pytest.approx(errors, abs=1e-6)


def test_covariance_is_that_of_many_noisy_surveys() -> None:
    """The stated covariance against the scatter of 20,000 simulated ones, open takes shared."""
    places = [OPEN, fret(1), OPEN, fret(2), fret(3), OPEN]
    sds = np.array([0.1, 0.3, 0.2, 0.1, 0.4, 0.15])
    clean = [
        take(i + 1, place, 3.0, sd=float(sd)) for i, (place, sd) in enumerate(zip(places, sds, strict=True))
    ]
    survey = build_survey(clean)
    weights = np.array([[-0.5, 1, -0.5, 0, 0, 0], [0, 0, -2 / 3, 1, 0, -1 / 3], [0, 0, -1 / 3, 0, 1, -2 / 3]])
    noise = np.random.default_rng(1).normal(size=(20_000, 6)) * sds
    scatter = np.cov((noise @ weights.T).T)
    scatter_tolerance = 0.05 * np.diag(survey.covariance_cents2).max()  # 20,000 draws: 1 % per entry, 5 sigma
    assert np.abs(survey.covariance_cents2 - scatter).max() < scatter_tolerance
    own = np.sqrt(np.diag(survey.covariance_cents2))
    assert [s.sd_cents for s in survey.stopped] == pytest.approx(list(own), abs=EXACT_CENTS)


def test_a_capo_is_compared_with_the_open_string_under_it() -> None:
    capo_open = Position(1, Stop.OPEN, None, 2)
    rows = [take(1, OPEN, 0.0), take(2, capo_open, 204.0), take(3, fret(3, capo=2), 204.0 + 7.0)]
    (stopped,) = build_survey(rows).stopped
    assert stopped.error_cents == pytest.approx(7.0, abs=EXACT_CENTS)


def test_one_open_take_alone_serves_and_none_leaves_the_take_out() -> None:
    alone = [take(1, fret(1), 4.0), take(2, OPEN, 0.0)]
    assert build_survey(alone).stopped[0].error_cents == pytest.approx(4.0, abs=EXACT_CENTS)
    assert build_survey([take(1, fret(1), 4.0)]).stopped == ()
    assert build_survey([]).covariance_cents2.shape == (0, 0)


def test_an_open_string_that_does_not_return_is_reported() -> None:
    rows = [
        take(1, OPEN, 0.0),
        take(2, Position(1, Stop.PRESS, 1), 20.0),
        take(3, OPEN, 1.5),
        take(4, OPEN, 1.5),
    ]
    (back,) = build_survey(rows).returns
    assert (back.row_before, back.row_after) == (1, 3)
    assert back.change_cents == pytest.approx(1.5, abs=EXACT_CENTS)
    assert back.sd_cents == pytest.approx(math.hypot(0.1, 0.1), abs=EXACT_CENTS)
    assert back.between == (Position(1, Stop.PRESS, 1),)


def test_repeats_of_the_first_fret_combine_and_scatter_widens_them() -> None:
    near = [
        take(1, OPEN, 0.0),
        take(2, fret(1), 5.0),
        take(3, OPEN, 0.0),
        take(4, fret(1), 5.0),
        take(5, OPEN, 0.0),
    ]
    value, sd = first_fret_cents(build_survey(near), 1) or (math.nan, math.nan)
    assert value == pytest.approx(5.0, abs=EXACT_CENTS)
    # Weights 1/2 each; readings 0.1: stopped 2 x (1/4), opens 1/16 + 1/4 + 1/16 of 0.01; the hand 1.5 each.
    assert sd == pytest.approx(math.sqrt(0.01 * (0.5 + 0.375) + 1.5**2 / 2), abs=EXACT_CENTS)
    assert first_fret_cents(build_survey(near), 1, without={2, 4}) is None
    far = [*near[:3], take(4, fret(1), 9.0), near[4]]
    value, sd = first_fret_cents(build_survey(far), 1) or (math.nan, math.nan)
    assert (value, sd) == pytest.approx((7.0, 2.0), abs=EXACT_CENTS)  # standard error of 5 and 9
    assert first_fret_cents(build_survey(near), 2) is None


@pytest.mark.parametrize(
    ("position", "cents", "used"),
    [
        (fret(1), 45.0, True),  # a badly high slot
        (fret(1), 100.0, False),  # fret 2 by mistake
        (fret(1), -100.0, False),  # the open string
        (fret(12), 1200.0, False),  # an octave too high
        (Position(1, Stop.PRESS, 1), 99.0, True),  # the sharpest press of the simulated instruments
        (Position(1, Stop.PRESS, 1), -80.0, False),
        (Position(1, Stop.PRESS, 1), 215.0, False),
    ],
)
def test_a_take_far_from_its_place_is_set_aside_with_its_reason(
    position: Position, cents: float, used: bool
) -> None:
    rows = [take(1, OPEN, 0.0), take(2, position, cents), take(3, OPEN, 0.0)]
    checked = check_places(rows, instrument=INSTRUMENT)
    assert checked[1].used is used
    assert any(isinstance(doubt, StoppedOffItsPlace) for doubt in checked[1].doubts) is not used
    assert len(build_survey(checked).stopped) == int(used)


def test_a_wrong_open_string_is_not_a_reference() -> None:
    rows = [take(1, OPEN, -500.0), take(2, fret(1), 5.0), take(3, OPEN, 0.0)]
    checked = check_places(rows, instrument=INSTRUMENT)
    assert [t.used for t in checked] == [False, True, True]
    assert build_survey(checked).stopped[0].error_cents == pytest.approx(5.0, abs=EXACT_CENTS)
    assert NoOpenTakeOn(Side.BEFORE) in checked[1].doubts


def leaf(above_cents: float) -> Take:
    """Return a leaf take so far above the open note."""
    return take(2, Position(1, Stop.LEAF, 1, 0, 0.4), above_cents - 100)


@pytest.mark.parametrize(
    ("above_cents", "outcome"),
    [(0.3, LeafOutcome.PASSES), (104.0, LeafOutcome.STOPS), (48.0, LeafOutcome.NEAR)],
)
def test_a_leaf_take_is_a_yes_or_a_no_and_no_error_in_cents(above_cents: float, outcome: LeafOutcome) -> None:
    rows = check_places([take(1, OPEN, 0.0), leaf(above_cents), take(3, OPEN, 0.0)], instrument=INSTRUMENT)
    survey = build_survey(rows)
    assert survey.stopped == ()
    assert survey.returns == ()  # nothing stopped the string between the two
    (reading,) = survey.leaves
    assert (reading.outcome, reading.leaf_mm) == (outcome, 0.4)


@pytest.mark.parametrize("above_cents", [-70.0, 170.0])
def test_a_leaf_take_that_is_neither_note_is_set_aside(above_cents: float) -> None:
    rows = check_places([take(1, OPEN, 0.0), leaf(above_cents), take(3, OPEN, 0.0)], instrument=INSTRUMENT)
    assert [t.used for t in rows] == [True, False, True]


def walking(rng: np.random.Generator, step_cents: float) -> list[Take]:
    """Twelve strings' worth of brackets whose open pitch walks by so much a take."""
    rows, pitch = [], 0.0
    for i in range(60):
        place = OPEN if i % 3 == 0 else fret(1)
        pitch += step_cents * float(rng.standard_normal())
        rows.append(take(i + 1, place, pitch, sd=0.05))
    return [*rows, take(61, OPEN, pitch, sd=0.05)]


def test_an_open_string_that_walks_widens_its_brackets_as_it_should() -> None:
    """Mean square error of the interpolation over 300 walks of 1 cent a take, against what is stated."""
    rng = np.random.default_rng(5)
    missed, stated = [], []
    for _ in range(300):
        survey = build_survey(walking(rng, 1.0))
        missed += [s.error_cents**2 for s in survey.stopped]
        stated.append(np.diag(survey.covariance_cents2).mean())
    # The walk is shrunk by 4 in 24 intervals towards none, and the pinned end is a single take's step on.
    assert np.mean(stated) == pytest.approx(np.mean(missed), rel=0.25)


def test_an_open_string_that_stays_costs_nothing() -> None:
    rows = [take(1, OPEN, 0.0), take(2, fret(1), 5.0), take(3, OPEN, 0.05)]
    noise = 0.1**2 * (1 + 0.25 + 0.25)
    assert build_survey(rows).covariance_cents2[0, 0] == pytest.approx(noise)
