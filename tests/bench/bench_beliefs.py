"""The table of docs/beliefs.md: what the fit believes of an instrument and of a hand before it hears a note.

    python -m tests.bench.bench_beliefs --write      or --check: status 1 where the document says otherwise

Everything is taken from the fit as it is solved: centre and spread of the coordinates of cases, the hand's
scatter at that centre, and the notes that are predicted there.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np

from helpers import marks
from pitchcheck.fit.cases import CaseKind, Coordinate, linearise
from pitchcheck.fit.hand import CAREFUL, hand_parts
from pitchcheck.fit.unknowns import CaseRequest, PassEffects, Unknowns, build_unknowns
from pitchcheck.instrument import Fretwork, Instrument, MeterQuantity, Tailpiece
from pitchcheck.session.presets import get_preset
from pitchcheck.takes import Stop

FILE = "beliefs.md"
C = Coordinate
PRESS_1, PRESS_2 = CaseKind(Stop.PRESS, 1, 0), CaseKind(Stop.PRESS, 2, 0)
FRET_1, FRET_2 = CaseKind(Stop.FRET, 1, 0), CaseKind(Stop.FRET, 2, 0)
GAP = CaseKind(None, 0, 0, MeterQuantity.CLEARANCE_THIRD)
FLOOR = CaseKind(None, 0, 0, MeterQuantity.SLOT_FLOOR)
PASSES = (PassEffects(), PassEffects())
# What is said of every coordinate: its words, unit, and the case it is taken from.
SAID: dict[Coordinate, tuple[str, str, CaseKind]] = {
    C.SLOT_HEIGHT: ("slot height", "mm", PRESS_1),
    C.NUT_OFFSET: ("nut from its place", "mm", PRESS_1),
    C.SADDLE: ("extra length at the saddle", "mm", PRESS_1),
    C.ACTION_12: ("action over fret 12", "mm", PRESS_1),
    C.RELIEF: ("relief", "mm", PRESS_1),
    C.LOG_FRET_HEIGHT: ("fret height", "mm", PRESS_1),
    C.FRET_ERROR_1: ("fret 1 off the plane", "mm", PRESS_1),
    C.FRET_ERROR_4: ("fret 4 off the plane", "mm", PRESS_1),
    C.BREAK: ("angle behind the nut", "rad", PRESS_1),
    C.ARCH_PART: ("arch that is kept over the nut", "", GAP),
    C.LOG_STRETCH_FACTOR: ("stretch factor", "", PRESS_1),
    C.LOG_BEND: ("bending length", "mm", PRESS_1),
    C.LOG_FORCE: ("fretting force over tension", "", FRET_1),
    C.ROD_HALF: ("half the rod's flat", "mm", PRESS_1),
    C.ROD_PLACE: ("rod off the middle, every press alike", "mm", PRESS_1),
    C.SIDE: ("square of the push sideways", "mm²", PRESS_1),
    C.GIVE: ("give of the board", "mm/N", PRESS_1),
    C.BOARD: ("board off its depth", "mm", PRESS_1),
    C.NECK_BENDS: ("curvature of the neck over the rod's moment", "1/(N m²)", PRESS_1),
    C.TENSION: ("tension", "N", PRESS_1),
    C.OFFSET_CENTS: ("note off by its fret's place and the body", "cent", PRESS_1),
}
LOGARITHMS = (C.LOG_FRET_HEIGHT, C.LOG_STRETCH_FACTOR, C.LOG_BEND, C.LOG_FORCE)
ON_LEVEL = (
    C.RELIEF,
    C.FRET_ERROR_1,
    C.LOG_STRETCH_FACTOR,
    C.ROD_PLACE,
    C.BOARD,
    C.NECK_BENDS,
    C.OFFSET_CENTS,
)
BY_MAKE = (C.SADDLE, C.ACTION_12, C.LOG_STRETCH_FACTOR, C.LOG_BEND, C.TENSION, C.LOG_FORCE)
NO_GAUGE = (C.LOG_STRETCH_FACTOR, C.LOG_BEND, C.TENSION)
NOTES = (
    (Stop.PRESS, 1),
    (Stop.PRESS, 2),
    (Stop.PRESS, 4),
    (Stop.FRET, 1),
    (Stop.FRET, 3),
    (Stop.FRET, 12),
)


def instrument(kind: str) -> Instrument:
    """An instrument of a kind of which nothing is known but its strings."""
    preset = get_preset(kind)
    return Instrument(kind, preset.scale_mm, preset.strings)


def beliefs() -> list[str]:
    """Rows: of one coordinate its centre, its spread, and how far strings, spaces and passes lie apart."""
    rows = [
        "| belief | of | centre | spread | two strings | two spaces | two passes |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    electric, classical = instrument("electric"), instrument("classical")
    level = replace(electric, fretwork=Fretwork.LEVEL)
    floating = replace(electric, tailpiece=Tailpiece.FLOATING)
    level_nylon = replace(classical, fretwork=Fretwork.LEVEL)
    rows += [_row(electric, 1, 2, at, "electric, string 1") for at in SAID]
    rows += [_row(level, 1, 2, at, "the same, level frets") for at in ON_LEVEL]
    rows.append(_row(floating, 1, 2, C.LOG_STRETCH_FACTOR, "the same, floating bridge"))
    rows += [_row(electric, 6, 5, at, "electric, string 6, wound") for at in BY_MAKE]
    rows += [_row(classical, 1, 2, at, "classical, string 1") for at in BY_MAKE]
    rows.append(_row(level_nylon, 1, 2, C.LOG_STRETCH_FACTOR, "the same, level frets"))
    rows += [_row(classical, 6, 5, at, "classical, string 6, wound") for at in BY_MAKE]
    for one, string, other in ((electric, 1, 2), (electric, 6, 5), (classical, 1, 2), (classical, 6, 5)):
        bare = replace(one, strings=tuple(replace(spec, gauge_mm=None, core_mm=None) for spec in one.strings))
        of = f"{one.kind}, string {string}, gauge not told"
        rows += [_row(bare, string, other, at, of) for at in NO_GAUGE]
    return rows


def _row(one: Instrument, string: int, other: int, at: Coordinate, of: str) -> str:
    words, unit, kind = SAID[at]
    second = {PRESS_1: PRESS_2, FRET_1: FRET_2, GAP: FLOOR}[kind]
    requests = [
        CaseRequest(kind, string),
        CaseRequest(kind, other),
        CaseRequest(second, string),
        CaseRequest(kind, string, 1),
    ]
    found = build_unknowns(one, requests, PASSES)
    own = found.spread[:, at]
    sizes = [float(np.linalg.norm(own[0])), *(float(np.linalg.norm(own[0] - own[i])) for i in (1, 2, 3))]
    centre = float(found.centre[0, at])
    if at in LOGARITHMS:
        told = [f"{_figures(math.exp(centre))} {unit}", *(f"{100 * size:.2f} %" for size in sizes)]
    else:
        told = [f"{_figures(value)} {unit}" for value in (centre, *sizes)]
    return f"| {words} | {of} | " + " | ".join(cell.strip() for cell in told) + " |"


def _figures(value: float) -> str:
    """Three figures."""
    if abs(value) < 1e-12:
        return "0"
    return f"{value:.{max(0, 2 - math.floor(math.log10(abs(value))))}f}"


def hands() -> list[str]:
    """Rows: a note as it is expected at the centre of all beliefs, and what a careful hand adds."""
    rows = [
        "| note | of | expected | rod | push | friction | touch | all, with the model's own |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for kind, string in (("electric", 1), ("electric", 6), ("classical", 1)):
        requests = [CaseRequest(CaseKind(stop, fret, 0), string) for stop, fret in NOTES]
        found = build_unknowns(instrument(kind), requests)
        rows += _hand_rows(found, f"{kind}, string {string}")
    return rows


def _hand_rows(found: Unknowns, of: str) -> Iterator[str]:
    about = linearise(found.cases, found.centre)
    parts = hand_parts(found.cases, about)
    total = parts.total(CAREFUL)
    for i, (stop, fret) in enumerate(NOTES):
        sds = [float(np.sqrt(part[i])) for part in (parts.rod, parts.side, parts.slide, parts.touch, total)]
        cells = " | ".join(f"{sd:.3f}" for sd in sds)
        yield f"| {stop.value} {fret} | {of} | {about.value[i]:.2f} | {cells} |"


TABLES = {"beliefs": beliefs, "hands": hands}


def main(arguments: Sequence[str] | None = None) -> int:
    """Print, write or check."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--check", action="store_true")
    given = parser.parse_args(arguments)
    status = 0
    for name, make in TABLES.items():
        text = "\n".join(make()) + "\n"
        if given.write:
            marks.write(FILE, name, text)
        elif not given.check:
            print(text)
        elif not marks.agree(marks.cut(FILE, name)[1], text):
            print(f"docs/{FILE}, {name}: the code says\n{text}")
            status = 1
    return status


if __name__ == "__main__":
    sys.exit(main())
