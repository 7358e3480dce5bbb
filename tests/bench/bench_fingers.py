"""Notes fretted by a finger in the order of presses: how often they are told apart, what else comes of it.

``python tests/bench/bench_fingers.py [first seed] [instruments of a kind]``: instruments of the
finite-element bench in the hand of a player at home, ``open, 1, 2, 1, open`` on every string, once with the
rod and once with a finger. The sharpness of all notes is judged as that of a memo; where they pass for
presses, the slots are measured as if they were.
"""

from __future__ import annotations

import math
import sys
import tempfile
from collections import Counter
from pathlib import Path

from fe_bench.player import Place
from fe_bench.sessions import Heard, write
from fe_bench.single import Case, player_of
from pitchcheck.instrument import Instrument
from pitchcheck.judgement import Verdict
from pitchcheck.memo.labels import SURE
from pitchcheck.memo.place_likelihood import stretches_of
from pitchcheck.memo.rod_or_finger import finger_belief
from pitchcheck.session.presets import get_preset
from pitchcheck.takes import Position, Stop
from pitchcheck.workflow import measure_folder

KINDS = ("electric", "acoustic", "bass", "classical", "tenor ukulele")
ORDER = (None, 1, 2, 1, None)


def main(first: int = 5000, count: int = 20) -> None:
    print(
        "| instrument | played with | memos | named presses | named fretted | refused "
        "| strings said high, named presses | low |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for kind in KINDS:
        for stop in (Stop.PRESS, Stop.FRET):
            named: Counter[str] = Counter()
            verdicts: Counter[Verdict] = Counter()
            for seed in range(first, first + count):
                name, said = play(kind, seed, stop)
                named[name] += 1
                verdicts.update(said)
            print(
                f"| {kind} | {'rod' if stop is Stop.PRESS else 'finger'} | {count} | {named['presses']} "
                f"| {named['fretted']} | {named['refused']} | {verdicts[Verdict.HIGH]} of {verdicts.total()} "
                f"| {verdicts[Verdict.LOW]} |",
                flush=True,
            )


def play(kind: str, seed: int, stop: Stop) -> tuple[str, list[Verdict]]:
    """Return what the stopped notes are named, and the verdicts where they are named presses."""
    player = player_of(Case(kind, seed, course="home", hand="home"))
    heard: list[Heard] = []
    notes: list[tuple[Position, float]] = []
    for number in [s.number for s in player.truth.strings]:
        for fret in ORDER:
            how = "open" if fret is None else stop.value
            hz = player.play(Place(number, how, fret))
            heard.append(Heard(Place(number, "open" if fret is None else "press", fret), hz))
            if fret is None:
                opened = hz
            else:
                place = Position(number, Stop.PRESS, fret)
                notes.append((place, 1200 * math.log2(hz / opened) - 100 * fret))
    made = Instrument(kind=kind, scale_mm=player.truth.neck.scale_mm, strings=get_preset(kind).strings)
    usual = dict.fromkeys((spec.number for spec in made.strings), 0.0)
    finger = finger_belief(notes, stretches_of(made, offset_cents=usual))
    if finger > 1 - SURE:
        return "fretted" if finger >= SURE else "refused", []
    with tempfile.TemporaryDirectory() as home:
        write(Path(home) / "memo", player.truth, heard)
        said = measure_folder(Path(home) / "memo", workers=1)
    return "presses", [plan.verdict for plan in said.plan.strings]


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
