"""Whole jobs on instruments made by finite elements: listen, file as told, listen again, to the end.

    python -m tests.fe_bench.job                  the course `new` writes and what `next_takes` asks
    python -m tests.fe_bench.job --course full short --count 6              fixed courses
    python -m tests.fe_bench.job --hand clumsy --gauge string   a clumsy hand, one leaf reading a pass

The program is used as anybody would: `new` for the base course, a folder for each pass with ``[before]``, the
strings that were filed played again. Nobody tells it how much came off.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from .following import ADAPTIVE, first_takes, follow
from .instruments import HANDS, job_slots
from .kinds import FIVE, KINDS
from .player import Player
from .sessions import Heard, listen, measure, write
from .single import UNDER_MM, Case, floor_mm, player_of

MOST_PASSES = 12
FILED_PART = (0.7, 1.0)  # of what was said
FILED_SD_MM = 0.01
POST_MM = 60.0
GAUGE_MM = 0.013  # standard deviation of a leaf reading of the gap over fret 1, string held behind fret 3
# What a job costs in time; common practice, no source.
PLUCK_S = {"open": 6.0, "fret": 8.0, "press": 12.0, "leaf": 15.0}
PASS_MIN, FILED_MIN, GAUGE_MIN = 3.0, 2.0, 1.0  # slackening and settling; each slot filed; a leaf reading


@dataclass(frozen=True)
class JobCase:
    """A job to be done: an instrument, a hand, a course and whether one slot is gauged in every pass."""

    kind: str
    seed: int
    course: str = ADAPTIVE
    hand: str = "careful"
    gauge: str = ""  # "string": the gap as it is; "line": as straight lines from the slot would have it
    aim: str = ""
    leaves: bool = True
    told: frozenset[str] = frozenset()  # lengths told in the settings: "fall" behind the nut, "relief"


@dataclass(frozen=True)
class Slot:
    """How one slot ended. [mm]"""

    number: int
    before_mm: float
    after_mm: float
    target_mm: float
    floor_mm: float
    filed: bool

    @property
    def excess_mm(self) -> float:
        return self.after_mm - self.target_mm


@dataclass
class Done:
    """A job, done. ``held`` says of every string heard in every pass whether the interval held the truth."""

    case: JobCase
    strings: int
    slots: list[Slot] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    plucks: int = 0
    passes: int = 0
    minutes: float = 0.0
    ended: str = "nothing to file"


def do(case: JobCase) -> Done:
    """Do a whole job."""
    player = player_of(Case(case.kind, case.seed, "plain", case.course, case.hand), slots=job_slots)
    player.truth = replace(player.truth, stated=player.truth.stated | _stated(player, case.told))
    numbers = [s.number for s in player.truth.strings]
    done = Done(case, len(numbers))
    touched: set[int] = set()
    strings = numbers
    targets: dict[int, float] = {}
    with tempfile.TemporaryDirectory() as home:
        while strings:
            if done.passes == MOST_PASSES:
                done.ended = "too many passes"
                break
            done.passes += 1
            answer = _pass(case, player, strings, Path(home), done)
            targets |= {s["number"]: s["target_mm"] for s in answer["strings"]}
            _check(answer, player, strings, done)
            told = {s["number"]: s["remove_now_mm"] for s in answer["strings"] if s["remove_now_mm"] > 0}
            for string, said in told.items():
                part = float(player.rng.uniform(*FILED_PART))
                player.file(string, max(0.0, said * part + FILED_SD_MM * float(player.rng.standard_normal())))
            touched |= set(told)
            done.minutes += FILED_MIN * len(told)
            strings = sorted(told)
    for string in player.truth.strings:
        number = string.number
        done.slots.append(
            Slot(
                number,
                string.slot_mm,
                player.slot_mm(number),
                targets[number],
                floor_mm(number, len(numbers)),
                number in touched,
            )
        )
    return done


def _stated(player: Player, told: frozenset[str]) -> dict[str, str]:
    """Lengths as somebody measures them: the fall to half a millimetre, relief by leaves in steps of 0.05."""
    stated: dict[str, str] = {}
    if "fall" in told:
        fall_mm = round(2 * POST_MM * np.tan(player.truth.neck.break_rad)) / 2
        stated |= {"nut_to_post": f"{POST_MM:.0f} mm", "fall_to_post": f"{fall_mm:.1f} mm"}
    if "relief" in told:
        stated["relief"] = f"{round(20 * player.truth.neck.relief_mm) / 20:.2f} mm"
    return stated


def _pass(case: JobCase, player: Player, strings: Sequence[int], home: Path, done: Done) -> dict[str, Any]:
    """Listen until the program has heard enough, and return its last answer."""
    folder = home / f"pass-{done.passes}"
    meter = [_gauged(player, strings, done.passes, case.gauge)] if case.gauge else []
    before = f"../pass-{done.passes - 1}" if done.passes > 1 else None
    heard = listen(player, first_takes(case.course, case.kind, strings))
    done.minutes += PASS_MIN * (done.passes > 1) + GAUGE_MIN * bool(case.gauge)

    def ask(heard: list[Heard]) -> dict[str, Any]:
        write(folder, player.truth, heard, meter=meter, before=before, aim=case.aim)
        return measure(folder)

    if case.course == ADAPTIVE:
        said, ends = follow(player, heard, ask, leaves=case.leaves)
        if not ends:
            done.ended = "asks for ever"
    else:
        said = ask(heard)
    done.plucks += len(heard)
    done.minutes += sum(_seconds(h) for h in heard) / 60
    return said


def _seconds(heard: Heard) -> float:
    return PLUCK_S[heard.place.stop]


def _gauged(player: Player, strings: Sequence[int], turn: int, how: str) -> dict[str, object]:
    """A leaf reading under an outer string of those played, bass side and treble side in turn."""
    string = max(strings) if turn % 2 else min(strings)
    exact = player.gap_mm(string, held=3) if how == "string" else player.line_gap_mm(string)
    gap = exact + GAUGE_MM * float(player.rng.standard_normal())
    return {
        "what": "clearance_third",
        "string": string,
        "value": f"{max(0.0, gap):.3f} mm",
        "error": f"{GAUGE_MM} mm",
    }


def _check(answer: dict[str, Any], player: Player, strings: Sequence[int], done: Done) -> None:
    for said in answer["strings"]:
        belief = said["slot_height_mm"]
        if said["number"] in strings and belief["median"] is not None:
            done.held.append(belief["low"] <= player.slot_mm(said["number"]) <= belief["high"])


@dataclass(frozen=True)
class JobSummary:
    """Figures of many jobs. Parts are of all strings, the median of those that began above target."""

    jobs: int
    plucks: float  # a string
    passes: float
    minutes: float
    median_mm: float
    left: float  # more than 0.20 mm above target
    under: float  # filed, and more than UNDER_MM below target
    below_floor: int  # filed below the floor: how many slots
    held: float
    helped: float  # of the mean excess that there was, how much is gone


LEFT_MM = 0.20


def summary(jobs: Sequence[Done]) -> JobSummary:
    """Figures of some jobs."""
    slots = [s for job in jobs for s in job.slots]
    high = [s for s in slots if s.before_mm > s.target_mm]
    return JobSummary(
        jobs=len(jobs),
        plucks=float(np.mean([job.plucks / job.strings for job in jobs])),
        passes=float(np.mean([job.passes for job in jobs])),
        minutes=float(np.mean([job.minutes for job in jobs])),
        median_mm=float(np.median([s.excess_mm for s in high])),
        left=float(np.mean([s.excess_mm > LEFT_MM for s in slots])),
        under=float(np.mean([s.filed and s.excess_mm < -UNDER_MM for s in slots])),
        below_floor=sum(s.filed and s.after_mm < s.floor_mm for s in slots),
        held=float(np.mean([h for job in jobs for h in job.held])),
        helped=1 - sum(max(0.0, s.excess_mm) for s in high) / sum(s.before_mm - s.target_mm for s in high),
    )


HEAD = (
    "| course | jobs | plucks a string | passes | minutes | median end excess | left over 0.20 mm high "
    "| filed under by 0.02 mm | below floor | 90 % intervals hold |",
    "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
)


def row(name: str, jobs: Sequence[Done]) -> str:
    """One line of the table."""
    s = summary(jobs)
    return (
        f"| {name} | {s.jobs} | {s.plucks:.1f} | {s.passes:.1f} | {s.minutes:.0f} | {s.median_mm:.2f} "
        f"| {100 * s.left:.1f} % | {100 * s.under:.1f} % | {s.below_floor} | {100 * s.held:.0f} % |"
    )


def run_all(work: Sequence[JobCase], workers: int = 1) -> list[Done]:
    """Jobs done, in order."""
    if workers < 2:
        return [do(case) for case in work]
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(do, work))


def main(arguments: Sequence[str] | None = None) -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--course", nargs="+", default=[ADAPTIVE])
    parser.add_argument("--hand", nargs="+", default=["careful"], choices=list(HANDS))
    parser.add_argument("--kinds", nargs="+", default=list(FIVE), choices=list(KINDS))
    parser.add_argument("--count", type=int, default=2, help="instruments of each kind")
    parser.add_argument("--start", type=int, default=0, help="first seed")
    parser.add_argument("--gauge", default="", choices=["string", "line"], help="one leaf reading a pass")
    parser.add_argument(
        "--no-leaves", action="store_true", help="leaf takes that are asked for are not played"
    )
    parser.add_argument("--aim", default="", help='"new nut" or "set-up"')
    parser.add_argument(
        "--told", nargs="*", default=[], choices=["fall", "relief"], help="lengths told in the settings"
    )
    parser.add_argument("--each", action="store_true", help="a line for every job too")
    parser.add_argument("--workers", type=int, default=1)
    chosen = parser.parse_args(arguments)
    print("\n".join(HEAD))
    for takes in chosen.course:
        for hand in chosen.hand:
            work = [
                JobCase(
                    kind,
                    chosen.start + i,
                    takes,
                    hand,
                    chosen.gauge,
                    chosen.aim,
                    not chosen.no_leaves,
                    frozenset(chosen.told),
                )
                for i in range(chosen.count)
                for kind in chosen.kinds
            ]
            jobs = run_all(work, chosen.workers)
            print(row(", ".join([takes, hand, *([f"gauge {chosen.gauge}"] if chosen.gauge else [])]), jobs))
            if chosen.each:
                for job in jobs:
                    rest = " ".join(f"{s.before_mm:.2f}>{s.excess_mm:+.2f}" for s in job.slots)
                    print(
                        f"    {job.case.kind} {job.case.seed}: {job.plucks} plucks, {job.passes} passes, "
                        f"{job.ended}; {rest}"
                    )
            sys.stdout.flush()


if __name__ == "__main__":
    main()
