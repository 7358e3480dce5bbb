"""What changes the fit: a pass before, a capo, a floating bridge, no press test."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from helpers.instruments import same_takes_without_presses
from helpers.planted import SIX, heard, job_of, truth_of, usual_fit, usual_takes
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.fit import Fit, FitPass, fit_instrument
from pitchcheck.fit.result import Confounder, RemarkKind, StringFit, Unseparated
from pitchcheck.instrument import MeterQuantity, MeterReading, Removal, Tailpiece
from pitchcheck.survey import build_survey
from pitchcheck.takes import Position, Stop, Take

JOB = job_of()
PULL_MM = 0.02  # see test_fit_recovers


def width(string: StringFit) -> float:
    return string.height_mm.high - string.height_mm.low


def stretch_width(string: StringFit) -> float:
    return float(np.log(string.stretch_factor.high / string.stretch_factor.low))


def heights(fit: Fit) -> np.ndarray:
    return np.array([s.height_mm.median for s in fit.strings])


def test_a_known_removal_between_two_passes_sharpens_the_stretch() -> None:
    """The wound sixth string answers 15 % more than its packet says; 0.5 mm came off it."""
    off, number = 0.5, 6
    now = truth_of(JOB, SIX, stretch_factor={number: 1.15})
    then = truth_of(JOB, (*SIX[:5], SIX[5] + off), stretch_factor={number: 1.15})
    here, there = build_survey(heard(now)), build_survey(heard(then))
    settings = replace(JOB, removed=(Removal(number, off),))
    alone = fit_instrument(JOB, here).strings[number - 1]
    both = fit_instrument(settings, here, before=[FitPass(JOB, there)]).strings[number - 1]
    true = now.string(number).stretch_factor
    assert stretch_width(both) < 0.97 * stretch_width(alone)
    assert (
        abs(np.log(both.stretch_factor.median / true))
        <= abs(np.log(alone.stretch_factor.median / true)) + 0.002
    )
    assert both.stretch_factor.low < true < both.stretch_factor.high
    assert width(both) < width(alone)
    assert both.height_mm.median == pytest.approx(SIX[5], abs=PULL_MM)


def test_a_pass_before_is_about_the_slot_as_it_was() -> None:
    """What came off is added back for the takes of the pass before, so this pass's height is this pass's."""
    then = truth_of(JOB, (*SIX[:5], SIX[5] + 0.5))
    settings = replace(JOB, removed=(Removal(6, 0.5),))
    fit = fit_instrument(
        settings, build_survey(usual_takes()), before=[FitPass(JOB, build_survey(heard(then)))]
    )
    assert heights(fit) == pytest.approx(SIX, abs=PULL_MM)
    assert len(fit.residuals) == len(build_survey(usual_takes()).stopped)  # of this pass only


def test_a_floating_bridge_widens_stretch_and_heights_and_says_so() -> None:
    settings = replace(JOB, instrument=replace(JOB.instrument, tailpiece=Tailpiece.FLOATING))
    fit = fit_instrument(settings, build_survey(usual_takes()))
    for fixed, floating in zip(usual_fit().strings, fit.strings, strict=True):
        assert stretch_width(floating) > 1.5 * stretch_width(fixed)
        assert width(floating) > width(fixed)
    assert fit.remarks == (RemarkKind.FLOATING_BRIDGE,)
    assert usual_fit().remarks == ()


def test_fretted_notes_alone_are_wide_and_say_so() -> None:
    fit = fit_instrument(JOB, build_survey(same_takes_without_presses(usual_takes())))
    for pressed, fretted in zip(usual_fit().strings, fit.strings, strict=True):
        assert width(fretted) > 3 * width(pressed)
        assert not fretted.pressed
    assert RemarkKind.NO_PRESSES in fit.remarks
    assert fit.unseparated


def capo_takes(string: int, capo: int, *, times: int) -> tuple[Take, ...]:
    """Presses behind a capo as the forward model itself plays them; open takes under the capo around them."""
    from pitchcheck.fit.cases import CaseKind, predict
    from pitchcheck.fit.unknowns import CaseRequest, build_unknowns

    places = [Position(string, Stop.OPEN, None, capo)]
    for _ in range(times):
        places += [Position(string, Stop.PRESS, capo + n, capo) for n in (1, 2)]
        places.append(places[0])
    kinds = [CaseKind(p.stop, p.fret or 0, p.capo) for p in places]
    unknowns = build_unknowns(
        JOB.instrument, [CaseRequest(kind, string, fixed_height_mm=SIX[string - 1]) for kind in kinds]
    )
    cents = predict(unknowns.cases, unknowns.coordinates(np.zeros(len(unknowns.names))))
    nominal = JOB.instrument.string(string).nominal_hz
    return tuple(
        Take(900 + i, None, p, nominal * 2 ** ((100 * (capo + p.semitones) + c) / 1200), 0.15, float(900 + i))
        for i, (p, c) in enumerate(zip(places, cents, strict=True))
    )


def test_takes_behind_a_capo_join_in_without_moving_the_slot() -> None:
    """Behind a capo the nut is out: they tell the frets and the stretch, and through them the slot."""
    capo = tuple(take for s in (1, 6) for take in capo_takes(s, 2, times=3))
    fit = fit_instrument(JOB, build_survey((*usual_takes(), *capo)))
    assert heights(fit) == pytest.approx(heights(usual_fit()), abs=PULL_MM)
    assert stretch_width(fit.strings[5]) < stretch_width(usual_fit().strings[5])
    high, low = fit.fret_height_mm.high, fit.fret_height_mm.low
    assert high - low < usual_fit().fret_height_mm.high - usual_fit().fret_height_mm.low


def test_takes_behind_a_capo_alone_do_not_tell_the_slot() -> None:
    fit = fit_instrument(JOB, build_survey(capo_takes(6, 2, times=2)))
    (only,) = fit.strings
    # The prior itself: normal(0.45, hypot(0.40, 0.25)) cut off at -0.126 x 2.0, 90 % of it from -0.12 to 1.24
    # (tables of the normal distribution).
    assert width(only) == pytest.approx(1.36, abs=0.02)
    assert fit.unseparated == (Unseparated(6, Confounder.EVERYTHING, 1.0),)


def test_a_gauge_alone_measures_a_string_that_was_not_played() -> None:
    positions = survey_positions([1, 2, 3, 4, 5], thoroughness=Thoroughness.FULL)
    survey = build_survey(heard(truth_of(JOB, SIX), positions=positions))
    settings = replace(JOB, meter=(MeterReading(MeterQuantity.SLOT_FLOOR, 6, SIX[5] + 1.02, 0.02),))
    fit = fit_instrument(settings, survey)
    assert [s.number for s in fit.strings] == [1, 2, 3, 4, 5, 6]
    # The floor's height is exact here; the fret height it stands on is the fit's, good to a part of its sd.
    assert abs(heights(fit)[5] - SIX[5]) < width(fit.strings[5]) / 3.29
    assert fit.strings[5].first_fret_cents is None
