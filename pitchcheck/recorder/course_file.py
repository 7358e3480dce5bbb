"""The course of a session at the microphone as it is kept on disk: ``course.toml``.

Conventions: places are in the order in which they are asked for; a number belongs to one accepted take and is
never used twice. What counts as a take is said by ``takes.csv`` alone; this file says what is left to play.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from pitchcheck.takes import Position, Stop

COURSE = "course.toml"
SCHEMA = 1  # version of the file; 1 is the first
_HEAD = """\
# What was asked for at the microphone, and what became of it. pitchcheck listen reads and writes this file;
# the takes that count stand in takes.csv, and a row taken out there is asked for again.
"""


class State(StrEnum):
    """What became of one place."""

    TO_PLAY = "to play"
    TAKEN = "taken"
    SKIPPED = "skipped"


@dataclass(frozen=True)
class CoursePlace:
    """One take that is asked for.

    Attributes
    ----------
    position : Position
    state : State
    number : int or None
        Of the accepted take, when taken.
    file : str or None
        Its sound file, as ``takes.csv`` names it.
    hz, stiffness : float or None
        Its pitch and B as they were heard, if known: what later takes are held against.
    """

    position: Position
    state: State = State.TO_PLAY
    number: int | None = None
    file: str | None = None
    hz: float | None = None
    inharmonicity: float | None = None

    @property
    def taken(self) -> bool:
        """Whether an accepted take stands here."""
        return self.state is State.TAKEN


@dataclass(frozen=True)
class CoursePlan:
    """All places, and the number that the next accepted take gets."""

    places: tuple[CoursePlace, ...]
    next_number: int


def course_text(plan: CoursePlan) -> str:
    """Return ``course.toml``."""
    lines = [_HEAD + f"schema = {SCHEMA}", f"next_number = {plan.next_number}", "places = ["]
    lines += [f"  {{ {', '.join(_cells(place))} }}," for place in plan.places]
    return "\n".join([*lines, "]"]) + "\n"


def parse_course(text: str) -> CoursePlan:
    """Read ``course.toml``.

    Raises
    ------
    ValueError
        If it is no course of this version; the message says why.
    """
    try:
        raw = tomllib.loads(text)
    except RecursionError as error:
        raise ValueError("it is nested too deeply") from error
    if raw.get("schema") != SCHEMA:
        raise ValueError(f"its schema is {raw.get('schema')!r}; this version reads {SCHEMA}")
    places = raw.get("places")
    if not isinstance(places, list):
        raise ValueError("it has no places")
    read = tuple(_place(item) for item in places)
    used = [place.number for place in read if place.number is not None]
    if len(set(used)) < len(used):
        raise ValueError("a number is used twice")
    return CoursePlan(read, max([_count(raw, "next_number"), *(n + 1 for n in used)]))


def to_play(positions: Sequence[Position]) -> tuple[CoursePlace, ...]:
    """Return places that are all still to be played."""
    return tuple(CoursePlace(position) for position in positions)


def _cells(place: CoursePlace) -> list[str]:
    position = place.position
    cells = [f"string = {position.string}", f'stop = "{position.stop.value}"']
    if position.fret is not None:
        cells.append(f"fret = {position.fret}")
    if position.capo:
        cells.append(f"capo = {position.capo}")
    cells.append(f'state = "{place.state.value}"')
    if place.number is not None and place.file is not None:
        cells += [f"number = {place.number}", f"file = {json.dumps(place.file, ensure_ascii=False)}"]
    if place.hz is not None:
        cells.append(f"hz = {float(place.hz)!r}")
    if place.inharmonicity is not None:
        cells.append(f"stiffness = {float(place.inharmonicity)!r}")
    return cells


def _place(raw: Any) -> CoursePlace:
    """Return one place, or raise ValueError."""
    if not isinstance(raw, dict):
        raise ValueError("a place is no table")
    state, position = State(str(raw.get("state"))), _position(raw)
    if state is not State.TAKEN:
        return CoursePlace(position, state)
    file = raw.get("file")
    if not isinstance(file, str):
        raise ValueError("a taken place has no file")
    number = _count(raw, "number")
    return CoursePlace(position, state, number, file, _number(raw, "hz"), _number(raw, "stiffness"))


def _position(raw: dict[str, Any]) -> Position:
    stop = Stop(str(raw.get("stop")))
    if (stop is Stop.OPEN) != ("fret" not in raw):
        raise ValueError("a place has a fret that does not fit its stop")
    fret = _count(raw, "fret") if "fret" in raw else None
    capo = _count(raw, "capo") if "capo" in raw else 0
    return Position(_count(raw, "string"), stop, fret, capo)


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
