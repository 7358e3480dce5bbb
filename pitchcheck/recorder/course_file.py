"""The course of a session at the microphone as it is kept on disk: ``course.toml``.

Conventions: places are in the order in which they are asked for; a number belongs to one accepted take and is
never used twice. What counts as a take is said by ``takes.csv`` alone; this file says what is left to play.
"""

from __future__ import annotations

import json
import math
from typing import Any

from pitchcheck.guide.take_list import PlannedTake, TakeList, TakeState
from pitchcheck.session.textfile import parse_toml
from pitchcheck.takes import Position, Stop

COURSE = "course.toml"
SCHEMA = 1  # version of the file; 1 is the first
_HEAD = """\
# What was asked for at the microphone, and what became of it. pitchcheck listen reads and writes this file;
# the takes that count stand in takes.csv, and a row taken out there is asked for again.
"""


def course_text(takes: TakeList) -> str:
    """Return ``course.toml``; a take that is not on disk yet is still to be played."""
    lines = [_HEAD + f"schema = {SCHEMA}", f"next_number = {takes.next_number}", "places = ["]
    lines += [f"  {{ {', '.join(_cells(entry))} }}," for entry in takes.entries]
    return "\n".join([*lines, "]"]) + "\n"


def parse_course(text: str) -> TakeList:
    """Read ``course.toml``.

    Raises
    ------
    ValueError
        If it is no course of this version; the message says why.
    """
    raw = parse_toml(text)
    if raw.get("schema") != SCHEMA:
        raise ValueError(f"its schema is {raw.get('schema')!r}; this version reads {SCHEMA}")
    places = raw.get("places")
    if not isinstance(places, list):
        raise ValueError("it has no places")
    read = tuple(_entry(item) for item in places)
    used = [place.number for place in read if place.number is not None]
    if len(set(used)) < len(used):
        raise ValueError("a number is used twice")
    return TakeList(read, next_number=_count(raw, "next_number"))


def _cells(entry: PlannedTake) -> list[str]:
    position = entry.position
    cells = [f"string = {position.string}", f'stop = "{position.stop.value}"']
    if position.fret is not None:
        cells.append(f"fret = {position.fret}")
    if position.capo:
        cells.append(f"capo = {position.capo}")
    if position.leaf_mm is not None:
        cells.append(f"leaf_mm = {float(position.leaf_mm)!r}")
    if entry.taken and (entry.number is None or entry.file is None):
        return [*cells, f'state = "{TakeState.TO_PLAY.value}"']
    cells.append(f'state = "{entry.state.value}"')
    if entry.number is not None and entry.file is not None:
        cells += [f"number = {entry.number}", f"file = {json.dumps(entry.file, ensure_ascii=False)}"]
    if entry.hz is not None:
        cells.append(f"hz = {float(entry.hz)!r}")
    return cells


def _entry(raw: Any) -> PlannedTake:
    """Return one entry, or raise ValueError."""
    if not isinstance(raw, dict):
        raise ValueError("a place is no table")
    state, position = TakeState(str(raw.get("state"))), _position(raw)
    if state is not TakeState.TAKEN:
        return PlannedTake(position, state)
    file = raw.get("file")
    if not isinstance(file, str):
        raise ValueError("a taken place has no file")
    return PlannedTake(position, state, _count(raw, "number"), file, _number(raw, "hz"))


def _position(raw: dict[str, Any]) -> Position:
    stop = Stop(str(raw.get("stop")))
    if (stop is Stop.OPEN) != ("fret" not in raw):
        raise ValueError("a place has a fret that does not fit its stop")
    fret = _count(raw, "fret") if "fret" in raw else None
    capo = _count(raw, "capo") if "capo" in raw else 0
    leaf_mm = _number(raw, "leaf_mm")
    if (stop is Stop.LEAF) != (leaf_mm is not None):
        raise ValueError("a place has a leaf that does not fit its stop")
    return Position(_count(raw, "string"), stop, fret, capo, leaf_mm)


def _number(raw: dict[str, Any], key: str) -> float | None:
    """Return a number that may be missing."""
    value = raw.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value) if value >= 0 else None


def _count(raw: dict[str, Any], key: str) -> int:
    """Return a whole number of 1 and up, or raise ValueError."""
    value = raw.get(key)
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise ValueError(f"{key} is no whole number of 1 and up")
    return value
