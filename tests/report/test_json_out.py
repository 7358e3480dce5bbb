"""What is worth playing or measuring next, as the JSON tells it: enough for a row of a table of takes."""

from __future__ import annotations

import json
from dataclasses import replace

from helpers.measurement import measurement
from pitchcheck.plan import SharedLength, WorthTelling
from pitchcheck.report.bench_sheet import bench_sheet
from pitchcheck.report.json_out import measurement_json
from pitchcheck.report.render import render_page
from pitchcheck.takes import Narrowing, Position, Stop


def test_a_leaf_take_tells_its_leaf_as_a_number_and_as_tables_have_it() -> None:
    whole = measurement()
    asked = (Position(6, Stop.OPEN), Position(6, Stop.LEAF, 1, leaf_mm=0.4), Position(6, Stop.OPEN))
    told = json.loads(measurement_json(replace(whole, plan=replace(whole.plan, next_takes=asked))))
    reference = {"string": 6, "stop": "open", "fret": None, "capo": 0}
    leaf = {"string": 6, "stop": "leaf", "fret": 1, "capo": 0, "leaf_mm": 0.4, "leaf": "0.40 mm"}
    assert told["next_takes"] == [reference, leaf, reference]


def test_a_length_worth_measuring_is_told_in_numbers_on_the_page_and_on_the_sheet() -> None:
    whole = measurement()
    worth = WorthTelling(SharedLength.BEHIND_NUT, Narrowing(6, 0.12, 0.25, (4, 5)))
    asked = replace(whole, plan=replace(whole.plan, lengths=(worth,)))
    expected = {"what": "behind_nut", "string": 6, "half_width_mm": 0.12, "narrows_by": 0.25, "helps": [4, 5]}
    assert json.loads(measurement_json(asked))["lengths"] == [expected]
    assert json.loads(measurement_json(whole))["lengths"] == []
    sheet = "\n".join(line for section in bench_sheet(asked).sections for line in section.lines)
    for shown in (render_page(asked).replace("\xa0", " "), sheet):
        assert "Measure the fall behind the nut" in shown
        assert "±0.09 instead of ±0.12 mm" in shown
    assert "Measure the fall behind the nut" not in render_page(whole)
