"""All passes of an instrument are one measurement; what differs between them is a file or small."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from helpers.planted import SIX, heard, job_of, truth_of
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.fit import Fit, FitPass, fit_instrument
from pitchcheck.instrument import Removal, SessionSettings
from pitchcheck.survey import Survey, build_survey

JOB = job_of()
OFF_MM = (0.30, 0.25)  # taken off string 6 after the first and the second pass
START = (*SIX[:5], SIX[5] + sum(OFF_MM))
PULL_MM = 0.03  # priors pull a slot by a third of what one of these is known to


def survey(height_6_mm: float, *, only: int | None = None) -> Survey:
    """A pass over all strings or over one."""
    truth = truth_of(JOB, (*SIX[:5], height_6_mm))
    strings = [s.number for s in truth.strings] if only is None else [only]
    places = survey_positions(strings, thoroughness=Thoroughness.FULL)
    return build_survey(heard(truth, positions=places))


FIRST = FitPass(JOB, survey(START[5]))
SECOND = FitPass(JOB, survey(START[5] - OFF_MM[0], only=6))
THIRD = survey(SIX[5], only=6)


def told(*amounts: tuple[int, float]) -> SessionSettings:
    return replace(JOB, removed=tuple(Removal(n, mm) for n, mm in amounts))


def width(fit: Fit, string: int) -> float:
    belief = next(s for s in fit.strings if s.number == string).height_mm
    return belief.high - belief.low


@pytest.fixture(scope="module")
def chain() -> Fit:
    return fit_instrument(JOB, THIRD, before=[FIRST, SECOND])


def test_strings_that_were_not_played_keep_what_was_heard_before(chain: Fit) -> None:
    alone = fit_instrument(JOB, FIRST.survey)
    assert [s.number for s in chain.strings] == [1, 2, 3, 4, 5, 6]
    assert [s.heard_before for s in chain.strings] == [True] * 5 + [False]
    for number in range(1, 6):
        before, now = (f.strings[number - 1].height_mm for f in (alone, chain))
        assert now.median == pytest.approx(before.median, abs=PULL_MM)
        assert width(chain, number) < 1.02 * width(alone, number)  # more was heard of what all strings share


def test_a_slot_filed_twice_by_nobody_knows_how_much_is_where_it_is(chain: Fit) -> None:
    alone = fit_instrument(JOB, THIRD)
    assert chain.strings[5].height_mm.median == pytest.approx(SIX[5], abs=PULL_MM)
    assert width(chain, 6) < 0.95 * width(alone, 6)


def test_what_was_told_to_come_off_a_string_not_played_since_is_taken_off() -> None:
    played = survey(START[5], only=1)
    fit = fit_instrument(told((6, OFF_MM[0])), played, before=[FIRST])
    six = next(s for s in fit.strings if s.number == 6)
    assert six.heard_before
    first = fit_instrument(JOB, FIRST.survey)
    filed = first.strings[5].height_mm.median - OFF_MM[0]
    assert six.height_mm.median == pytest.approx(filed, abs=0.01)  # string 1 once more moves it little
    assert width(fit, 6) > width(first, 6)  # the removal has its own error


def test_residuals_are_those_of_the_last_pass(chain: Fit) -> None:
    assert len(chain.residuals) == len(THIRD.stopped)
    assert {r.position.string for r in chain.residuals} == {6}


def test_passes_with_nothing_filed_are_as_good_as_repeats() -> None:
    again = FitPass(JOB, survey(START[5]))
    one = fit_instrument(JOB, FIRST.survey)
    two = fit_instrument(told((1, 1e-9)), again.survey, before=[FIRST])
    assert np.all([width(two, n) < width(one, n) for n in range(2, 7)])


def test_a_shared_reading_copied_from_pass_to_pass_counts_once() -> None:
    from pitchcheck.instrument import Length

    gauged = replace(JOB, instrument=replace(JOB.instrument, fret_height=Length(1.02, 0.05)))
    once = fit_instrument(gauged, THIRD, before=[FIRST])
    copied = fit_instrument(gauged, THIRD, before=[replace(FIRST, settings=gauged)])
    assert width(copied, 6) == pytest.approx(width(once, 6), rel=1e-3)
