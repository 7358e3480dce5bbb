"""The takes themselves, before and after, place by place: as heard, and as the fit expects.

Conventions: cents; a change is after less before. Uncertainties hold reading and hand, repeats averaged.
"""

from __future__ import annotations

import numpy as np

from pitchcheck.compare.both import AFTER, BEFORE, TwoPassProblem
from pitchcheck.compare.records import PositionChange
from pitchcheck.fit.cases import predict
from pitchcheck.fit.solve import Solution
from pitchcheck.fit.unknowns import Unknowns
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray

_ORDER = (Stop.FRET, Stop.PRESS)


def position_changes(both: TwoPassProblem, solution: Solution, number: int) -> tuple[PositionChange, ...]:
    """Return every place of a string that was played in both passes: fretted notes first, by fret."""
    rows: dict[tuple[int, Position], list[int]] = {}
    for row, (which, place) in enumerate(both.places):
        if place.string == number:
            rows.setdefault((which, place), []).append(row)
    shared = sorted(
        (place for which, place in rows if which == BEFORE and (AFTER, place) in rows),
        key=lambda place: (_ORDER.index(place.stop), place.capo, place.fret or 0),
    )
    moved = _moved_by_slot(both, solution, number)
    return tuple(
        _place(both, solution, place, rows[BEFORE, place], rows[AFTER, place], moved) for place in shared
    )


def _place(
    both: TwoPassProblem,
    solution: Solution,
    place: Position,
    before: list[int],
    after: list[int],
    moved_cents: FloatArray,
) -> PositionChange:
    """One place: weighted means, and the uncertainty of their difference."""
    count = len(both.places)
    weights = np.zeros(count)
    for rows, sign in ((before, -1.0), (after, 1.0)):
        share = solution.weight[rows] / np.sum(solution.weight[rows])
        weights[rows] = sign * share
    noise = both.data.covariance[:count, :count].copy()
    np.fill_diagonal(noise, np.diag(noise) + np.maximum(0.0, solution.scatter[:count] ** 2 - np.diag(noise)))
    value = both.data.value[:count]
    first = -float(weights[before] @ value[before])
    second = float(weights[after] @ value[after])
    return PositionChange(
        position=place,
        before_cents=first,
        before_takes=len(before),
        after_cents=second,
        after_takes=len(after),
        change_cents=second - first,
        sd_cents=float(np.sqrt(weights @ noise @ weights)),
        expected_cents=float(moved_cents[both.data.case[after[0]]]),
    )


def _moved_by_slot(both: TwoPassProblem, solution: Solution, number: int) -> FloatArray:
    """What the change of the string's slot alone does to every case. [cent]"""
    column, _ = both.changes[number]
    mine = [i for i, c in enumerate(both.unknowns.cases) if c.string == number]
    without = solution.z.copy()
    without[column] = 0.0
    moved = np.zeros(len(both.unknowns.cases))
    own = Unknowns(
        both.unknowns.names,
        tuple(both.unknowns.cases[i] for i in mine),
        both.unknowns.centre[mine],
        both.unknowns.spread[mine],
    )
    moved[mine] = predict(own.cases, own.coordinates(solution.z)) - predict(
        own.cases, own.coordinates(without)
    )
    return moved
