"""Writes instruments of this bench as folders like ``fixtures/instruments``: settings, readings, truth.

    python -m tests.fe_bench.fixtures FOLDER --count 8 --course full --start 0

The sixty instruments under ``fixtures`` came from an earlier code whose source was never part of the project;
this is what makes more of their sort, exact readings with slow drift and their truth beside them.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from .kinds import FIVE, KINDS
from .player import Place, Player
from .sessions import course, listen, write
from .single import Case, player_of


def truth_of(player: Player) -> dict[str, object]:
    """What the program must find, and what it was made with."""
    neck = player.truth.neck
    return {
        "kind": player.truth.kind,
        "nut_break_rad": neck.break_rad,
        "fret_height_mm": neck.fret_mm,
        "nut_offset_mm": neck.nut_mm,
        "relief_mm": neck.relief_mm,
        "strings": {
            str(s.number): {
                "note": s.wire.note,
                "nut_offset_mm": s.nut_mm,
                "slot_height_mm": player.slot_mm(s.number),
                "EA_over_T": s.stretch,
                "saddle_comp_mm": s.saddle_back_mm,
                "tail_mm": s.tails_mm,
                "f_open": player.exact_hz(Place(s.number, "open")),
            }
            for s in player.truth.strings
        },
    }


def write_one(folder: Path, case: Case) -> None:
    """Play one instrument without reading noise and write its folder."""
    player = player_of(case)
    hand = replace(player.truth.hand, reading_cents=0.0)
    player = Player(replace(player.truth, hand=hand), np.random.default_rng([case.seed, 99]))
    heard = listen(player, course(case.course, [s.number for s in player.truth.strings]))
    stated = replace(player.truth, hand=replace(hand, reading_cents=0.15))
    write(folder, stated, heard)
    (folder / "truth.json").write_text(json.dumps(truth_of(player), indent=1) + "\n", encoding="utf-8")


def main(arguments: Sequence[str] | None = None) -> None:
    """Write a number of each kind; nothing that is there is overwritten."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--kinds", nargs="+", default=list(FIVE), choices=list(KINDS))
    parser.add_argument("--count", type=int, default=8, help="instruments of each kind")
    parser.add_argument("--course", default="full")
    parser.add_argument("--start", type=int, default=0, help="first seed")
    chosen = parser.parse_args(arguments)
    number = 0
    for i in range(chosen.count):
        for kind in chosen.kinds:
            folder = chosen.folder / f"{number:03d}-{kind.replace(' ', '-')}"
            if folder.exists():
                raise SystemExit(f"{folder} is already there. Name a new folder.")
            write_one(folder, Case(kind, chosen.start + i, course=chosen.course))
            number += 1


if __name__ == "__main__":
    main()
