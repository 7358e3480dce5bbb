"""How often the first two suspects are the slots that are grossly high, where only fretted notes were heard.

``python tests/bench/bench_suspects.py [planted] [first seed] [guitars]``: guitars of the finite-element
bench, electric, acoustic and classical in turn, slots near their targets but for so many planted 0.6 mm too
high. ``... [guitars] known`` ranks the same slots by what nobody has: everything of the instrument and hand
is known but each touch and which slots are the high ones. That is the most that such notes can tell.
"""

from __future__ import annotations

import math
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from fe_bench.instruments import Hand, StringTruth
from fe_bench.player import Player, still
from fe_bench.sessions import course, listen, write
from fe_bench.single import Case, player_of
from fe_bench.sounding import Place, Strung
from pitchcheck.instrument import Target
from pitchcheck.judgement import FIRST_SUSPECTS, Verdict
from pitchcheck.workflow import measure_folder

KINDS = ("electric", "acoustic", "classical")
PLANTED_MM = 0.6
GAP_PER_HEIGHT = 0.4856  # docs/formats.md
FRETS = (1, 1, 2, 3)  # notes of the course that a slot sharpens
TOUCHES = np.array([-3.0, -2.0, -1.2, -0.5, 0.0, 0.5, 1.2, 2.0, 3.0])  # standard deviations of the force
FORCE_AT_N = 80.0  # as in ``fe_bench.sounding``


def main(planted: int = 1, first: int = 4000, guitars: int = 16, known: bool = False) -> None:
    both = leading = said_high = 0
    for seed in range(first, first + guitars):
        high, suspects, verdicts = best_known(seed, planted) if known else guitar(seed, planted)
        found = high <= set(suspects[:FIRST_SUSPECTS])
        both += found
        leading += bool(suspects) and suspects[0] in high
        said_high += Verdict.HIGH in verdicts
        if not found:
            print(f"{seed} {KINDS[seed % 3]}: high {sorted(high)}, suspected {suspects}", file=sys.stderr)
    print(
        f"{planted} planted: all of them among the first two suspects on {both} of {guitars} guitars, the "
        f"first suspect one of them on {leading}; a slot called high on {said_high}"
    )


def drawn(seed: int, planted: int) -> tuple[Player, set[int]]:
    """Return a guitar in its player's hands, and which slots are high."""
    high: set[int] = set()

    def slots(rng: np.random.Generator, count: int) -> list[float]:
        first, last = Target().third_fret_clearance_mm
        heights = np.linspace(first, last, count) / GAP_PER_HEIGHT + rng.uniform(-0.06, 0.08, count)
        high.update(int(i) + 1 for i in rng.choice(count, planted, replace=False))
        return [float(mm + PLANTED_MM * (i in high)) for i, mm in enumerate(heights, 1)]

    return player_of(Case(KINDS[seed % 3], seed, course="fretted"), slots=slots), high


def guitar(seed: int, planted: int) -> tuple[set[int], tuple[int, ...], list[Verdict]]:
    """Return which slots are high, whom the answer suspects, and its verdicts."""
    player, high = drawn(seed, planted)
    numbers = [s.number for s in player.truth.strings]
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home) / "fretted"
        write(folder, player.truth, listen(player, course("fretted", numbers)))
        said = measure_folder(folder, workers=1)
    return high, said.suspects, [plan.verdict for plan in said.plan.strings]


def best_known(seed: int, planted: int) -> tuple[set[int], tuple[int, ...], list[Verdict]]:
    """Rank the strings by the likelihood that they are high, each touch integrated out."""
    player, high = drawn(seed, planted)
    odds = {s.number: _log_odds(player, s, high=s.number in high) for s in player.truth.strings}
    return high, tuple(sorted(odds, key=lambda number: -odds[number])), []


def _log_odds(player: Player, string: StringTruth, *, high: bool) -> float:
    hand, rng = player.truth.hand, player.rng
    spread = hand.finger_sd * float(np.clip((string.tension_n / FORCE_AT_N) ** 0.45, 0.5, 2.0))
    steady = replace(hand, finger_sd=0.0)
    low_mm = string.slot_mm - PLANTED_MM * high
    heard: list[float] = []
    curves = []
    for up in (False, True):
        one = replace(string, slot_mm=low_mm + PLANTED_MM * up)
        others = tuple(one if s.number == one.number else s for s in player.truth.strings)
        strung = Strung(replace(player.truth, strings=others))
        opened = strung.sounding(one, Place(one.number, "open"), still(hand), rng).hz

        def cents(
            fret: int, by: Hand, one: StringTruth = one, strung: Strung = strung, opened: float = opened
        ) -> float:
            sounded = strung.sounding(one, Place(one.number, "fret", fret), by, rng).hz
            return 1200 * math.log2(sounded / opened)

        forces = [replace(still(hand), finger_n=hand.finger_n * math.exp(spread * z)) for z in TOUCHES]
        of = {fret: np.array([cents(fret, by) for by in forces]) for fret in set(FRETS)}
        rest = {fret: float(np.std([cents(fret, steady) for _ in range(6)])) for fret in set(FRETS)}
        curves.append((of, rest))
        if up is high:
            heard = [cents(fret, hand) + hand.reading_cents * rng.standard_normal() for fret in FRETS]
    z = np.linspace(-3, 3, 121)
    weight = np.exp(-0.5 * z**2)
    log_odds = 0.0
    for fret, value in zip(FRETS, heard, strict=True):
        for (of, rest), sign in zip(curves, (-1, 1), strict=True):
            sd = math.hypot(rest[fret], hand.reading_cents, hand.drift_cents)
            off = (value - np.interp(z, TOUCHES, of[fret])) / sd
            log_odds += sign * math.log(float(np.sum(weight * np.exp(-0.5 * off**2))) / sd + 1e-12)
    return log_odds


if __name__ == "__main__":
    main(*map(int, sys.argv[1:4]), known=sys.argv[4:] == ["known"])
