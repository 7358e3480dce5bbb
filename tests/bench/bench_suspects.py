"""How often the first two suspects are the slots that are grossly high, where only fretted notes were heard.

``python tests/bench/bench_suspects.py [planted] [first seed] [guitars]``: guitars of the finite-element
bench, electric, acoustic and classical in turn, slots near their targets but for so many planted 0.6 mm too
high.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

from fe_bench.sessions import course, listen, write
from fe_bench.single import Case, player_of
from pitchcheck.instrument import Target
from pitchcheck.judgement import FIRST_SUSPECTS, Verdict
from pitchcheck.workflow import measure_folder

KINDS = ("electric", "acoustic", "classical")
PLANTED_MM = 0.6
GAP_PER_HEIGHT = 0.4856  # docs/formats.md


def main(planted: int = 1, first: int = 4000, guitars: int = 16) -> None:
    both = leading = said_high = 0
    for seed in range(first, first + guitars):
        high, suspects, verdicts = guitar(seed, planted)
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


def guitar(seed: int, planted: int) -> tuple[set[int], tuple[int, ...], list[Verdict]]:
    """Return which slots are high, whom the answer suspects, and its verdicts."""
    high: set[int] = set()

    def slots(rng: np.random.Generator, count: int) -> list[float]:
        first, last = Target().third_fret_clearance_mm
        heights = np.linspace(first, last, count) / GAP_PER_HEIGHT + rng.uniform(-0.06, 0.08, count)
        high.update(int(i) + 1 for i in rng.choice(count, planted, replace=False))
        return [float(mm + PLANTED_MM * (i in high)) for i, mm in enumerate(heights, 1)]

    player = player_of(Case(KINDS[seed % 3], seed, course="fretted"), slots=slots)
    numbers = [s.number for s in player.truth.strings]
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home) / "fretted"
        write(folder, player.truth, listen(player, course("fretted", numbers)))
        said = measure_folder(folder, workers=1)
    return high, said.suspects, [plan.verdict for plan in said.plan.strings]


if __name__ == "__main__":
    main(*map(int, sys.argv[1:4]))
