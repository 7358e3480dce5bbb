"""Mutation run: do the everyday tests see small faults in the core?

    python -m tests.mutations reach                     which tests run which line (again after changes)
    python -m tests.mutations run --count 100 --seed 1  so many at random; goes on where it stopped
    python -m tests.mutations run --match plan/bottom   all whose name holds this text
    python -m tests.mutations table --count 100 --write the result into docs/mutations.md

Results are kept in ``--keep`` (build/mutations), one line of JSON a fault. What is there is not tried
again, unless it lived and ``--again`` is given.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import shutil
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from . import listing
from .operators import Mutant, mutants
from .runs import NEAR, ROOT, Reach, copy_project, measure_reach, trials


def drawn(count: int, seed: int, packages: Sequence[str]) -> list[Mutant]:
    """So many of all faults in some packages, but those judged to be equivalent."""
    known = listing.equivalents()
    every = mutants(ROOT, tuple(packages))
    random.Random(seed).shuffle(every)
    return [m for m in every if listing.reason(m, known) is None][:count]


def run(chosen: Sequence[Mutant], keep: Path, *, again: bool, near_only: bool, most_s: float) -> None:
    """Try those that were not tried yet, and keep each result at once."""
    results = keep / "results.jsonl"
    old = {name: row["caught"] for name, row in listing.results(results).items()}
    left = [m for m in chosen if m.name not in old or (again and not old[m.name])]
    with tempfile.TemporaryDirectory() as scratch:
        place = copy_project(Path(scratch) / "copy")
        for done in trials(left, place, Reach(keep), near_only=near_only, most_s=most_s):
            row = {
                "name": done.mutant.name,
                "caught": done.caught,
                "by": done.by.strip(),
                "tests": done.tests,
            }
            with results.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")
            print("caught" if done.caught else "LIVED ", done.mutant.name[:170], flush=True)


def main(arguments: Sequence[str] | None = None) -> int:
    """Do what the first word says."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.mutations",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("what", choices=("reach", "list", "run", "table"))
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--match", default="", help="all whose name holds this, instead of a random choice")
    parser.add_argument("--keep", type=Path, default=ROOT / "build" / "mutations")
    parser.add_argument("--again", action="store_true", help="try those once more that lived")
    parser.add_argument(
        "--near", action="store_true", help="tests of neighbouring packages only: a lower limit"
    )
    parser.add_argument(
        "--most", type=float, default=math.inf, help="seconds of tests a fault, the quickest: a lower limit"
    )
    parser.add_argument("--packages", nargs="+", choices=NEAR, default=tuple(NEAR))
    parser.add_argument("--write", action="store_true", help="table: into docs/mutations.md")
    given = parser.parse_args(arguments)
    keep = given.keep.resolve()
    if given.what == "reach":
        shutil.rmtree(keep, ignore_errors=True)
        measure_reach(keep)
        return 0
    every = mutants(ROOT, tuple(NEAR))
    chosen = [m for m in every if given.match in m.name]
    if not given.match:
        chosen = drawn(given.count, given.seed, given.packages)
    if given.what == "list":
        print(*(m.name for m in chosen), sep="\n")
    elif given.what == "run":
        run(chosen, keep, again=given.again, near_only=given.near, most_s=given.most)
    else:
        text = listing.table(chosen, listing.results(keep / "results.jsonl"))
        listing.write(text) if given.write else print(text)
    return 0


if __name__ == "__main__":
    sys.exit(main())
