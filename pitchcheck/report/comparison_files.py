"""A comparison as JSON and as CSV.

Format version 1: the first. Numbers are unrounded; one that is not known becomes null, or an empty cell.
Fields may be added, never changed.
"""

from __future__ import annotations

import csv
import json
from typing import Any

from pitchcheck.chords import Chord, chord_table
from pitchcheck.compare import Comparison
from pitchcheck.compare.records import PositionChange, SlotChange
from pitchcheck.fit.result import Fit
from pitchcheck.instrument import Instrument
from pitchcheck.report.json_out import json_belief, json_number
from pitchcheck.words.assumptions import assumption, heard_in, weakness

SCHEMA = 1
CSV_HEADS = (
    "string", "note", "stop", "fret", "capo", "before_takes", "before_cents", "after_takes", "after_cents",
    "change_cents", "change_sd_cents", "slot_before_mm", "slot_after_mm", "slot_change_mm",
    "slot_change_low_mm", "slot_change_high_mm", "lower_belief", "change", "noted_mm", "match", "verdict_now",
)  # fmt: skip


class _Sink:
    """Keeps what a CSV writer writes; the core knows no ``io``."""

    def __init__(self) -> None:
        self.parts: list[str] = []

    def write(self, text: str) -> None:
        self.parts.append(text)


def comparison_json(comparison: Comparison, *, instrument: Instrument | None = None) -> str:
    """Return a comparison as JSON text, ending in a newline.

    Parameters
    ----------
    comparison : Comparison
    instrument : Instrument, optional
        With it the usual open chords are told before and now.
    """
    content = {
        "schema": SCHEMA,
        "strings": [_string(slot) for slot in comparison.strings],
        "chords": [] if instrument is None else _chords(comparison, instrument),
        "repeats": [
            {
                "stop": r.stop.value,
                "fret": r.fret,
                "repeats": r.pairs,
                "sd_cents": json_number(r.sd_cents),
                "usual_sd_cents": json_number(r.expected_cents),
            }
            for r in comparison.repeats
        ],
        "scatter": json_number(comparison.scatter),
        "assumed": [assumption(what) for what in comparison.assumptions],
        "notes": [*map(weakness, comparison.weaknesses), *map(heard_in, comparison.heard_in)],
    }
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def comparison_csv(comparison: Comparison) -> str:
    """Return a comparison as CSV: one row for every place that was played before and after.

    A string without such a place has one row without one; what is said of a slot is in each of its rows.
    """
    sink = _Sink()
    rows = csv.writer(sink, lineterminator="\n")
    rows.writerow(CSV_HEADS)
    for slot in comparison.strings:
        for place in slot.positions or (None,):
            rows.writerow((slot.number, slot.note, *_place_cells(place), *_slot_cells(slot)))
    return "".join(sink.parts)


def _string(slot: SlotChange) -> dict[str, Any]:
    """Return one string."""
    return {
        "number": slot.number,
        "note": slot.note,
        "before_mm": json_belief(slot.before_mm),
        "after_mm": json_belief(slot.after_mm),
        "change_mm": json_belief(slot.change_mm),
        "lower_belief": json_number(slot.lower_belief),
        "change": slot.change.value,
        "noted_mm": json_number(slot.told_mm),
        "match": slot.match.value,
        "target_mm": json_number(slot.target_mm),
        "floor_mm": json_number(slot.floor_mm),
        "low_belief": json_number(slot.low_belief),
        "verdict_now": slot.verdict.value,
        "takes": [_place(place) for place in slot.positions],
    }


def _place(place: PositionChange) -> dict[str, Any]:
    """Return the takes at one place."""
    where = place.position
    return {
        "stop": where.stop.value,
        "fret": where.fret,
        "capo": where.capo,
        "before": {"takes": place.before_takes, "error_cents": json_number(place.before_cents)},
        "after": {"takes": place.after_takes, "error_cents": json_number(place.after_cents)},
        "change_cents": json_number(place.change_cents),
        "sd_cents": json_number(place.sd_cents),
        "expected_cents": json_number(place.expected_cents),
    }


def _chords(comparison: Comparison, instrument: Instrument) -> list[dict[str, Any]]:
    """Return the usual open chords that both passes tell."""
    was, now = (_by_name(instrument, fit) for fit in (comparison.before, comparison.after))
    return [
        {
            "name": name,
            "before_cents": json_number(was[name].worst_now.now_cents),
            "after_cents": json_number(now[name].worst_now.now_cents),
            "before_beat_hz": json_number(was[name].worst_now.now_beat_hz),
            "after_beat_hz": json_number(now[name].worst_now.now_beat_hz),
        }
        for name in was
        if name in now
    ]


def _by_name(instrument: Instrument, fit: Fit | None) -> dict[str, Chord]:
    return {} if fit is None else {chord.name: chord for chord in chord_table(instrument, fit)}


def _place_cells(place: PositionChange | None) -> tuple[object, ...]:
    """Return the cells of one place, empty for none."""
    if place is None:
        return ("",) * 9
    where = place.position
    return (
        where.stop.value,
        where.fret,
        where.capo,
        place.before_takes,
        _cell(place.before_cents),
        place.after_takes,
        _cell(place.after_cents),
        _cell(place.change_cents),
        _cell(place.sd_cents),
    )


def _slot_cells(slot: SlotChange) -> tuple[object, ...]:
    """Return the cells of one slot."""
    change = slot.change_mm
    ends = (None, None, None) if change is None else (change.median, change.low, change.high)
    heights = (None if h is None else h.median for h in (slot.before_mm, slot.after_mm))
    numbers = (*heights, *ends, slot.lower_belief)
    return (
        *(_cell(number) for number in numbers),
        slot.change.value,
        _cell(slot.told_mm),
        slot.match.value,
        slot.verdict.value,
    )


def _cell(value: float | None) -> str:
    """Return a number with six digits after the point; nothing for one that is missing."""
    number = json_number(value)
    return "" if number is None else f"{number:.6f}"
