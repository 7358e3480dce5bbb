"""Remakes the table of docs/accuracy-compare.md: ``python -m tests.bench.bench_compare``, from the root;
``--check`` ends with status 1 where the document says otherwise.

Takes four minutes. Seeds differ from those of the tests.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np

from bench.compare_bench import Count, count, finite_element_pairs, simulated_pairs
from helpers import marks
from helpers.pairs import Pair
from pitchcheck.course import Thoroughness

FILED_MM = 0.15
STEEL = ("electric", "acoustic")
HEADS = [
    "| pairs | really filed off | strings | called changed | called no change | median error | "
    "stated sd | 90 % intervals hold |",
    "| --- | --- | --- | --- | --- | --- | --- | --- |",
]


def row(name: str, filed_mm: float, pairs: Iterable[Pair]) -> str:
    """One row of the table."""
    found: Count = count(pairs)
    print(name, filed_mm, file=sys.stderr)
    changed = found.lower + found.higher
    wrong = f" ({found.higher} higher)" if filed_mm and found.higher else ""
    return (
        f"| {name} | {filed_mm:.2f} | {found.strings} | {100 * changed / found.strings:.1f} %{wrong} | "
        f"{100 * found.same / found.strings:.0f} % | {np.median(np.abs(found.error_mm)):.3f} | "
        f"{np.median(found.sd_mm):.3f} | {100 * found.held / found.strings:.0f} % |"
    )


def main() -> None:
    """Measure and write."""
    rows = list(HEADS)
    for i, filed in enumerate((0.0, FILED_MM)):
        seed = 50 + i
        rows += [
            row(
                "finite elements, steel, `full`",
                filed,
                finite_element_pairs(every=1, seeds=(seed, seed + 100, seed + 200), removed_mm=filed),
            ),
            row(
                "steel guitars, `full`", filed, simulated_pairs(STEEL, number=60, seed=seed, removed_mm=filed)
            ),
            row(
                "the same, twice the usual scatter of the hand",
                filed,
                simulated_pairs(STEEL, number=20, seed=seed + 10, removed_mm=filed, rougher=2.0),
            ),
            row(
                "steel guitars, `quick`",
                filed,
                simulated_pairs(
                    STEEL, number=20, seed=seed + 20, removed_mm=filed, protocol=Thoroughness.QUICK
                ),
            ),
            row(
                "basses, `full`",
                filed,
                simulated_pairs(("bass",), number=20, seed=seed + 30, removed_mm=filed),
            ),
            row(
                "classical guitars and ukuleles, `full`",
                filed,
                simulated_pairs(("classical", "ukulele"), number=20, seed=seed + 40, removed_mm=filed),
            ),
        ]
    text = "\n".join(rows) + "\n"
    if "--check" not in sys.argv:
        marks.write("accuracy-compare.md", "measured", text)
    elif not marks.agree(marks.cut("accuracy-compare.md", "measured")[1], text):
        sys.exit(f"docs/accuracy-compare.md says otherwise than the code:\n{text}")


if __name__ == "__main__":
    main()
