"""The bench sheet never tells to file slots and to cut the bottom of the nut in one pass."""

from __future__ import annotations

from helpers.measurement import Extras, Slot, measurement
from pitchcheck.plan import NutBottom
from pitchcheck.report.bench_sheet import bench_sheet
from pitchcheck.report.slots import BOTTOM_INSTEAD

FILE_OFF = -1  # column of the table
ALL_HIGH = tuple(Slot(height_mm=0.9, sd_mm=0.04) for _ in range(6))


def test_a_cut_at_the_bottom_rules_out_the_file_in_the_table() -> None:
    rows = bench_sheet(measurement(ALL_HIGH, extras=Extras(bottom=NutBottom(0.2, 0.2)))).rows
    assert [row[FILE_OFF] for row in rows] == [BOTTOM_INSTEAD] * 6


def test_without_it_each_slot_has_its_amount() -> None:
    rows = bench_sheet(measurement(ALL_HIGH)).rows
    assert all("mm" in row[FILE_OFF] for row in rows)
