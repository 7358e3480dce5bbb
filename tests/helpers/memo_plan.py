"""What a player does while a phone records: the courses, and what goes wrong on the way.

Everything comes from the generator that is passed in.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from helpers.memo_manner import USUAL, Manner
from pitchcheck.takes import Position, Stop

Place = tuple[Stop, int | None]


@dataclass(frozen=True)
class Step:
    """One thing that is done. ``what``: pluck, damped, touched, wrong start, strum, talk, talk over, bump or
    rustle."""

    what: str
    position: Position | None = None


def places(words: str) -> tuple[Place, ...]:
    """Return a course from a line like "o p1 f12"."""
    stops = {"o": Stop.OPEN, "p": Stop.PRESS, "f": Stop.FRET}
    return tuple((stops[w[0]], int(w[1:]) if w[1:] else None) for w in words.split())


COURSES = {
    "home": places("o p1 p2 p1 o"),
    "short": places("o p1 p2 o"),
    "apart": places("o p1 o p2 o"),
    "quick": places("o f1 o p1 p2 o"),
    "full": places("o f1 o f1 o f2 f3 o f12 o p1 p2 o p1 p2 o"),
    "four": places("o p1 p2 o p3 p4 o"),
    "once": places("o p1 p2"),
    "frets": places("o f1 f2 f3 o f12 o"),
    "frets apart": places("o f1 o f2 o f3 o"),
}
SHARES = (0.6, 0.1, 0.05, 0.07, 0.03, 0.05, 0.02, 0.05, 0.03)  # how often each is played


class Planner:
    """Makes one plan.

    Parameters
    ----------
    rng : numpy Generator
    numbers : sequence of int
        Strings.
    calm : bool
        Nothing is skipped, doubled, said or bumped.
    manner : Manner
    """

    def __init__(
        self, rng: np.random.Generator, numbers: list[int], *, calm: bool, manner: Manner = USUAL
    ) -> None:
        self.rng, self.numbers, self.calm, self.manner = rng, numbers, calm, manner
        self.chatty, self.clumsy = rng.uniform(0.0, 0.12), rng.uniform(0.0, 0.1)
        self.slips = 0.0 if calm else rng.uniform(0.0, 0.06)
        if manner.slips is not None:
            self.slips = manner.slips

    def plan(self, course: tuple[Place, ...]) -> list[Step]:
        """Return everything that is done, in order."""
        steps: list[Step] = []
        if self._chance(0.5):
            steps.append(Step("talk"))
        order = [int(number) for number in self._order()]
        steps += self._before(order)
        for number in order:
            steps += self._string(number, course)
        if self.manner.returns:
            for number in order:
                if self._chance(self.manner.returns):
                    steps += self._string(number, course)
        return steps

    def _before(self, order: list[int]) -> Iterator[Step]:
        """What some do before they begin."""
        if self.manner.strums:
            for number in order:
                yield Step("strum", Position(number, Stop.OPEN, None))
            yield Step("talk")
        if self.manner.tunes_first:
            for number in order:
                yield Step("pluck", Position(number, Stop.OPEN, None))
            yield Step("talk")

    def _chance(self, share: float) -> bool:
        return bool(not self.calm and self.rng.random() < share)

    def _order(self) -> list[int]:
        order = sorted(self.numbers, reverse=bool(self.rng.random() < 0.7))
        if self._chance(0.1):
            order = list(self.rng.permutation(order))
        return order[:-1] if self._chance(0.1) else order

    def _string(self, number: int, course: tuple[Place, ...]) -> Iterator[Step]:
        opened = (Stop.OPEN, None)
        if self._chance(0.04):  # the wrong string first
            other = int(self.rng.choice([n for n in self.numbers if abs(n - number) == 1] or self.numbers))
            yield Step("wrong start", Position(other, *opened))
            yield Step("talk")
        if self._chance(0.06):  # begun, broken off, begun again
            for place in course[: self.rng.integers(1, 3)]:
                yield Step("pluck", Position(number, *place))
            if self._chance(0.5):
                yield Step("damped", Position(number, *course[1]))
            yield Step("talk")
        for place in course:
            yield from self._noise()
            if self._chance(self.slips):
                continue
            if self._chance(self.slips):
                yield Step("damped", Position(number, *place))
            pressed = place[0] is Stop.PRESS
            if pressed and self._touches():
                yield Step("touched", Position(number, *place))
            yield Step("pluck", Position(number, *place))
            if self.manner.talks_over and self._chance(self.manner.talks_over):
                yield Step("talk over")
            if self._chance(self.slips):
                yield Step("pluck", Position(number, *place))
            if pressed and self._touches():
                yield Step("touched", Position(number, *opened))
        yield from self._noise()

    def _touches(self) -> bool:
        return self.manner.touches > 0 and self._chance(self.manner.touches)

    def _noise(self) -> Iterator[Step]:
        for what, share in (("talk", self.chatty), ("bump", self.clumsy), ("rustle", 0.03)):
            if self._chance(share):
                yield Step(what)
