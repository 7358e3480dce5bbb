"""Which takes are played, in which order: the one home of the courses.

Conventions: positions come in playing order; an open take stands before and after every stopped take or run
of at most three, so that each stopped take has its own reference. One unrecorded press before the first open
take seats the string (docs/method.md).
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from pitchcheck.takes import Position, Stop


class Thoroughness(StrEnum):
    """How much is played on every string."""

    BASE = "base"  # press 1, 2 and 1 again; then what the measurement asks for
    QUICK = "quick"  # fret 1, press 1, press 2, once each
    FULL = "full"  # frets 1 (twice), 2, 3, 12; press 1 and 2, twice
    THOROUGH = "thorough"  # the same frets; press 1 to 4, four times


_OPEN = ((Stop.OPEN, None),)
_FRET_1 = ((Stop.FRET, 1),)
_FRETS_ONCE = (_FRET_1, ((Stop.FRET, 2), (Stop.FRET, 3)), ((Stop.FRET, 12),))
_FRETS = (_FRET_1, *_FRETS_ONCE)
_PRESS_1_2 = ((Stop.PRESS, 1), (Stop.PRESS, 2))
_PRESS_1_2_1 = (*_PRESS_1_2, (Stop.PRESS, 1))  # how far two presses of one hand lie apart is learned from it
_PRESS_3_4 = ((Stop.PRESS, 3), (Stop.PRESS, 4))

_RUNS = {
    Thoroughness.BASE: (_PRESS_1_2_1,),
    Thoroughness.QUICK: (_FRET_1, _PRESS_1_2),
    Thoroughness.FULL: (*_FRETS, _PRESS_1_2, _PRESS_1_2),
    Thoroughness.THOROUGH: (*_FRETS, *(4 * (_PRESS_1_2, _PRESS_3_4))),
}
_RUNS_WITHOUT_PRESSES = {
    **{course: tuple(run for run in runs if run[0][0] is not Stop.PRESS) for course, runs in _RUNS.items()},
    Thoroughness.BASE: _FRETS_ONCE,
}


def string_positions(string: int, *, thoroughness: Thoroughness, press: bool = True) -> tuple[Position, ...]:
    """Return the takes of one string, in playing order.

    Parameters
    ----------
    string : int
        Number of the string, 1 nearest the floor.
    thoroughness : Thoroughness
    press : bool
        False leaves the press test out (scalloped board); then only the symptom can be measured.

    Returns
    -------
    tuple of Position
        ``base`` 5, ``quick`` 6, ``full`` 16, ``thorough`` 34 positions; without
        presses 8, 3, 10, 10.
    """
    runs = _RUNS if press else _RUNS_WITHOUT_PRESSES
    stops = [_OPEN[0]]
    for run in runs[thoroughness]:
        stops += [*run, *_OPEN]
    return tuple(Position(string, stop, fret) for stop, fret in stops)


def survey_positions(
    strings: Sequence[int], *, thoroughness: Thoroughness, press: bool = True
) -> tuple[Position, ...]:
    """Return the takes of a whole instrument, string after string in the order given."""
    return tuple(
        position
        for string in strings
        for position in string_positions(string, thoroughness=thoroughness, press=press)
    )
