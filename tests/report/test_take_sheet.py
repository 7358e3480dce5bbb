"""The take sheet and its drawings: where needed, mirrored for a left hand, fresh in the documents."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from bench.draw_press import files
from helpers.browser import open_browser, paper, probe, sheets, shown, violations
from helpers.imports import ROOT
from helpers.measurement import USUAL, measurement
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.instrument import Handedness
from pitchcheck.report.render import render_page, render_take_sheet
from pitchcheck.takes import Position, Stop
from pitchcheck.units import LengthUnit

INSTRUMENT = measurement(USUAL).settings.instrument
BASE = survey_positions(range(1, 7), thoroughness=Thoroughness.BASE)
SHEETS = {Thoroughness.BASE: 1, Thoroughness.QUICK: 1, Thoroughness.FULL: 2}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with open_browser() as opened:
        yield opened


@pytest.mark.parametrize("course", SHEETS, ids=str)
def test_it_prints_on_as_many_sheets_as_promised(browser: Any, course: Thoroughness) -> None:
    source = render_take_sheet(INSTRUMENT, survey_positions(range(1, 7), thoroughness=course))
    assert sheets(paper(browser, source)) == SHEETS[course]


def test_on_a_phone_nothing_sticks_out_and_a_checker_finds_nothing(browser: Any) -> None:
    leaf = (Position(1, Stop.OPEN, None), Position(1, Stop.LEAF, 1, leaf_mm=0.4))
    source = render_take_sheet(INSTRUMENT, (*BASE, *leaf))
    seen = probe(browser, source, width=360, scheme="dark")
    assert [seen[key] for key in ("out", "cut", "small", "over")] == [[]] * 4
    assert violations(browser, source, width=360, scheme="light") == []


def test_a_drawing_and_a_sentence_stand_where_there_is_something_to_do() -> None:
    sheet = render_take_sheet(INSTRUMENT, BASE)
    assert 'id="press-title"' in sheet
    assert "rod upright" in sheet
    assert 'id="leaf-title"' not in sheet
    assert "as you normally fret" not in sheet  # the base course has no fretted note
    opens = tuple(place for place in BASE if place.stop is Stop.OPEN)
    assert 'id="press-title"' not in render_take_sheet(INSTRUMENT, opens)


def test_the_scale_length_is_told_as_it_was_given() -> None:
    assert "scale 648.0\u00a0mm" in render_take_sheet(INSTRUMENT, BASE)
    assert "scale 25.51 in" in render_take_sheet(INSTRUMENT, BASE, unit=LengthUnit.THOU)  # 648 / 25.4


WHERE = """
() => {
  const drawn = "[aria-labelledby^=nut-wide] text, [aria-labelledby^=slot-1] text", found = {};
  for (const word of document.querySelectorAll(drawn)) {
    const box = word.getBoundingClientRect();
    found[word.textContent] = box.x + box.width / 2;
  }
  return found;
}
"""


def test_a_left_handed_instrument_is_drawn_mirrored(browser: Any) -> None:
    """Words keep their reading direction, and what stood left of something stands right of it."""
    whole = measurement(USUAL)
    left = replace(whole.settings.instrument, hand=Handedness.LEFT)
    found = {}
    for hand, one in (
        ("right", whole),
        ("left", replace(whole, settings=replace(whole.settings, instrument=left))),
    ):
        with shown(browser, render_page(one), width=1200) as page:
            found[hand] = page.evaluate(WHERE)
    assert found["right"]["E2"] < found["right"]["E4"]
    assert found["left"]["E2"] > found["left"]["E4"]
    assert found["right"]["nut"] < found["right"]["fret 1"]
    assert found["left"]["nut"] > found["left"]["fret 1"]


def test_the_documents_show_the_same_drawings() -> None:
    """Fresh with: PYTHONPATH=tests python tests/bench/draw_press.py docs/pictures"""
    for name, text in files().items():
        assert (ROOT / "docs" / "pictures" / name).read_text(encoding="utf-8") == text
        assert f"pictures/{name}" in "".join(
            path.read_text(encoding="utf-8") for path in (ROOT / "docs").glob("*.md")
        )
