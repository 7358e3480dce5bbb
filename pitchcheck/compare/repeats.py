"""The takes themselves, before and after, position by position: how far they moved, how well repeats agree.

Conventions: cents; a change is after less before. Uncertainties hold reading and hand, repeats averaged.
"""

from __future__ import annotations

import numpy as np

from pitchcheck.compare.records import AFTER, BEFORE, PositionChange, Repeats
from pitchcheck.fit.cases import predict
from pitchcheck.fit.hand import Scatter, hand_parts
from pitchcheck.fit.posterior import Posterior
from pitchcheck.fit.unknowns import Unknowns, removal_name
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray

_ORDER = (Stop.FRET, Stop.PRESS)


def position_changes(posterior: Posterior) -> dict[int, tuple[PositionChange, ...]]:
    """Return, for every string, the positions played in both passes: fretted notes first, by fret."""
    rows: dict[tuple[int, Position], list[int]] = {}
    for row, key in enumerate(posterior.problem.places):
        rows.setdefault(key, []).append(row)
    shared = sorted(
        (place for which, place in rows if which == BEFORE and (AFTER, place) in rows),
        key=lambda place: (_ORDER.index(place.stop), place.capo, place.fret or 0),
    )
    found: dict[int, tuple[PositionChange, ...]] = {}
    for number in posterior.problem.strings:
        moved = _moved_by_slot(posterior, number)
        found[number] = tuple(
            _position(posterior, place, rows[BEFORE, place], rows[AFTER, place], moved)
            for place in shared
            if place.string == number
        )
    return found


def _position(
    posterior: Posterior, place: Position, before: list[int], after: list[int], moved_cents: FloatArray
) -> PositionChange:
    """One position: weighted means, and the uncertainty of their difference."""
    solution, data = posterior.solution, posterior.data
    count = len(posterior.problem.places)
    weights = np.zeros(count)
    for rows, sign in ((before, -1.0), (after, 1.0)):
        weights[rows] = sign * solution.weight[rows] / np.sum(solution.weight[rows])
    noise = data.covariance[:count, :count] + np.diag(solution.hand[:count])
    value = data.value[:count]
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
        expected_cents=float(moved_cents[data.case[after[0]]]),
    )


def _moved_by_slot(posterior: Posterior, number: int) -> FloatArray:
    """What the change of the string's slot alone does to every case. [cent]"""
    unknowns, z = posterior.problem.unknowns, posterior.solution.z
    without = z.copy()
    without[unknowns.column(removal_name(number, BEFORE))] = 0.0
    mine = [i for i, c in enumerate(unknowns.cases) if c.string == number]
    own = Unknowns(
        unknowns.names, tuple(unknowns.cases[i] for i in mine), unknowns.centre[mine], unknowns.spread[mine]
    )
    moved = np.zeros(len(unknowns.cases))
    moved[mine] = predict(own.cases, own.coordinates(z)) - predict(own.cases, own.coordinates(without))
    return moved


def repeats(posterior: Posterior) -> tuple[Repeats, ...]:
    """Return the scatter of repeats, kind of take by kind of take.

    Returns
    -------
    tuple of Repeats
        ``sd_cents`` is the pooled standard deviation of a single take; kinds never repeated are left out.
    """
    solution, data = posterior.solution, posterior.data
    careful = hand_parts(posterior.problem.unknowns.cases, solution.about).total(Scatter())
    count = len(posterior.problem.places)
    case = data.case[:count]
    groups: dict[tuple[Stop, int], list[tuple[float, float, int]]] = {}
    for each in np.unique(case):
        rows = np.flatnonzero(case == each)
        kind = posterior.problem.unknowns.cases[each].kind
        if rows.size < 2 or kind.stop is None:
            continue
        off = solution.residual[rows] - np.average(solution.residual[rows], weights=solution.weight[rows])
        usual = np.diag(data.covariance)[rows] + careful[each]
        one = (float(np.sum(off**2)), float(np.mean(usual)), int(rows.size) - 1)
        groups.setdefault((kind.stop, kind.fret), []).append(one)
    return tuple(
        Repeats(
            stop=stop,
            fret=fret,
            pairs=sum(freedom for _, _, freedom in group),
            sd_cents=float(np.sqrt(sum(s for s, _, _ in group) / sum(f for _, _, f in group))),
            expected_cents=float(np.sqrt(sum(u * f for _, u, f in group) / sum(f for _, _, f in group))),
        )
        for (stop, fret), group in sorted(groups.items())
    )
