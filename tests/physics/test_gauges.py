"""Gauge geometry against the trade's table and against straight lines drawn by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitchcheck.errors import BadValue
from pitchcheck.instrument import Instrument, Nut, RunsBy, SessionSettings, Target
from pitchcheck.physics import gauges
from pitchcheck.session.presets import get_preset
from pitchcheck.tuning import fret_place

INCH = 25.4  # [mm] exact
TABLE_STEP_MM = 0.0005  # the table below is printed to three decimals
COARSE_STEP_MM = 0.005  # its last two rows to two decimals

# Held-at-3 gap [in]: slot height [mm] resting on fret 2, on fret 3 only. Derived once, independently of this
# code, from a fret table; the gaps themselves are common practice, no source.
HELD_AT_THREE = {
    0.002: (0.105, 0.078),
    0.003: (0.157, 0.118),
    0.005: (0.262, 0.196),
    0.006: (0.314, 0.235),
    0.010: (0.523, 0.392),
    0.012: (0.628, 0.471),
    0.060: (3.14, 2.35),
    0.100: (5.23, 3.92),
}

heights = st.floats(-0.3, 2.0)


@pytest.mark.parametrize("gap_in", HELD_AT_THREE)
def test_heights_of_the_table(gap_in: float) -> None:
    step = COARSE_STEP_MM if gap_in >= 0.06 else TABLE_STEP_MM
    on_two, on_three = HELD_AT_THREE[gap_in]
    assert gauges.height_from_third_fret_mm(gap_in * INCH) == pytest.approx(on_two, abs=step)
    assert gauges.height_from_third_fret_mm(gap_in * INCH, rests_on=3) == pytest.approx(on_three, abs=step)


def test_ratios_have_closed_forms() -> None:
    # Geometric series: 1 - x1/x2 = 1/(1 + s), 1 - x1/x3 = (1 + s)/(1 + s + s^2), s = 2^(1/12).
    s = 2 ** (1 / 12)
    assert gauges.third_fret_ratio(2) == pytest.approx(1 / (1 + s), rel=1e-12)
    assert gauges.third_fret_ratio(3) == pytest.approx((1 + s) / (1 + s + s * s), rel=1e-12)


def test_published_fret_places_give_the_same_ratio() -> None:
    # Frets 1, 2, 3 of a 647.7 mm scale from a published fret table: 36.35, 70.66, 103.05 mm, printed to 0.01.
    assert gauges.third_fret_ratio(2) == pytest.approx(1 - 36.35 / 70.66, abs=2e-4)
    assert gauges.third_fret_ratio(3) == pytest.approx(1 - 36.35 / 103.05, abs=2e-4)


@pytest.mark.parametrize(
    ("gap_in", "action_in", "height_mm"),
    # Open gaps of one supplier's data sheet (common practice); heights derived beside it, to 0.01.
    [(0.010, 0.063, 0.08), (0.023, 0.090, 0.37), (0.030, 0.140, 0.41)],
)
def test_open_gap_of_the_trade(gap_in: float, action_in: float, height_mm: float) -> None:
    got = gauges.height_from_open_mm(gap_in * INCH, action_12_mm=action_in * INCH)
    assert got == pytest.approx(height_mm, abs=0.006)


def test_open_gap_is_a_straight_line_to_the_saddle() -> None:
    scale, height, saddle = 650.0, 0.4, 3.0
    action = height + (saddle - height) * fret_place(scale, 12) / scale
    gap = height + (saddle - height) * fret_place(scale, 1) / scale
    assert gauges.open_clearance_mm(height, action_12_mm=action) == pytest.approx(gap, rel=1e-12)


def test_relief_counts_about_twice() -> None:
    # A parabola of depth 1 from fret 1 to fret 17, seen from the line through frets 1 and 3, at fret 12.
    x1, x3, x12, x17 = (fret_place(1.0, n) for n in (1, 3, 12, 17))

    def bow(x: float) -> float:
        return 4 * (x - x1) * (x - x17) / (x17 - x1) ** 2

    line = bow(x3) / (x3 - x1) * (x12 - x1)
    lift = bow(x12) - line
    assert lift == pytest.approx(2.0, abs=0.2)  # "about twice": the ends of the bow differ from neck to neck
    share = 2 * x1
    rise = gauges.open_clearance_mm(0.3, action_12_mm=1.6, relief_mm=1.0) - gauges.open_clearance_mm(
        0.3, action_12_mm=1.6
    )
    assert rise == pytest.approx(2 * share, rel=1e-9)


def test_string_touches_fret_one_below_an_eighth_of_the_action() -> None:
    low = gauges.lowest_height_mm(1.6)
    assert low == pytest.approx(-0.126 * 1.6, abs=0.002)  # docs/method.md, "Estimation"
    assert gauges.open_clearance_mm(low, action_12_mm=1.6) == pytest.approx(0.0, abs=1e-12)


@given(heights, st.floats(0.5, 5.0), st.floats(0.0, 0.6))
def test_every_gauge_runs_both_ways(height: float, action: float, relief: float) -> None:
    there = gauges.open_clearance_mm(height, action_12_mm=action, relief_mm=relief)
    assert gauges.height_from_open_mm(there, action_12_mm=action, relief_mm=relief) == pytest.approx(height)
    held = gauges.third_fret_clearance_mm(height)
    assert gauges.height_from_third_fret_mm(held) == pytest.approx(height)


def of_kind(kind: str, **changes: object) -> SessionSettings:
    preset = get_preset(kind)
    target = Target(**{key: changes.pop(key) for key in ("runs_by",) if key in changes})
    instrument = Instrument(preset.words, preset.scale_mm, preset.strings, **changes)
    return SessionSettings(instrument, target)


def test_targets_run_straight_from_the_first_string_to_the_last() -> None:
    guitar = of_kind("electric")
    heights = [gauges.slot_target_mm(guitar, n) for n in range(1, 7)]
    assert heights[0] == pytest.approx(0.314, abs=TABLE_STEP_MM)
    assert heights[-1] == pytest.approx(0.523, abs=TABLE_STEP_MM)
    steps = [b - a for a, b in pairwise(heights)]
    assert all(math.isclose(step, steps[0]) for step in steps)
    strings = tuple(
        replace(s, target_height_mm=0.3) if s.number == 3 else s for s in guitar.instrument.strings
    )
    own = replace(guitar, instrument=replace(guitar.instrument, strings=strings))
    assert gauges.slot_target_mm(own, 3) == 0.3
    alone = replace(guitar, instrument=replace(guitar.instrument, strings=guitar.instrument.strings[3:4]))
    assert gauges.slot_target_mm(alone, 4) == heights[0]


def test_by_thickness_a_high_fourth_string_gets_the_gap_of_a_thin_one() -> None:
    ukulele = of_kind("tenor ukulele", runs_by=RunsBy.THICKNESS)  # .024, .0285, .034 and .026 in
    heights = {n: gauges.slot_target_mm(ukulele, n) for n in (1, 2, 3, 4)}
    assert heights[1] == pytest.approx(0.314, abs=TABLE_STEP_MM)
    assert heights[3] == pytest.approx(0.523, abs=TABLE_STEP_MM)
    assert heights[4] == pytest.approx(
        0.314 + 0.2 * (0.523 - 0.314), abs=2 * TABLE_STEP_MM
    )  # 2 of 10 thou up
    floors = [gauges.buzz_floor_mm(ukulele, n) for n in (1, 4, 3)]
    assert floors == pytest.approx([0.05, 0.06, 0.10])


def test_a_zero_fret_belongs_into_the_plane_of_the_others() -> None:
    zero = of_kind("electric", nut=Nut.ZERO_FRET)
    for number in (1, 6):
        assert gauges.slot_target_mm(zero, number) == 0.0
        assert gauges.buzz_floor_mm(zero, number) < 0.0


def test_a_contact_that_cannot_be_is_refused() -> None:
    with pytest.raises(BadValue, match="fret 2 or on fret 3"):
        gauges.third_fret_ratio(1)
