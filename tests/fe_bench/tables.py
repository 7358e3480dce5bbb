"""Remakes the tables of docs/accuracy.md and docs/accuracy-job.md that come from the finite-element bench.

    python -m tests.fe_bench.tables plain stress job      all of them; half an hour on two cores
    python -m tests.fe_bench.tables stress --only "worn"  in pieces: rows whose label holds the text
    python -m tests.fe_bench.tables short                 the short form, a minute
    python -m tests.fe_bench.tables short --check         exit 1 if the document says something else

Each table stands between marks that carry its name. Seeds from 1000 on, which nobody tunes on.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers import marks

from . import job, single
from .following import ADAPTIVE
from .kinds import FIVE, KINDS
from .stress import SETS

START = 1000
# Instruments of each kind.
PLAIN = {"full": 6, "thorough": 2, ADAPTIVE: 6, "fretted": 2}
HAND = 2
STRESS = 1
JOBS = {"usual": 8, "other": 2, "fixed": 1}
SHORT = 1
ALL_KINDS = (*FIVE, "mandolin")
Maker = Callable[[], list[str]]
Piece = tuple[tuple[str, ...], Maker]  # labels of some rows, and what makes them together


def plain(workers: int) -> list[Piece]:
    """Level instruments, by course and kind; then rough hands."""

    def by_kind(takes: str, count: int) -> list[str]:
        work = single.cases("plain", kinds=ALL_KINDS, count=count, start=START, course=takes)
        found = single.run_all(work, workers)
        return [single.row(f"{takes}, {k}", [s for s in found if s.case.kind == k]) for k in ALL_KINDS]

    def by_hand(takes: str, hand: str) -> list[str]:
        work = single.cases("plain", kinds=FIVE, count=HAND, start=START, course=takes, hand=hand)
        return [single.row(f"{takes}, {hand} hand", single.run_all(work, workers))]

    pieces: list[Piece] = [
        (tuple(f"{takes}, {k}" for k in ALL_KINDS), partial(by_kind, takes, count))
        for takes, count in PLAIN.items()
    ]
    for hand in ("clumsy", "home"):
        for takes in ("full", ADAPTIVE):
            pieces.append(((f"{takes}, {hand} hand",), partial(by_hand, takes, hand)))
    return pieces


def stress(workers: int) -> list[Piece]:
    """What nobody modelled: all strings, then the outer ones without leaves and with."""

    def outer(found: list[single.Score]) -> list[single.Score]:
        last = {kind: len(KINDS[kind].wires) for kind in FIVE}
        return [s for s in found if s.number in (1, last[s.case.kind])]

    def rows(name: str) -> list[str]:
        full, leaves, asked = (
            single.run_all(
                single.cases(name, kinds=FIVE, count=STRESS, start=START, course=takes, leaves=leaves),
                workers,
            )
            for takes, leaves in (("full", False), ("full", True), (ADAPTIVE, True))
        )
        found = (full, asked, outer(full), outer(leaves), outer(asked))
        return [single.row(label, some) for label, some in zip(labels(name), found, strict=True)]

    def labels(name: str) -> tuple[str, ...]:
        return (
            f"{name}; full",
            f"{name}; adaptive",
            f"{name}; full, outer strings",
            f"{name}; full and leaves, outer strings",
            f"{name}; adaptive, outer strings",
        )

    return [(labels(name), partial(rows, name)) for name in SETS]


def jobs(workers: int) -> list[Piece]:
    """Whole jobs by course, hand, leaf reading and aim."""
    words = {
        "": [],
        "string": ["a leaf reading a pass"],
        "line": ["a leaf reading a pass, no arch over the nut"],
    }

    def one(label: str, count: int, case: tuple[str, str, str, str, bool, frozenset[str]]) -> list[str]:
        work = [job.JobCase(kind, START + i, *case) for i in range(count) for kind in FIVE]
        return [job.row(label, job.run_all(work, workers))]

    pieces: list[Piece] = []
    none, fall, both = frozenset[str](), frozenset({"fall"}), frozenset({"fall", "relief"})
    told_words = {none: [], fall: ["the fall behind the nut told"], both: ["the fall and relief told"]}
    for size, takes, hand, gauge, aim, leaves, told in (
        ("fixed", "full", "careful", "", "", True, none),
        ("fixed", "short", "careful", "", "", True, none),
        ("usual", ADAPTIVE, "careful", "", "", True, none),
        ("other", ADAPTIVE, "careful", "", "", False, none),
        ("other", ADAPTIVE, "careful", "", "new nut", True, none),
        ("other", ADAPTIVE, "careful", "string", "", True, none),
        ("other", ADAPTIVE, "careful", "", "", True, fall),
        ("other", ADAPTIVE, "careful", "string", "", True, fall),
        ("usual", ADAPTIVE, "careful", "", "", True, both),
        ("other", ADAPTIVE, "careful", "string", "", True, both),
        ("other", ADAPTIVE, "careful", "line", "", True, none),
        ("other", ADAPTIVE, "clumsy", "", "", True, none),
        ("fixed", ADAPTIVE, "clumsy", "string", "", True, none),
    ):
        without = [] if leaves else ["no leaves to lay"]
        aimed = [aim] if aim else []
        label = ", ".join([takes, f"{hand} hand", *without, *aimed, *told_words[told], *words[gauge]])
        pieces.append(((label,), partial(one, label, JOBS[size], (takes, hand, gauge, aim, leaves, told))))
    return pieces


def short(workers: int) -> list[Piece]:
    """A few instruments of every sort: what CI makes again."""

    def one(name: str) -> list[str]:
        work = single.cases(name, kinds=FIVE, count=SHORT, start=START, course="full")
        return [single.row(f"{name}, full", single.run_all(work, workers))]

    return [((f"{name}, full",), partial(one, name)) for name in ("plain", "uneven board", "press not down")]


def short_job(workers: int) -> list[Piece]:
    """A few jobs: what CI makes again."""
    label = f"{ADAPTIVE}, careful hand"

    def one() -> list[str]:
        work = [job.JobCase(kind, START + i) for i in range(SHORT) for kind in FIVE]
        return [job.row(label, job.run_all(work, workers))]

    return [((label,), one)]


def made(pieces: Sequence[Piece], old: str, only: str) -> list[str]:
    """Rows of a table: those whose label holds a text anew, the others as they stand."""
    standing = {line.split("|")[1].strip(): line for line in old.splitlines() if line.startswith("|")}
    rows: list[str] = []
    for labels, make in pieces:
        if any(only in label for label in labels):
            rows += make()
        else:
            rows += [standing[label] for label in labels if label in standing]
    return rows


TABLES: dict[str, tuple[str, tuple[str, ...], Callable[[int], list[Piece]]]] = {
    "plain": ("accuracy.md", single.HEAD, plain),
    "stress": ("accuracy.md", single.HEAD, stress),
    "job": ("accuracy-job.md", job.HEAD, jobs),
    "short": ("accuracy.md", single.HEAD, short),
    "short-job": ("accuracy-job.md", job.HEAD, short_job),
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Write tables, or check them."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("table", nargs="+", choices=list(TABLES))
    parser.add_argument("--check", action="store_true")
    parser.add_argument("--only", default="", help="only rows whose label holds this text; others stay")
    parser.add_argument("--workers", type=int, default=2)
    chosen = parser.parse_args(arguments)
    status = 0
    for name in chosen.table:
        file, head, pieces = TABLES[name]
        _, old, _ = marks.cut(file, f"fe_bench {name}")
        new = "\n".join([*head, *made(pieces(chosen.workers), old, chosen.only)]) + "\n"
        _, old, _ = marks.cut(file, f"fe_bench {name}")  # it may have changed meanwhile
        if not chosen.check:
            marks.write(file, f"fe_bench {name}", new)
        elif not marks.agree(old, new):
            print(f"docs/{file}, {name}: the document says\n{old}\nthe code says\n{new}")
            status = 1
    return status


if __name__ == "__main__":
    sys.exit(main())
