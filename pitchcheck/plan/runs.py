"""Runs of takes that may be asked for: presses, frets or leaves between open takes of a string.

Conventions: mm and seconds. A run goes from an open take to an open take of one string, as a tenth of a cent
hangs on it. What a leaf take says is half a fret wide: any open take of its string in the same pass will do.
The first leaves of a pass lie between open takes all the same, by which one sees that they were left out.
Several runs, of one string or of all, make one proposal.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.fit.result import Fit
from pitchcheck.instrument import SessionSettings
from pitchcheck.plan.decision import LEAF_PLUCK_S, PLUCK_S
from pitchcheck.takes import Position, Stop

# Runs between two open takes, by fret; several of them make one proposal for a string. Presses in the first
# two spaces tell most; the third and the fourth average the frets. Long ones look ahead: where a rough hand
# must play much before anything may be filed, a short run gains nothing and a long one does.
PRESS_RUNS: tuple[tuple[tuple[int, ...], ...], ...] = (
    ((1,),),
    ((1, 2),),
    ((1, 2, 1),),
    ((3, 4),),
    ((1, 2), (1, 2)),
    ((1, 2), (3, 4)),
    ((1, 2, 1), (1, 2, 1)),
    ((1, 2, 1), (3, 4, 3)),
    4 * ((1, 2, 1),),
)
# The same on every string on which something hangs: what they share is known better by all of them.
PRESS_RUNS_OF_ALL: tuple[tuple[tuple[int, ...], ...], ...] = (
    ((1, 2),),
    ((1, 2, 1),),
    ((3, 4),),
    ((1, 2, 1), (1, 2, 1)),
    4 * ((1, 2, 1),),
)
FRET_RUNS: tuple[tuple[tuple[int, ...], ...], ...] = (((1,),), ((2, 3),), ((12,),), ((1,), (2, 3), (12,)))
USUAL_READING_CENTS = 0.2  # [cent] of one stopped take against its open strings, when no take says it
LEAF_STEP_MM = 0.05  # [mm] leaves that lie on a bench go in such steps; common practice, no source
MOST_LEAVES = 3  # in one run; our choice
MOST_APART = 3  # steps between them, where little is known of a gap; our choice
LEAF_REACH = 1.3  # [sd] leaves further from the middle of the belief tell too little to be looked at


@dataclass(frozen=True)
class Run:
    """A proposal: takes as they are played, an open one of the string before and after each part.

    Attributes
    ----------
    parts : tuple of tuple of Position
        Stopped takes between two open ones, all of one string.
    bare : frozenset of int
        Strings whose leaf takes need no open takes around them any more.
    """

    parts: tuple[tuple[Position, ...], ...]
    bare: frozenset[int] = frozenset()

    @property
    def stopped(self) -> tuple[Position, ...]:
        """All but the open takes."""
        return tuple(position for part in self.parts for position in part)

    @property
    def strings(self) -> frozenset[int]:
        """Numbers of the strings that are played."""
        return frozenset(part[0].string for part in self.parts)

    @property
    def takes(self) -> tuple[Position, ...]:
        """All takes in playing order."""
        played: list[Position] = []
        for part in self.parts:
            reference = Position(part[0].string, Stop.OPEN)
            if part[0].stop is Stop.LEAF and reference.string in self.bare:
                played += part
                continue
            if not played or played[-1] != reference:
                played.append(reference)
            played += [*part, reference]
        return tuple(played)

    @property
    def seconds(self) -> float:
        """Time that it takes to play."""
        return sum(LEAF_PLUCK_S if p.stop is Stop.LEAF else PLUCK_S for p in self.takes)

    def begun(self, most: int) -> Run:
        """Its first parts, no more takes than ``most``, one part at least."""
        count = len(self.parts)
        while count > 1 and len(replace(self, parts=self.parts[:count]).takes) > most:
            count -= 1
        return replace(self, parts=self.parts[:count])

    @classmethod
    def joined(cls, runs: Iterable[Run]) -> Run:
        """Some runs as one, in order."""
        runs = tuple(runs)
        bare = frozenset[int]().union(*(run.bare for run in runs))
        return cls(tuple(part for run in runs for part in run.parts), bare)


def run_of(numbers: Sequence[int], stop: Stop, frets: tuple[tuple[int, ...], ...]) -> Run:
    """Return the same stopped takes on some strings, one string after the other."""
    return Run(
        tuple(tuple(Position(number, stop, fret) for fret in part) for number in numbers for part in frets)
    )


def leaf_runs(
    settings: SessionSettings, fit: Fit, number: int, *, bare: frozenset[int] = frozenset()
) -> Iterator[Run]:
    """Yield leaves of some thicknesses about the gap that is believed: one, or some that may bracket it.

    ``bare`` is that of the runs.
    """
    assert fit.joint is not None
    probe = Position(number, Stop.LEAF, 1, leaf_mm=LEAF_STEP_MM)
    outlook = fit.joint.outlook(settings.instrument, (probe,), reading_cents=USUAL_READING_CENTS)
    gap = float(outlook.expected[0])
    reach = LEAF_REACH * float(np.sqrt(outlook.covariance[-1, -1]))
    thinnest = max(1, round((gap - reach) / LEAF_STEP_MM))
    thickest = round((gap + reach) / LEAF_STEP_MM)
    for count in range(1, MOST_LEAVES + 1):
        for apart in range(1, MOST_APART + 1 if count > 1 else 2):
            for step in range(thinnest, thickest - apart * (count - 1) + 1):
                steps = range(step, step + apart * count, apart)
                leaves = tuple(replace(probe, leaf_mm=round(s * LEAF_STEP_MM, 2)) for s in steps)
                yield Run((leaves,), bare)
