"""The courses that people play on one string, and how likely each is to be played.

A course is a list of stops in playing order. Shares are beliefs before anything is heard; they are ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pitchcheck.errors import BadValue
from pitchcheck.takes import Stop

Step = tuple[Stop, int | None]


@dataclass(frozen=True)
class Course:
    """What is played on every string.

    Attributes
    ----------
    name : str
    steps : tuple of (Stop, fret)
        In playing order; of a free course the stops that may come, in any order.
    share : float
        How likely it is, before anything is heard.
    free : bool
        Whether the steps may come in any order.
    optional : tuple of int
        Indices of steps that are played on some strings only.
    """

    name: str
    steps: tuple[Step, ...]
    share: float
    free: bool = False
    optional: tuple[int, ...] = ()


def parse_steps(words: str) -> tuple[Step, ...]:
    """Steps from a line like "open, press 1, fret 12"."""
    steps: list[Step] = []
    for part in words.split(","):
        stop, _, fret = part.strip().partition(" ")
        steps.append((Stop(stop), int(fret) if fret else None))
    return tuple(steps)


def _course(
    name: str, share: float, words: str, *, free: bool = False, optional: tuple[int, ...] = ()
) -> Course:
    return Course(name, parse_steps(words), share, free, optional)


_PRESSES = "press 1, press 2, open"
_FULL = "open, fret 1, open, fret 1, open, fret 2, fret 3, open, fret 12, open"
_FOUR = "press 1, press 2, open, press 3, press 4, open"

COURSES = (
    _course("base", 0.10, "open, press 1, press 2, press 1, open", optional=(3,)),
    _course("press 1, 2, 1", 0.22, "open, press 1, press 2, press 1, open"),
    _course("press 1, 2", 0.11, "open, press 1, press 2, open"),
    _course("press 1, 2, twice", 0.05, f"open, {_PRESSES}, {_PRESSES}"),
    _course("press 1, open, press 2", 0.06, "open, press 1, open, press 2, open"),
    _course("press 1", 0.02, "open, press 1, open"),
    _course("fret 1, press 1, 2", 0.10, f"open, fret 1, open, {_PRESSES}"),
    _course("frets and presses", 0.06, f"{_FULL}, {_PRESSES}, {_PRESSES}"),
    _course("thorough", 0.03, f"{_FULL}, {', '.join([_FOUR] * 4)}"),
    _course("press 1 to 4", 0.04, f"open, {_FOUR}"),
    _course("frets", 0.04, _FULL),
    _course("frets 1 to 3", 0.05, "open, fret 1, fret 2, fret 3, open"),
    _course("frets 1, 2, 3, 12", 0.03, "open, fret 1, fret 2, fret 3, fret 12, open"),
    _course("frets apart", 0.03, "open, fret 1, open, fret 2, open, fret 3, open"),
    _course("any presses", 0.03, "open, press 1, press 2, press 3, press 4", free=True),
    _course("any frets", 0.02, "open, fret 1, fret 2, fret 3, fret 4, fret 5, fret 7, fret 12", free=True),
    _course(
        "anything",
        0.01,
        "open, press 1, press 2, press 3, press 4, fret 1, fret 2, fret 3, fret 12",
        free=True,
    ),
)

PREFERRED = 20.0  # times as likely is a course of the sort that was named
SORTS = {"presses": Stop.PRESS, "frets": Stop.FRET}  # as a player names them, and how their notes are stopped


def prefer(courses: Sequence[Course], sort: str | None) -> tuple[Course, ...]:
    """Courses with those of a sort made more likely.

    Parameters
    ----------
    courses : sequence of Course
    sort : {"presses", "frets"} or None
        None leaves them as they are.

    Raises
    ------
    BadValue
        If there is no such sort.
    """
    if sort is None:
        return tuple(courses)
    if sort not in SORTS:
        raise BadValue(f"--course is {sort!r}; it must be presses or frets. Name what was played.")
    wanted = {Stop.OPEN, SORTS[sort]}
    return tuple(
        replace(course, share=course.share * PREFERRED) if {s for s, _ in course.steps} <= wanted else course
        for course in courses
    )
