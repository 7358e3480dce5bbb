"""Single measurements of instruments made by finite elements: errors, coverage, verdicts and cuts.

    python -m tests.fe_bench.single                      plain, every kind, full course
    python -m tests.fe_bench.single --set "uneven board" --course thorough --count 20 --kinds electric bass
    python -m tests.fe_bench.single --set all --count 8

Plain sets declare ``fretwork = "level"``; the others declare nothing. Errors of coverage count instruments.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import zlib
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from .following import ADAPTIVE, first_takes, follow
from .instruments import HANDS, Slots, draw, fixture_slots
from .kinds import FIVE, KINDS
from .player import Place, Player
from .sessions import Heard, listen, measure, write
from .stress import NYLON_ONLY, SETS, apply

UNDER_MM = 0.02  # a cut that leaves a slot further below its target than this is a cut too deep
LEAF_STEP_MM = 0.05  # leaves that lie on a bench; common practice, no source
LEAF_GUESS_MM = 0.10  # how well an eye guesses a gap before the first leaf; our choice
GROUPS = {
    "steel": ("electric", "acoustic", "mandolin"),
    "bass": ("bass",),
    "nylon": ("classical", "tenor ukulele"),
}


@dataclass(frozen=True)
class Case:
    """One instrument to be measured: everything that makes it the same again."""

    kind: str
    seed: int
    name: str = "plain"
    course: str = "full"
    hand: str = "careful"
    leaves: bool = False


@dataclass(frozen=True)
class Score:
    """What was said of one string, and the truth. [mm]"""

    case: Case
    number: int
    true_mm: float
    true_excess_mm: float
    floor_mm: float
    median_mm: float
    low_mm: float
    high_mm: float
    verdict: str
    remove_mm: float
    causes: tuple[str, ...]

    @property
    def error_mm(self) -> float:
        return self.median_mm - self.true_mm

    @property
    def held(self) -> bool:
        return self.low_mm <= self.true_mm <= self.high_mm


def player_of(case: Case, slots: Slots = fixture_slots) -> Player:
    """The instrument and its player; the same for every course, so that courses and sets compare in pairs.

    Kinds of one seed share what a careful hand does by chance, which is little. Of a rough hand it is most of
    the error, so there each instrument has its own, and each has its own faults.
    """
    kind, name = (zlib.crc32(text.encode()) for text in (case.kind, case.name))
    truth = draw(case.kind, np.random.default_rng([case.seed, kind]), hand=HANDS[case.hand], slots=slots)
    truth = apply(case.name, truth, np.random.default_rng([case.seed, name, kind]))
    if case.name == "plain":
        truth = replace(truth, stated={"fretwork": "level"})
    chance = [case.seed, 1 + zlib.crc32(case.course.encode())]
    if case.hand != "careful":
        chance.append(kind)
    return Player(truth, np.random.default_rng(chance))


def leaf_places(player: Player, string: int) -> list[Place]:
    """Leaves tried over fret 1 until one is free and the next is not: by eye, then in steps."""
    gap = player.gap_mm(string)
    size = max(1, round((gap + LEAF_GUESS_MM * float(player.rng.standard_normal())) / LEAF_STEP_MM))
    tried = [size]
    free = size * LEAF_STEP_MM < gap
    while len(tried) < 8 and (size > 1 or free):
        size += 1 if free else -1
        tried.append(size)
        if (size * LEAF_STEP_MM < gap) != free:
            break
    leaves = [Place(string, "leaf", 1, 0, size * LEAF_STEP_MM) for size in tried]
    return [Place(string, "open"), *leaves, Place(string, "open")]


def floor_mm(number: int, count: int) -> float:
    """The contract's default floor: 0.05 mm under string 1 to 0.10 under the last."""
    return 0.05 + 0.05 * (number - 1) / max(1, count - 1)


def run(case: Case) -> list[Score]:
    """Play, write, measure, score."""
    player = player_of(case)
    truth = player.truth
    numbers = [s.number for s in truth.strings]
    heard = listen(player, first_takes(case.course, case.kind, numbers))
    if case.leaves and case.course != ADAPTIVE:
        for string in (numbers[0], numbers[-1]):
            heard += listen(player, leaf_places(player, string))
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home) / "session"

        def ask(heard: list[Heard]) -> dict[str, Any]:
            write(folder, truth, heard)
            return measure(folder)

        if case.course == ADAPTIVE:
            answer, _ = follow(player, heard, ask, leaves=case.leaves)
        else:
            answer = ask(heard)
    return scores(case, player, answer)


def scores(case: Case, player: Player, answer: dict[str, Any]) -> list[Score]:
    """Hold every measured string of an answer against the truth."""
    count = len(player.truth.strings)
    found = []
    for said in answer["strings"]:
        belief = said["slot_height_mm"]
        if belief["median"] is None:
            continue
        true = player.slot_mm(said["number"])
        found.append(
            Score(
                case=case,
                number=said["number"],
                true_mm=true,
                true_excess_mm=true - said["target_mm"],
                floor_mm=floor_mm(said["number"], count),
                median_mm=belief["median"],
                low_mm=belief["low"],
                high_mm=belief["high"],
                verdict=said["verdict"],
                remove_mm=said["remove_now_mm"],
                causes=tuple(sorted({f["cause"] for f in answer["findings"]})),
            )
        )
    return found


