"""The measurement as JSON: the fields of docs/formats.md, in their order.

Format version 1: the first. Numbers are unrounded; one that is not finite becomes null.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

from pitchcheck.chords import Chord, Interval, chord_table
from pitchcheck.diagnosis import Finding
from pitchcheck.errors import Problem
from pitchcheck.findings import Question
from pitchcheck.fit.belief import Belief
from pitchcheck.measurement import Measurement
from pitchcheck.plan import NextTake, NutBottom, StringPlan, WorthTelling
from pitchcheck.survey import first_fret_cents
from pitchcheck.takes import Position, Take
from pitchcheck.words.doubts import doubt
from pitchcheck.words.evidence import finding_lines, lines
from pitchcheck.words.slots import slot_doubt
from pitchcheck.words.steps import narrowing

SCHEMA = 1


def measurement_json(measurement: Measurement) -> str:
    """Return a measurement as JSON text, ending in a newline."""
    return json_text(measurement_fields(measurement))


def measurement_fields(measurement: Measurement) -> dict[str, Any]:
    """Return a measurement as the fields of its JSON."""
    fit, plan = measurement.fit, measurement.plan
    return {
        "schema": SCHEMA,
        "instrument": {
            "fret_height_mm": json_belief(fit.fret_height_mm if fit else None),
            "nut_offset_mm": json_belief(fit.nut_offset_mm if fit else None),
        },
        "strings": [_string(string, measurement) for string in plan.strings],
        "plan": _bottom(plan.nut_bottom),
        "findings": [_finding(finding) for finding in measurement.findings],
        "suspects": list(measurement.suspects),
        "questions": [_question(question) for question in measurement.questions],
        "next_take": _next(plan.next_take),
        "next_takes": [_place(place) for place in plan.next_takes],
        "lengths": [_length(worth) for worth in plan.lengths],
        "chords": _chords(measurement),
        "takes": _takes(measurement),
        "errors": [_problem(problem) for problem in measurement.problems],
    }


def refusal_json(problems: Sequence[Problem]) -> str:
    """Return the same fields for a folder whose settings cannot be used: only ``errors`` is filled."""
    return json_text(refusal_fields(problems))


def refusal_fields(problems: Sequence[Problem]) -> dict[str, Any]:
    """Return the fields of a folder whose settings cannot be used."""
    return {
        "schema": SCHEMA,
        "instrument": {"fret_height_mm": json_belief(None), "nut_offset_mm": json_belief(None)},
        "strings": [],
        "plan": None,
        "findings": [],
        "suspects": [],
        "questions": [],
        "next_take": None,
        "next_takes": [],
        "lengths": [],
        "chords": [],
        "takes": [],
        "errors": [_problem(problem) for problem in problems],
    }


def json_text(content: dict[str, Any]) -> str:
    """Return JSON that every reader accepts: no NaN, no infinity, ASCII only."""
    return json.dumps(content, indent=1, allow_nan=False) + "\n"


def json_number(value: float | None) -> float | None:
    """Return a plain finite number, or None."""
    return None if value is None or not math.isfinite(value) else float(value)


def json_belief(belief: Belief | None) -> dict[str, float | None]:
    """Return median and 90 % interval; nulls where nothing is known."""
    if belief is None:
        return {"median": None, "low": None, "high": None}
    return {
        "median": json_number(belief.median),
        "low": json_number(belief.low),
        "high": json_number(belief.high),
    }


def _string(string: StringPlan, measurement: Measurement) -> dict[str, Any]:
    """Return one string."""
    first = None if measurement.survey is None else first_fret_cents(measurement.survey, string.number)
    value, sd = first or (None, None)
    return {
        "number": string.number,
        "note": string.note,
        "first_fret_cents": {"value": json_number(value), "sd": json_number(sd)},
        "slot_height_mm": json_belief(string.height_mm),
        "target_mm": json_number(string.target_mm),
        "clearance_third_fret_mm": json_belief(string.clearance_third_mm),
        "excess_mm": json_belief(string.excess_mm),
        "verdict": string.verdict.value,
        "remove_now_mm": json_number(string.remove_now_mm) or 0.0,
        "raise_mm": json_number(string.raise_mm),
        "stop_clearance_mm": json_number(string.stop_clearance_mm),
        "leaf_decides_mm": json_number(string.leaf_decides_mm),
        "evidence": list(lines(string.evidence)),
        "doubts": [slot_doubt(what) for what in string.doubts],
    }


def _bottom(bottom: NutBottom | None) -> dict[str, Any] | None:
    """Return the cut at the bottom of the nut and what it leaves to the slots."""
    if bottom is None:
        return None
    return {
        "nut_bottom_bass_mm": json_number(bottom.bass_mm),
        "nut_bottom_treble_mm": json_number(bottom.treble_mm),
        "from_strings": "outer" if bottom.outer_only else "all",
        "rest_mm": [{"string": number, "mm": json_number(mm)} for number, mm in bottom.rest_mm],
    }


def _finding(finding: Finding) -> dict[str, Any]:
    """Return one finding."""
    return {
        "cause": finding.cause.value,
        "strings": [int(number) for number in finding.strings],
        "frets": [int(fret) for fret in finding.frets],
        "size": {"value": json_number(finding.size), "unit": finding.unit},
        "evidence": list(finding_lines(finding)),
    }


def _question(question: Question) -> dict[str, Any]:
    """Return a cause that no take played so far can tell, and the take that would."""
    return {
        "cause": question.cause.value,
        "strings": [int(number) for number in question.strings],
        "take": _place(question.take),
    }


def _next(take: NextTake | None) -> dict[str, Any] | None:
    """Return the take worth playing next."""
    return None if take is None else {**_place(take.position), "why": narrowing(take.why)}


def _length(worth: WorthTelling) -> dict[str, Any]:
    """Return a length worth measuring, and what it would do for the slot that it narrows most."""
    why = worth.why
    return {
        "what": worth.what.value,
        "string": why.string,
        "half_width_mm": json_number(why.half_width_mm),
        "narrows_by": json_number(why.share),
        "helps": list(why.helps),
    }


def _place(place: Position) -> dict[str, Any]:
    """Return a take to be played; of a leaf take the leaf too, as a number and as tables of takes have it."""
    told = {"string": place.string, "stop": place.stop.value, "fret": place.fret, "capo": place.capo}
    if place.leaf_mm is None:
        return told
    return {**told, "leaf_mm": json_number(place.leaf_mm), "leaf": f"{place.leaf_mm:.2f} mm"}


def _chords(measurement: Measurement) -> list[dict[str, Any]]:
    """Return the usual open chords; none without a fit or for a tuning without shapes."""
    if measurement.fit is None:
        return []
    return [_chord(chord) for chord in chord_table(measurement.settings.instrument, measurement.fit)]


def _chord(chord: Chord) -> dict[str, Any]:
    """Return one chord: its notes, and its worst pair now and at target."""
    return {
        "name": chord.name,
        "notes": [
            {
                "string": note.string,
                "fret": note.fret,
                "now_cents": json_number(note.now_cents),
                "target_cents": json_number(note.target_cents),
                "touch_cents": json_number(note.touch_cents),
            }
            for note in chord.notes
        ],
        "worst_now": _pair(chord.worst_now, chord.worst_now.now_cents, chord.worst_now.now_beat_hz),
        "worst_at_target": _pair(
            chord.worst_target, chord.worst_target.target_cents, chord.worst_target.target_beat_hz
        ),
    }


def _pair(interval: Interval, cents: float, beat_hz: float) -> dict[str, Any]:
    """Return one interval of a chord."""
    return {
        "strings": [interval.low.string, interval.high.string],
        "cents": json_number(cents),
        "beat_hz": json_number(beat_hz),
        "equal_temperament_beat_hz": json_number(interval.equal_beat_hz),
    }


def _takes(measurement: Measurement) -> list[dict[str, Any]]:
    """Return every take; its error is null for open takes and for those not used."""
    survey = measurement.survey
    errors = {} if survey is None else {s.take.row: s.error_cents for s in survey.stopped}
    return [_take(take, errors.get(take.row)) for take in measurement.takes]


def _take(take: Take, error_cents: float | None) -> dict[str, Any]:
    """Return one take."""
    place = take.position
    return {
        "file": take.file,
        "start_s": json_number(take.start_s),
        "end_s": json_number(take.end_s),
        "string": place.string,
        "stop": place.stop.value,
        "fret": place.fret,
        "capo": place.capo,
        "leaf_mm": json_number(place.leaf_mm),
        "hz": json_number(take.hz),
        "sd_cents": json_number(take.sd_cents),
        "error_cents": json_number(error_cents),
        "doubts": [doubt(what) for what in take.doubts],
    }


def _problem(problem: Problem) -> dict[str, Any]:
    """Return one fault."""
    return {
        "file": problem.file,
        "row": problem.row,
        "field": problem.field,
        "value": problem.value,
        "limit": problem.limit,
        "action": problem.action,
    }
