"""The takes of a listening session: planned, taken or skipped. The guide and the recorder share one list.

Conventions: an index is a place in the list, in playing order; a number belongs to one accepted take and is
never used twice, also after an undo.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from pitchcheck.takes import Position


class TakeState(StrEnum):
    """What became of one planned take."""

    TO_PLAY = "to play"
    TAKEN = "taken"
    SKIPPED = "skipped"


@dataclass(frozen=True)
class PlannedTake:
    """One entry of the list.

    Attributes
    ----------
    position : Position
    state : TakeState
    number : int or None
        Of the accepted take.
    file : str or None
        Its sound file as ``takes.csv`` names it; None until the take is on disk.
    hz : float or None
        As it was heard, where known: what later takes are held against. [Hz]
    """

    position: Position
    state: TakeState = TakeState.TO_PLAY
    number: int | None = None
    file: str | None = None
    hz: float | None = None

    @property
    def taken(self) -> bool:
        """Whether an accepted take stands here."""
        return self.state is TakeState.TAKEN


@dataclass(frozen=True)
class Reverted:
    """What an undo brought back: the index, and the entry as it was before the undo."""

    index: int
    entry: PlannedTake


class TakeList:
    """Planned takes and what became of them.

    Parameters
    ----------
    entries : iterable of PlannedTake
        In playing order.
    next_number : int >= 1
        Number of the next accepted take; raised above every number in use.
    """

    def __init__(self, entries: Iterable[PlannedTake] = (), *, next_number: int = 1) -> None:
        self._entries = list(entries)
        self.next_number = max([next_number, *(e.number + 1 for e in self._entries if e.number is not None)])
        self._actions = self._past_actions()
        self._again: int | None = None  # played again while its take still counts
        self._from = 0  # entries before it are not asked again after an early end
        self.ended = False

    @classmethod
    def planned(cls, positions: Iterable[Position]) -> TakeList:
        """Return a list of which nothing was played."""
        return cls(PlannedTake(position) for position in positions)

    @property
    def entries(self) -> tuple[PlannedTake, ...]:
        """All entries, in playing order."""
        return tuple(self._entries)

    @property
    def now(self) -> int | None:
        """Index to be played now; None at the end."""
        if self.ended:
            return None
        if self._again is not None:
            return self._again
        waiting = range(self._from, len(self._entries))
        return next((i for i in waiting if self._entries[i].state is TakeState.TO_PLAY), None)

    @property
    def taken(self) -> tuple[PlannedTake, ...]:
        """Accepted takes, oldest first."""
        return tuple(sorted((e for e in self._entries if e.taken), key=lambda e: e.number or 0))

    @property
    def left(self) -> int:
        """How many takes are still to be played."""
        if self.ended:
            return 0
        waiting = self._entries[self._from :]
        return sum(e.state is TakeState.TO_PLAY for e in waiting) + (self._again is not None)

    @property
    def complete(self) -> bool:
        """Whether every take was played or skipped."""
        return all(e.state is not TakeState.TO_PLAY for e in self._entries)

    @property
    def last_taken(self) -> int | None:
        """Index of the take that was accepted last."""
        last = self.taken[-1:]
        return self._entries.index(last[0]) if last else None

    def accept(self, index: int, *, hz: float | None = None) -> PlannedTake:
        """Count a new take at an index, under the next number; return the entry as it was before."""
        before = self._entries[index]
        number, self.next_number = self.next_number, self.next_number + 1
        self._entries[index] = PlannedTake(before.position, TakeState.TAKEN, number, None, hz)
        self._actions = [i for i in self._actions if i != index] + [index]
        self._again = None
        return before

    def stored(self, index: int, file: str) -> None:
        """Note the file of the take at an index: it is on disk."""
        self._entries[index] = replace(self._entries[index], file=file)

    def drop(self, index: int, before: PlannedTake) -> None:
        """Forget a take that could not be written; a take that it replaced counts again, and is asked for."""
        self._entries[index] = before
        if before.taken:
            self._again = index
        else:
            self._actions.remove(index)

    def play_again(self) -> bool:
        """Ask for the last accepted take again; it counts until a new one is accepted."""
        last = self.last_taken
        if last is None:
            return False
        self._again, self.ended = last, False
        return True

    def skip(self) -> int | None:
        """Leave out the take to be played now and return its index; None when only a repeat was given up."""
        index = self.now
        if self._again is not None:
            self._again = None
            return None
        if index is not None:
            self._entries[index] = replace(self._entries[index], state=TakeState.SKIPPED)
            self._actions.append(index)
        return index

    def undo(self) -> Reverted | None:
        """Take back the last thing that was done, a take or a skip: it is to be played again."""
        self._again, self.ended = None, False
        if not self._actions:
            return None
        index = self._actions.pop()
        entry = self._entries[index]
        self._entries[index] = PlannedTake(entry.position)
        self._from = min(self._from, index)
        return Reverted(index, entry)

    def end(self) -> None:
        """End early: what is left is not asked again."""
        self.ended, self._again = True, None

    def extend(self, positions: Sequence[Position]) -> None:
        """Add takes at the end; after an early end only these are asked."""
        if self.ended:
            self._from, self.ended = len(self._entries), False
        self._entries += [PlannedTake(position) for position in positions]

    def _past_actions(self) -> list[int]:
        """Return indices in the order in which they were taken, each skip after the take before it."""
        taken = sorted(
            (i for i, e in enumerate(self._entries) if e.taken), key=lambda i: self._entries[i].number or 0
        )
        actions = list(taken)
        for i, entry in enumerate(self._entries):
            if entry.state is TakeState.SKIPPED:
                before = [n for n, done in enumerate(actions) if done < i]
                actions.insert(before[-1] + 1 if before else 0, i)
        return actions