@dataclass(frozen=True)
class Summary:
    """Figures of many strings. Parts are of the strings of which they could be said. [mm, -]"""

    strings: int
    median_mm: float
    far_mm: float
    bias_mm: float
    width_mm: float
    held: float
    held_error: float
    wrongly_high: float  # of slots at or below target
    wrongly_low: float  # of slots not below their floor
    overcut: float  # of all
    unsure: float  # of all
    helped: float  # of slots 0.3 mm and more above target: at least 40 % of the excess comes off


def summary(found: Sequence[Score]) -> Summary:
    """Figures of some scores."""

    def part(hits: Iterable[bool]) -> float:
        hits = list(hits)
        return float(np.mean(hits)) if hits else float("nan")

    error = np.array([s.error_mm for s in found])
    names = sorted({(s.case.kind, s.case.seed) for s in found})
    held = part(s.held for s in found)
    off = [sum(s.held - held for s in found if (s.case.kind, s.case.seed) == name) for name in names]
    return Summary(
        strings=len(found),
        median_mm=float(np.median(np.abs(error))),
        far_mm=float(np.percentile(np.abs(error), 95)),
        bias_mm=float(np.mean(error)),
        width_mm=float(np.median([s.high_mm - s.low_mm for s in found])),
        held=held,
        held_error=float(np.sqrt(np.sum(np.square(off))) / len(found)),
        wrongly_high=part(s.verdict == "high" for s in found if s.true_excess_mm <= 0),
        wrongly_low=part(s.verdict == "low" for s in found if s.true_mm >= s.floor_mm),
        overcut=part(s.remove_mm > 0 and s.true_excess_mm - s.remove_mm < -UNDER_MM for s in found),
        unsure=part(s.verdict == "unsure" for s in found),
        helped=part(s.remove_mm >= 0.4 * s.true_excess_mm for s in found if s.true_excess_mm >= 0.3),
    )


HEAD = (
    "| takes | strings | median error | 95th percentile | mean | 90 % intervals hold | their width "
    "| wrongly high | wrongly low | too deep | unsure | helped |",
    "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
)


def row(name: str, found: Sequence[Score]) -> str:
    """One line of the table."""
    s = summary(found)
    parts = (s.wrongly_high, s.wrongly_low, s.overcut, s.unsure, s.helped)
    return (
        f"| {name} | {s.strings} | {s.median_mm:.3f} | {s.far_mm:.3f} | {s.bias_mm:+.3f} "
        f"| {100 * s.held:.0f} ± {100 * s.held_error:.0f} % | {s.width_mm:.2f} | "
        + " | ".join("–" if np.isnan(p) else f"{100 * p:.1f} %" for p in parts)
        + " |"
    )


def cases(name: str, **options: Any) -> list[Case]:
    """Cases of a set over kinds and seeds; nylon's own effect is asked of nylon only."""
    kinds, count, start = options.pop("kinds"), options.pop("count"), options.pop("start", 0)
    if name in NYLON_ONLY:
        kinds = [k for k in kinds if k in GROUPS["nylon"]]
    return [Case(kind, start + i, name, **options) for i in range(count) for kind in kinds]


def run_all(work: Sequence[Case], workers: int = 1) -> list[Score]:
    """Scores of all cases, in order."""
    if workers < 2:
        return [score for case in work for score in run(case)]
    with ProcessPoolExecutor(workers) as pool:
        return [score for part in pool.map(run, work, chunksize=2) for score in part]


def by_group(name: str, found: Sequence[Score]) -> list[str]:
    """Lines for steel, bass, nylon and, if there are several, all."""
    rows = []
    for group, kinds in GROUPS.items():
        few = [s for s in found if s.case.kind in kinds]
        if few:
            rows.append(row(f"{name}, {group}", few))
    return rows


def main(arguments: Sequence[str] | None = None) -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--set", nargs="+", default=["plain"], help='sets by name, "stress" or "all"')
    parser.add_argument("--course", nargs="+", default=["full"])
    parser.add_argument("--hand", nargs="+", default=["careful"], choices=list(HANDS))
    parser.add_argument("--kinds", nargs="+", default=list(FIVE), choices=list(KINDS))
    parser.add_argument("--count", type=int, default=8, help="instruments of each kind")
    parser.add_argument("--start", type=int, default=0, help="first seed")
    parser.add_argument("--leaves", action="store_true", help="leaf takes: on the outer strings, or as asked")
    parser.add_argument("--by", choices=["group", "kind", "set"], default="group")
    parser.add_argument("--workers", type=int, default=1)
    chosen = parser.parse_args(arguments)
    names = [n for asked in chosen.set for n in _named(asked)]
    print("\n".join(HEAD))
    for name in names:
        for takes in chosen.course:
            for hand in chosen.hand:
                work = cases(
                    name,
                    kinds=chosen.kinds,
                    count=chosen.count,
                    start=chosen.start,
                    course=takes,
                    hand=hand,
                    leaves=chosen.leaves,
                )
                found = run_all(work, chosen.workers)
                label = ", ".join([name, takes, *([] if hand == "careful" else [hand])])
                if chosen.by == "group":
                    print("\n".join(by_group(label, found)))
                elif chosen.by == "kind":
                    for kind in dict.fromkeys(c.kind for c in work):
                        print(row(f"{label}, {kind}", [s for s in found if s.case.kind == kind]))
                else:
                    print(row(label, found))
                sys.stdout.flush()


def _named(asked: str) -> tuple[str, ...]:
    if asked == "all":
        return SETS
    if asked == "stress":
        return SETS[1:]
    if asked not in SETS:
        raise SystemExit(f"{asked!r} is no set; it must be one of {', '.join(SETS)}, stress or all.")
    return (asked,)


if __name__ == "__main__":
    main()
