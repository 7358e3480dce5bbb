"""The course of a session: which takes are to be played, which were taken or skipped, and when.

Conventions: a place is an index in the course; a number belongs to one accepted take, never to two.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.errors import BadValue
from pitchcheck.guide.events import PlaceState
from pitchcheck.takes import Position


class Course:
    """Places and what became of them.

    Parameters
    ----------
    positions : sequence of Position
    done : sequence of (int, int)
        Place and number of each take that was accepted before, in the order of their numbers.
    skipped : sequence of int
        Places left out before.

    Raises
    ------
    BadValue
        A place outside the course, or taken twice.
    """

    def __init__(
        self,
        positions: Sequence[Position],
        *,
        done: Sequence[tuple[int, int]] = (),
        skipped: Sequence[int] = (),
    ) -> None:
        self.positions = list(positions)
        self._taken = sorted(((place, number) for place, number in done), key=lambda pair: pair[1])
        self._skipped = set(skipped)
        self._from = 0  # places before it are not asked again after an early end
        places = [place for place, _ in self._taken]
        for place in (*places, *self._skipped):
            if not 0 <= place < len(self.positions):
                raise BadValue(f"place {place} is outside the course of {len(self.positions)} takes.")
        if len(set(places)) < len(places):
            raise BadValue("a place of the course is given as taken twice. Give its last take only.")
        self._again: int | None = None  # place that is played again while its take still counts
        self.ended = False

    @property
    def now(self) -> int | None:
        """Place to be played now; None at the end."""
        if self.ended:
            return None
        if self._again is not None:
            return self._again
        taken = {place for place, _ in self._taken}
        places = range(self._from, len(self.positions))
        return next((p for p in places if p not in taken and p not in self._skipped), None)

    @property
    def taken(self) -> tuple[tuple[int, int], ...]:
        """Place and number of every take that counts, in playing order."""
        return tuple(self._taken)

    @property
    def left(self) -> int:
        """How many takes are still to be played."""
        if self.ended:
            return 0
        gone = {place for place, _ in self._taken} | self._skipped
        open_places = sum(place not in gone for place in range(self._from, len(self.positions)))
        return open_places + (self._again is not None)

    @property
    def complete(self) -> bool:
        """Whether every take was played or skipped."""
        return len({place for place, _ in self._taken} | self._skipped) == len(self.positions)

    def take(self, number: int) -> tuple[int, int] | None:
        """Count the place that is played now as taken; return the take it replaces, if any."""
        place = self.now
        assert place is not None
        old = next((pair for pair in self._taken if pair[0] == place), None)
        if old is not None:
            self._taken.remove(old)
        self._taken.append((place, number))
        self._again = None
        return old

    def play_again(self) -> bool:
        """Ask for the last accepted take again; it counts until a new one is accepted."""
        if not self._taken:
            return False
        self._again, self.ended = self._taken[-1][0], False
        return True

    def skip(self) -> int | None:
        """Leave out the place that is played now; None when only a repeat was given up."""
        place = self.now
        if self._again is not None:
            self._again = None
            return None
        if place is not None:
            self._skipped.add(place)
        return place

    def undo(self) -> tuple[int, int] | None:
        """Take back the last accepted take; takes skipped after it are asked again."""
        if not self._taken:
            return None
        place, number = self._taken.pop()
        self._skipped -= {p for p in self._skipped if p > place}
        self._from = min(self._from, place)
        self._again, self.ended = None, False
        return place, number

    def drop(self, number: int, *, back: tuple[int, int] | None) -> None:
        """Forget a take that could not be written; ``back``, the take it had replaced, counts again."""
        self._taken = [pair for pair in self._taken if pair[1] != number]
        if back is not None:
            self._taken.append(back)
            self._again = back[0]

    def end(self) -> None:
        """End early: what is left is not asked again."""
        self.ended, self._again = True, None

    def extend(self, positions: Sequence[Position]) -> None:
        """Add takes at the end; after an early end only these are asked."""
        if self.ended:
            self._from, self.ended = len(self.positions), False
        self.positions += positions

    def states(self) -> tuple[tuple[Position, PlaceState], ...]:
        """What became of every place."""
        taken, now = {place for place, _ in self._taken}, self.now
        states = []
        for place, position in enumerate(self.positions):
            state = PlaceState.TO_PLAY
            if place == now:
                state = PlaceState.NOW
            elif place in taken:
                state = PlaceState.TAKEN
            elif place in self._skipped:
                state = PlaceState.SKIPPED
            states.append((position, state))
        return tuple(states)
