"""Every kind of instrument from simulated sound to slot heights, on another draw than the tests'.

``python tests/bench/bench_kinds.py [seed]``: a line for each kind, and how many intervals hold.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from helpers.kinds import measure_kind
from pitchcheck.session.presets import presets


def main(seed: int = 1000) -> None:
    held: list[bool] = []
    worst = 0.0
    print("| kind | errors, mm | intervals that hold | verdicts |")
    print("| --- | --- | --- | --- |")
    for more, preset in enumerate(presets()):
        with tempfile.TemporaryDirectory() as home:
            one = measure_kind(preset.name, Path(home) / "kind", seed=seed + more)
        errors = one.errors_mm()
        held += one.held()
        worst = max(worst, *map(abs, errors.values()))
        print(
            f"| {preset.name} | {', '.join(f'{e:+.3f}' for e in errors.values())} "
            f"| {sum(one.held())} of {len(errors)} "
            f"| {', '.join(one.verdict(n).value for n in errors)} |",
            flush=True,
        )
    print(f"\n{sum(held)} of {len(held)} intervals hold; the largest error is {worst:.3f} mm.")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
