"""From a course to a chain over strings and steps: going on, skipping, starting over, changing string.

Conventions: a state is a string and a step of the course; shares are ours, and rows sum to one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from pitchcheck.memo.courses import Course
from pitchcheck.memo.hidden_markov import Chain
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray

ON = 1.0  # the next step
AGAIN = 0.06  # the same once more
SKIP = 0.06  # of one step; two are as rare again
BACK = 0.04  # to an earlier step, other than the first
OVER = 0.03  # from the first step
ALL_OVER = 0.001  # of a course played stop by stop: from the first string once all were played
AWAY = 0.04  # to another string before the course is done; twice that after its first step: a wrong start
AWAY_LATE = 0.1  # the same before the last step
LATER_START = 0.05  # a string is begun at the second step; at the third as rare again
FREE_OPEN = 0.4  # of a free course: the open string next
FREE_AWAY = 0.12  # of a free course: another string next
NEXT_STRING = 0.85  # in the order; else any other
FIRST_STRING = 0.7


class Order(StrEnum):
    """Order in which the strings are taken: the whole course on each, or each stop on all of them."""

    UP = "from string 1 up"
    DOWN = "from the last string down"
    ANY = "in any order"
    EACH_UP = "each stop on all strings, from string 1 up"
    EACH_DOWN = "each stop on all strings, from the last string down"

    @property
    def stop_by_stop(self) -> bool:
        """Whether each stop is played on all strings before the next."""
        return self in (Order.EACH_UP, Order.EACH_DOWN)


ORDER_SHARES = {Order.UP: 0.43, Order.DOWN: 0.43, Order.ANY: 0.1, Order.EACH_UP: 0.02, Order.EACH_DOWN: 0.02}


LONGEST_STOP_BY_STOP = 7  # steps


def is_played(course: Course, order: Order) -> bool:
    """Whether anybody plays a course in that order: stop by stop only short ones whose steps are told."""
    short = not course.free and not course.optional and len(course.steps) <= LONGEST_STOP_BY_STOP
    return short or not order.stop_by_stop


@dataclass(frozen=True)
class Grammar:
    """A course as a chain.

    Attributes
    ----------
    course : Course
    order : Order
    share : float
        How likely, before anything is heard.
    chain : Chain
    positions : tuple of Position
        Of each state.
    """

    course: Course
    order: Order
    share: float
    chain: Chain
    positions: tuple[Position, ...]

    @property
    def key(self) -> tuple[str, Order]:
        """What tells it from the others."""
        return self.course.name, self.order


def build_grammar(course: Course, *, strings: Sequence[int], order: Order) -> Grammar:
    """Chain of one course over the strings in an order.

    Parameters
    ----------
    course : Course
    strings : sequence of int
        Numbers, rising.
    order : Order
    """
    steps = len(course.steps)
    positions = tuple(Position(s, stop, fret) for s in strings for stop, fret in course.steps)
    share = course.share * ORDER_SHARES[order]
    if order.stop_by_stop:
        chain = _stop_by_stop(len(strings), steps, rising=order is Order.EACH_UP)
        return Grammar(course, order, share, chain, positions)
    within = (
        _free(course) if course.free else _within(steps, course.optional)
    )  # (steps, steps + 1): the last is "away"
    entry = _entry(course)
    between = _between(len(strings), order)
    count = len(strings) * steps
    moves = np.zeros((count, count))
    for a in range(len(strings)):
        for b in range(len(strings)):
            block = moves[a * steps : (a + 1) * steps, b * steps : (b + 1) * steps]
            if a == b:
                block += within[:, :-1]
            else:
                block += within[:, -1:] * between[a, b] * entry
    if len(strings) == 1:
        moves += within[:, -1:] * entry
    first = _first(len(strings), order)
    start = np.concatenate([share * entry for share in first])
    return Grammar(course, order, share, Chain(start, moves), positions)


def _within(steps: int, optional: Sequence[int]) -> FloatArray:
    """Moves within one string's course, and away from it in the last column."""
    moves = np.zeros((steps, steps + 1))
    for i in range(steps):
        last = i == steps - 1
        moves[i, i + 1] += ON
        moves[i, i] += AGAIN
        for skipped in (1, 2):
            if i + 1 + skipped <= steps:
                moves[i, i + 1 + skipped] += SKIP**skipped
        if i + 1 in optional:
            moves[i, i + 2] += ON
        if not last:
            moves[i, steps] += 2 * AWAY if i == 0 else AWAY_LATE if i == steps - 2 else AWAY
        for j in range(i):
            moves[i, j] += OVER if j == 0 else BACK / (i - 1)
    return np.asarray(moves / moves.sum(axis=1, keepdims=True))


def _stop_by_stop(count: int, steps: int, *, rising: bool) -> Chain:
    """Chain of a course whose every step is played on all strings before the next."""
    path = [(a if rising else count - 1 - a) * steps + i for i in range(steps) for a in range(count)]
    size = len(path)
    moves = np.zeros((size, size))
    for t, state in enumerate(path):
        moves[state, state] += AGAIN
        moves[state, path[0]] += OVER if t < count else ALL_OVER
        moves[state, path[t - t % count]] += OVER  # the same stop from its first string
        if t:
            moves[state, path[t - 1]] += BACK
        for skipped in (0, 1, 2):
            if t + 1 + skipped < size:
                moves[state, path[t + 1 + skipped]] += ON if skipped == 0 else SKIP**skipped
        after = t - t % count + count  # the first string of the next step
        if after < size:
            moves[state, path[after]] += AWAY
    start = np.zeros(size)
    start[path[:3]] = LATER_START ** np.arange(3.0)[: len(path[:3])]
    return Chain(start / start.sum(), np.asarray(moves / moves.sum(axis=1, keepdims=True)))


def _free(course: Course) -> FloatArray:
    """Moves of a course without an order."""
    opens = np.array([stop is Stop.OPEN for stop, _ in course.steps])
    share = np.where(opens, FREE_OPEN, (1 - FREE_OPEN) / max(1, int(np.count_nonzero(~opens))))
    moves = np.tile(np.append(share * (1 - FREE_AWAY), FREE_AWAY), (opens.size, 1))
    return np.asarray(moves / moves.sum(axis=1, keepdims=True))


def _entry(course: Course) -> FloatArray:
    """Share of each step as the first on a string."""
    if course.free:
        opens = np.array([stop is Stop.OPEN for stop, _ in course.steps], dtype=np.float64)
        share = opens + LATER_START / opens.size
    else:
        share = LATER_START ** np.arange(len(course.steps), dtype=np.float64)
        share[3:] = 0.0
    return np.asarray(share / share.sum())


def _between(count: int, order: Order) -> FloatArray:
    """Share of each string as the next after each other."""
    moves = np.zeros((count, count))
    step = {Order.UP: 1, Order.DOWN: -1, Order.ANY: 0}[order]
    for a in range(count):
        others = [b for b in range(count) if b != a]
        for b in others:
            moves[a, b] = (1 - NEXT_STRING if step else 1.0) / len(others)
        if step and 0 <= a + step < count:
            moves[a, a + step] += NEXT_STRING
    total = moves.sum(axis=1, keepdims=True)
    return np.asarray(moves / np.where(total > 0, total, 1.0))


def _first(count: int, order: Order) -> FloatArray:
    """Share of each string as the first."""
    share = np.full(count, 1.0 / count)
    if order is not Order.ANY:
        share *= 1 - FIRST_STRING
        share[0 if order is Order.UP else -1] += FIRST_STRING
    return share
