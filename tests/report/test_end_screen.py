"""The end of a measurement on one screen of 80 x 24: answer first, amounts last, no sentence twice."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from helpers.folders import FIXTURES
from helpers.job import NOTHING_DONE, ODD, TWO_LOWERED, UNHEARD, Moved, comparison
from helpers.job import TWELVE as TWELVE_MOVED
from helpers.measurement import (
    ALL_FINE,
    ALL_HIGH,
    BUSY,
    EVERY_FINDING,
    TWELVE,
    TWO_HIGH_REST_FINE,
    USUAL,
    Extras,
    Slot,
    measurement,
)
from helpers.terminal import COLUMNS, LINES, screen_after
from pitchcheck.errors import Problem
from pitchcheck.instrument import MeterQuantity, MeterReading, Nut
from pitchcheck.measurement import Measurement
from pitchcheck.plan import NutBottom
from pitchcheck.report.end_screen import comparison_screen, end_screen
from pitchcheck.units import LengthUnit
from pitchcheck.words import comparison as change_words

BAD_SETTING = Problem(
    "session.toml", None, "meter[2].value", "'0.1'", "it must be a length with its unit", 'Write "0.1 mm".'
)
MISSING = tuple(
    Problem(
        "takes.csv", row, "file", f"{row:03d}.wav", "the file is missing", "Record it, or delete the row."
    )
    for row in range(1, 97)
)
NOTHING = (Slot(None),) * 6
CASES: dict[str, Measurement] = {
    "usual": measurement(USUAL),
    "busy": measurement(USUAL, extras=replace(BUSY, findings=EVERY_FINDING)),
    "fine": measurement(ALL_FINE),
    "nothing": measurement(NOTHING, extras=Extras(bad_takes=True)),
    "bottom": measurement(ALL_HIGH, extras=Extras(bottom=NutBottom(0.40, 0.32))),
    "locking": measurement(USUAL, extras=Extras(nut=Nut.LOCKING)),
    "twelve": measurement(TWELVE),
    "twelve faulty": replace(measurement(TWELVE), problems=(*MISSING, BAD_SETTING)),
    "one": measurement((Slot(0.31),)),
    "low": measurement((Slot(-0.05), *USUAL[1:])),
}


@pytest.fixture(params=CASES)
def case(request: pytest.FixtureRequest) -> Measurement:
    return CASES[request.param]


def test_it_fits_one_screen_with_room_for_the_prompt(case: Measurement) -> None:
    shown = end_screen(case)
    assert len(shown) <= LINES - 1
    assert max(len(line) for line in shown) <= COLUMNS


def test_every_string_is_on_it_and_no_sentence_twice(case: Measurement) -> None:
    shown = [line for line in end_screen(case) if line]
    assert len(shown) == len(set(shown))
    heads = [line.split()[0] for line in shown if line[:1].isdigit()]
    assert heads == [str(plan.number) for plan in case.plan.strings]


def test_the_amounts_stand_last() -> None:
    shown = end_screen(CASES["usual"])
    assert shown[-1] == "File off the slot now, at most: string 5: 0.15 mm, string 6: 0.20 mm."
    assert shown[-3].startswith("Eye protection on")
    assert end_screen(CASES["fine"])[-1] == "File nothing now."
    assert end_screen(CASES["locking"])[-1] == "File nothing."
    bottom = end_screen(CASES["bottom"])
    assert bottom[-1] == "Off the bottom of the nut now, at most: bass end 0.40 mm, treble end 0.32 mm."
    assert sum("0.40 mm" in line for line in bottom) == 1


def test_the_gap_and_where_to_stop_are_those_of_a_leaf() -> None:
    """0.4856 of the slot height (fret table); targets 0.010 and 0.006 in (common practice)."""
    rows = {line.split()[0]: line.split() for line in end_screen(CASES["usual"]) if line[:1].isdigit()}
    assert rows["6"][:7] == ["6", "E2", "0.42", "0.39", "to", "0.45", "0.25"]
    assert rows["5"][6] == "0.23"


def test_what_a_gauge_read_stands_beside_the_sound() -> None:
    whole = measurement(USUAL)
    read = MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, 0.40, 0.02)
    shown = end_screen(replace(whole, settings=replace(whole.settings, meter=(read,))))
    assert any("gauged" in line for line in shown)
    row = next(line for line in shown if line.startswith("6 E2"))
    assert row.split()[6] == "0.40"


def test_a_bad_setting_comes_first_and_many_of_a_kind_are_one_line() -> None:
    shown = end_screen(CASES["twelve faulty"])
    assert "meter[2].value" in shown[0]
    assert "and 1 more in the input; --all lists them." in shown
    missing = end_screen(replace(measurement(USUAL), problems=MISSING))
    assert missing[0].startswith("takes.csv, 96 rows (1 to 96), file: the file is missing.")


def test_one_unit_chosen_once() -> None:
    shown = "\n".join(end_screen(CASES["busy"].shown_in(LengthUnit.THOU)))
    assert " mm" not in shown
    assert "in thou" in shown
    assert " thou" not in "\n".join(end_screen(CASES["busy"]))


def test_a_cut_at_the_bottom_rules_out_the_file_in_the_table() -> None:
    rows = [line for line in end_screen(CASES["bottom"]) if line[:1].isdigit()]
    assert len(rows) == 6
    assert all(line.endswith("see below") for line in rows)


def test_the_answer_is_the_first_line() -> None:
    assert end_screen(measurement(TWO_HIGH_REST_FINE))[0] == "It is the nut: strings 5 and 6 are too high."
    assert end_screen(CASES["fine"])[0] == "It is not the nut: all six slots are fine."


def test_measure_in_a_terminal_ends_on_one_screen(tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    shown = screen_after("measure", FIXTURES / "session-readings", "--report", page)
    assert shown[0].startswith("Report written to")
    assert any(line.startswith("It is the nut: all six slots are too high.") for line in shown)
    words = " ".join(shown).split("File off the slot now, at most:")[1]
    assert words.count("string") == 6  # six slots, each with an amount of its own
    assert words.rstrip().endswith(".")


@pytest.mark.parametrize("moved", [TWO_LOWERED, NOTHING_DONE, ODD, TWELVE_MOVED, UNHEARD])
def test_a_comparison_fits_one_screen_and_ends_with_the_answer(moved: tuple[Moved, ...]) -> None:
    compared = comparison(moved)
    shown = comparison_screen(compared, title="parlour: before against final", unit=LengthUnit.MM)
    assert len(shown) <= LINES - 1
    assert max(len(line) for line in shown) <= COLUMNS
    rows = [line.split()[0] for line in shown if line[:1].isdigit()]
    assert rows == [str(slot.number) for slot in compared.strings]
    assert " ".join(shown).endswith(change_words.headline(compared.strings))


def test_what_is_too_low_comes_right_after_the_title() -> None:
    shown = comparison_screen(comparison(ODD), title="parlour", unit=LengthUnit.MM)
    assert shown[1].startswith("String 1: now too low.")


def test_leaves_are_told_as_what_they_bound() -> None:
    whole = measurement(USUAL)
    leaf = MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, 0.42, 0.012, passes_mm=0.40, stops_mm=0.45)
    shown = end_screen(replace(whole, settings=replace(whole.settings, meter=(leaf,))))
    assert " 0.40 to 0.45 " in next(line for line in shown if line.startswith("6 E2"))


@pytest.mark.slow
def test_the_demo_in_a_terminal_ends_on_one_screen(tmp_path: Path) -> None:
    shown = screen_after("demo", "--keep", "kept", cwd=tmp_path)
    text = " ".join(shown)
    assert "It is the nut: strings 2 and 5 are too high." in text
    assert "in truth" in text
    assert "File off the slot now, at most: string 2" in text
