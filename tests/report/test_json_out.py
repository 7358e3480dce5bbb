"""Takes to be played next, as the JSON tells them: a row of a table of takes can be written from an item."""

from __future__ import annotations

import json
from dataclasses import replace

from helpers.measurement import measurement
from pitchcheck.report.json_out import measurement_json
from pitchcheck.takes import Position, Stop


def test_a_leaf_take_tells_its_leaf_as_a_number_and_as_tables_have_it() -> None:
    whole = measurement()
    asked = (Position(6, Stop.OPEN), Position(6, Stop.LEAF, 1, leaf_mm=0.4), Position(6, Stop.OPEN))
    told = json.loads(measurement_json(replace(whole, plan=replace(whole.plan, next_takes=asked))))
    reference = {"string": 6, "stop": "open", "fret": None, "capo": 0}
    leaf = {"string": 6, "stop": "leaf", "fret": 1, "capo": 0, "leaf_mm": 0.4, "leaf": "0.40 mm"}
    assert told["next_takes"] == [reference, leaf, reference]
