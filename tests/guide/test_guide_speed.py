"""How soon a verdict comes, and how much of a processor the listening takes.

Times are processor time of this process, so that other work on the machine does not count.
"""

from __future__ import annotations

import time

import numpy as np

from helpers.guide import RATE_HZ, make_bench
from pitchcheck.guide.events import Accepted, Outcome, Sound, Stored
from pitchcheck.guide.guide import Guide
from pitchcheck.guide.take_list import PlannedTake, TakeList, TakeState
from pitchcheck.takes import Position, Stop

VERDICT_S = 0.3  # the requirement, from having enough sound to the verdict
HOP_S = 0.05  # of it the ear may spend waiting for its step to be complete
SHARE = 0.30  # the requirement: of one core
PIECE = 480  # 10 ms, a usual block of a sound card
STRINGS = ("electric", "bass")


def test_a_verdict_comes_soon_and_listening_is_cheap() -> None:
    for kind in STRINGS:
        bench = make_bench(np.random.default_rng(4), kind)
        course = [Position(4, Stop.OPEN), Position(4, Stop.FRET, 1)]
        sounds = [bench.heard(bench.note(position, seconds=3.0)) for position in course]
        stream = np.concatenate([bench.room(1.0), *sounds])
        first = PlannedTake(course[0], TakeState.TAKEN, 1)
        takes = TakeList([first, *(PlannedTake(position) for position in course)])
        guide = Guide(bench.instrument, takes=takes, rate_hz=RATE_HZ)
        slowest = used = 0.0
        heard: list[Outcome] = []
        for i in range(0, stream.size, PIECE):
            start = time.process_time()
            outcomes = guide.step(Sound(stream[i : i + PIECE]))
            guide.view()
            spent = time.process_time() - start
            used += spent
            if outcomes:
                slowest = max(slowest, spent)
                heard += outcomes
            for outcome in outcomes:
                if isinstance(outcome, Accepted):
                    guide.step(Stored(outcome.number))
        assert sum(isinstance(o, Accepted) for o in heard) == len(course)
        print(
            f"{kind}: verdict {1000 * slowest:.0f} ms, {100 * used * RATE_HZ / stream.size:.0f} % of a core"
        )
        assert slowest < VERDICT_S - HOP_S
        assert used < SHARE * stream.size / RATE_HZ
