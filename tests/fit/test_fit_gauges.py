"""Gauge readings join the ear: they help, and one that cannot be true is questioned and left out."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from bench.fit_bench import FULL, GAUGE_MM, fit_of, folders, gauged, load
from helpers.planted import SIX, heard, job_of, truth_of, usual_fit, usual_takes
from pitchcheck.fit import Fit, fit_instrument
from pitchcheck.fit.gauges import BAD, BAD_SD_MM, _site
from pitchcheck.fit.priors import ARCH_PART, BREAK_RAD
from pitchcheck.fit.result import UnsettledKind
from pitchcheck.instrument import Length, MeterQuantity, MeterReading, SessionSettings
from pitchcheck.physics.gauges import open_clearance_mm, third_fret_clearance_mm
from pitchcheck.physics.materials import string_constants
from pitchcheck.physics.stops import SADDLE_BREAK_RAD
from pitchcheck.survey import build_survey
from pitchcheck.units import MM_PER_INCH

JOB = job_of()
TRUTH = truth_of(JOB, SIX)
# A wound E2 arches over its nut by lambda theta / 2 above the straight line, and keeps most of that.
ARCH_MM = (
    string_constants(JOB.instrument.string(6), scale_mm=JOB.instrument.scale_mm).bend_mm * BREAK_RAD[0] / 2
)
KEPT_MM = ARCH_PART["steel"][0] * ARCH_MM
# Open it arches over the saddle too; at fret 1 the two share as the straight line does, 1 - 2^(-1/12) of the
# length from the nut.
AT_1 = 1 - 2 ** (-1 / 12)
OPEN_MM = KEPT_MM * (1 - AT_1 + AT_1 * SADDLE_BREAK_RAD / BREAK_RAD[0])
# Held down behind fret 3 it arches over the nut and over fret 2; over fret 1 is left what the lever of its
# place leaves, x_1/x_2 = 0.5144 (frets by the twelfth root of 2) from the nut.
LEVER = 0.5144
SPACE_MM = JOB.instrument.scale_mm * (2 ** (-2 / 12) - 2 ** (-3 / 12))
KINK_RAD = TRUTH.fret_height_mm / (SPACE_MM - 9.0)  # down onto the board 9 mm behind the fret
HELD_MM = (1 - LEVER) * KEPT_MM + LEVER * ARCH_MM / BREAK_RAD[0] * KINK_RAD


def with_meter(*readings: MeterReading) -> Fit:
    return fit_instrument(replace(JOB, meter=readings), build_survey(usual_takes()))


def widths(fit: Fit) -> np.ndarray:
    return np.array([s.height_mm.high - s.height_mm.low for s in fit.strings])


@pytest.mark.parametrize(
    ("what", "reading_mm"),
    [
        (MeterQuantity.CLEARANCE_THIRD, third_fret_clearance_mm(SIX[5]) + HELD_MM),
        # Relief and action as simulated.
        (MeterQuantity.CLEARANCE_OPEN, open_clearance_mm(SIX[5], action_12_mm=2.0, relief_mm=0.15) + OPEN_MM),
        (MeterQuantity.SLOT_FLOOR, SIX[5] + TRUTH.fret_height_mm),
    ],
)
def test_a_true_reading_of_one_slot_narrows_it_and_moves_it_little(
    what: MeterQuantity, reading_mm: float
) -> None:
    fit = with_meter(MeterReading(what, 6, reading_mm, GAUGE_MM))
    assert not fit.meter[0].questioned
    assert fit.strings[5].height_mm.median == pytest.approx(SIX[5], abs=1.5 * GAUGE_MM)
    assert (
        widths(fit)[5] < 0.9 * widths(usual_fit())[5]
    )  # the loosest: how much of its arch a wound string keeps, action and relief
    assert np.all(
        widths(fit) < 1.001 * widths(usual_fit())
    )  # nobody else gets wider; 0.001: the point of the slopes moves


def test_a_reading_tells_its_slot_as_well_as_gauge_and_ear_together_can() -> None:
    """Two independent measurements: 1/sd^2 adds up (GUM, weighted mean); the gap is 0.4856 of the height."""
    fit = with_meter(
        MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, third_fret_clearance_mm(SIX[5]) + HELD_MM, GAUGE_MM)
    )
    string = JOB.instrument.string(6)
    bend_mm = string_constants(string, scale_mm=JOB.instrument.scale_mm).bend_mm
    part, part_sd = ARCH_PART["steel"]
    # Neither the angle behind the nut is known nor how much of its arch the string keeps.
    arch_mm = (1 - LEVER) * bend_mm / 2 * math.hypot(part_sd * BREAK_RAD[0], part * BREAK_RAD[1])
    ear, gauge = widths(usual_fit())[5] / 3.29, math.hypot(GAUGE_MM, arch_mm) / 0.4856
    # The frets' own errors of 0.02 mm enter both, so the two are not quite independent.
    assert widths(fit)[5] / 3.29 == pytest.approx((ear**-2 + gauge**-2) ** -0.5, rel=0.15)


@pytest.mark.parametrize("which", [0, 2, 3, 6])
def test_one_slot_gauged_never_makes_another_worse_by_more_than_its_interval(which: int) -> None:
    known = load(folders(FULL)[which], np.random.default_rng(which))
    ear, both = fit_of(known), fit_of(gauged(known, np.random.default_rng(100 + which)))
    for alone, after in zip(ear.strings, both.strings, strict=True):
        truth = known.heights_mm[alone.number]
        worse = abs(after.height_mm.median - truth) - abs(alone.height_mm.median - truth)
        assert worse <= (after.height_mm.high - after.height_mm.low) / 2


def test_a_slipped_decimal_point_is_questioned_named_and_left_out() -> None:
    """0.06 in written for 0.006 in."""
    gap_in = 0.006
    low = truth_of(JOB, (gap_in * MM_PER_INCH / 0.4856, *SIX[1:]))
    survey = build_survey(heard(low))
    slip = MeterReading(MeterQuantity.CLEARANCE_THIRD, 1, 10 * gap_in * MM_PER_INCH, GAUGE_MM)
    ear = fit_instrument(JOB, survey)
    fit = fit_instrument(replace(JOB, meter=(slip,)), survey)
    (row,) = fit.meter
    assert row.questioned
    assert row.read_mm == slip.value_mm
    assert row.likely_slip_mm == pytest.approx(gap_in * MM_PER_INCH)
    assert heights(fit) == pytest.approx(
        heights(ear), abs=0.002
    )  # solved once more from where it was: settled


def test_a_reading_that_no_slip_explains_is_questioned_without_a_name() -> None:
    fit = with_meter(
        MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, 3 * third_fret_clearance_mm(SIX[5]), GAUGE_MM)
    )
    assert fit.meter[0].questioned
    assert fit.meter[0].likely_slip_mm is None


def test_a_good_reading_stays_when_another_is_questioned() -> None:
    good = MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, third_fret_clearance_mm(SIX[5]), GAUGE_MM)
    bad = MeterReading(MeterQuantity.CLEARANCE_THIRD, 2, 1.6, GAUGE_MM)
    both = with_meter(bad, good)
    assert [row.questioned for row in both.meter] == [True, False]
    assert heights(both) == pytest.approx(heights(with_meter(good)), abs=0.002)  # settled, as above


def test_a_stated_fret_height_that_cannot_be_is_left_out_with_a_note() -> None:
    def stated(value_mm: float) -> SessionSettings:
        return replace(JOB, instrument=replace(JOB.instrument, fret_height=Length(value_mm, 0.05)))

    true = fit_instrument(stated(TRUTH.fret_height_mm), build_survey(usual_takes()))
    assert true.unsettled == ()
    assert np.all(widths(true) < 1.001 * widths(usual_fit()))
    told, heard_only = true.fret_height_mm, usual_fit().fret_height_mm
    assert told.high - told.low < heard_only.high - heard_only.low
    false = fit_instrument(stated(0.102), build_survey(usual_takes()))
    (wrong,) = false.unsettled
    assert (wrong.kind, wrong.quantity) == (UnsettledKind.STATED_LENGTH, MeterQuantity.FRET_HEIGHT)
    assert (wrong.read_mm, wrong.strings) == (0.102, (1, 2, 3, 4, 5, 6))
    assert heights(false) == pytest.approx(heights(usual_fit()), abs=0.002)


def heights(fit: Fit) -> np.ndarray:
    return np.array([s.height_mm.median for s in fit.strings])


def test_an_odd_reading_moves_the_other_slots_less_than_in_proportion() -> None:
    """The slot is known: the reading is off by so many standard deviations of ear and gauge."""
    true_mm = third_fret_clearance_mm(SIX[5]) + HELD_MM
    sd_mm = with_meter(MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, true_mm, GAUGE_MM)).meter[0].sd_mm

    def moved(off_sd: float) -> np.ndarray:
        reading = MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, true_mm + off_sd * sd_mm, GAUGE_MM)
        fit = with_meter(reading)
        assert not fit.meter[0].questioned
        return np.array([s.height_mm.median for s in fit.strings])

    true = moved(0.0)
    one, far = (np.abs(moved(off) - true)[:5].max() for off in (1.0, 2.7))
    assert one > 0.002
    assert far < 0.75 * 2.7 * one


@pytest.mark.parametrize("off", [-0.05, 0.0, 0.04])
def test_the_reading_that_stands_for_a_perhaps_bad_one_has_its_effect(off: float) -> None:
    """Held against the mixture itself, summed on a grid."""
    spread, noise = 0.03**2, 0.013**2
    gap = np.linspace(-0.4, 0.4, 40001)
    good = stats.norm.pdf(off, gap, math.sqrt(noise))
    bad = stats.norm.pdf(off, gap, math.sqrt(noise + BAD_SD_MM**2))
    belief = stats.norm.pdf(gap, 0.0, math.sqrt(spread)) * ((1 - BAD) * good + BAD * bad)
    belief /= belief.sum()
    mean = float(belief @ gap)
    variance = float(belief @ (gap - mean) ** 2)
    value, site = _site(1.0 + off, noise, 1.0, spread)
    after = 1 / (1 / spread + 1 / site)
    assert after == pytest.approx(variance, rel=1e-3)
    assert after * (value - 1.0) / site == pytest.approx(mean, abs=1e-5)
