"""Rows that were copied within one pass: they count once, or twenty copies would pass for twenty presses.

Conventions: two takes of one place never sound alike to the last digit, unless the digits are few. So equal
pitches are counted over all stopped takes and held against how many chance makes of them.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from pitchcheck.doubts import CopyOf
from pitchcheck.takes import Position, Stop, Take
from pitchcheck.units import CENTS_PER_LOG

LEAST_SCATTER_CENTS = 0.3  # [cent] standard deviation of two takes of one place, reading and hand; our choice
SURE_SD = 3.0  # [sd of a count] equal pairs beyond chance from which they are copies; our choice
MOST_DIGITS = 9  # behind the decimal point that are looked for; readings have four or so
HALF_A_PAIR = (
    0.5  # a count is whole, what chance makes of it is not: where that is nothing, one pair is enough
)


def set_copies_aside(takes: Sequence[Take]) -> tuple[Take, ...]:
    """Set aside every take that is a copy of an earlier one of the pass.

    Parameters
    ----------
    takes : sequence of Take
        In playing order.

    Returns
    -------
    tuple of Take
        The same takes; copies have ``used`` False and a doubt that names the row they repeat.
    """
    if not _copied(takes):
        return tuple(takes)
    first: dict[tuple[Position, float | None], int] = {}
    found = []
    for take in takes:
        row = first.setdefault((take.position, take.hz), take.row)
        if take.hz is None or row == take.row:
            found.append(take)
        else:
            found.append(replace(take, used=False, doubts=(*take.doubts, CopyOf(row))))
    return tuple(found)


def _copied(takes: Sequence[Take]) -> bool:
    """Whether more stopped takes of one place have equal pitches than chance and rounding explain."""
    heard: dict[Position, list[float]] = {}
    for take in takes:
        if take.hz is not None and take.position.stop in (Stop.PRESS, Stop.FRET):
            heard.setdefault(take.position, []).append(take.hz)
    digits = max((_digits(hz) for values in heard.values() for hz in values), default=0)
    equal, expected = 0, 0.0
    for values in heard.values():
        step_cents = CENTS_PER_LOG * 10**-digits / values[0]
        # The density of the difference of two normal readings at nought.
        chance = min(1.0, step_cents / (2 * math.sqrt(math.pi) * LEAST_SCATTER_CENTS))
        expected += math.comb(len(values), 2) * chance
        equal += sum(math.comb(n, 2) for n in Counter(values).values())
    return equal > expected + SURE_SD * math.sqrt(expected) + HALF_A_PAIR


def _digits(hz: float) -> int:
    """Digits behind the decimal point with which a pitch was written down."""
    return next((n for n in range(MOST_DIGITS) if round(hz, n) == hz), MOST_DIGITS)
