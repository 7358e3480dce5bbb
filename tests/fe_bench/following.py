"""Does as the program says while it listens: its base course first, then the takes it asks for next.

Conventions: as in ``sessions``. A player without leaves plays the rest of what is asked.
"""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Callable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from .player import Place, Player
from .sessions import Heard, course, listen, place_from

ADAPTIVE = "adaptive"
MOST_ROUNDS = 150  # of further takes in one pass: a course that asks for more never ends
Answer = dict[str, Any]


@lru_cache
def base_course(kind: str) -> tuple[Place, ...]:
    """Takes that `pitchcheck new` writes for a kind."""
    from pitchcheck.workflow import new_folder

    with tempfile.TemporaryDirectory() as home:
        new_folder(Path(home) / "new", kind=kind)
        with (Path(home) / "new" / "takes.csv").open(encoding="utf-8", newline="") as rows:
            return tuple(
                Place(int(row["string"]), row["stop"], int(row["fret"]) if row["fret"] else None)
                for row in csv.DictReader(rows)
            )


def first_takes(name: str, kind: str, strings: Sequence[int]) -> list[Place]:
    """The takes a pass begins with, of some strings."""
    if name != ADAPTIVE:
        return course(name, strings)
    return [place for place in base_course(kind) if place.string in strings]


def wanted(answer: Answer) -> list[Place]:
    """The run the program asks for next; from a program that only names one take, that take between opens."""
    if "next_takes" in answer:
        return [place_from(p) for p in answer["next_takes"] or []]
    one = answer["next_take"]
    if one is None:
        return []
    around = Place(one["string"], "open", None, one["capo"])
    return [around, place_from(one), around]


def follow(
    player: Player, heard: list[Heard], ask: Callable[[list[Heard]], Answer], *, leaves: bool = True
) -> tuple[Answer, bool]:
    """Play what is asked for until nothing is; the last answer, and whether it came to an end.

    ``heard`` grows by what is played; ``ask`` measures it.
    """
    answer = ask(heard)
    told = False  # that there are no leaves, by the open takes alone
    for _ in range(MOST_ROUNDS):
        asked = wanted(answer)
        places = [p for p in asked if leaves or p.stop != "leaf"]
        left_out = not any(p.stop != "open" for p in places)
        if left_out and (not places or told):
            return answer, True
        told = left_out
        heard += listen(player, places)
        answer = ask(heard)
    return answer, False
