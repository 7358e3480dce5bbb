"""The table of whole surveys in sound of docs/accuracy.md, from folders with their truth (not kept here).

    PYTHONPATH=tests python tests/bench/bench_sessions.py FOLDER --write     or --check

FOLDER holds session folders, each with a ``truth.json`` like those of ``fixtures``. ``--check`` ends with
status 1 where the document says otherwise by more than a unit of the last place.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path

import numpy as np

from helpers import marks
from pitchcheck.workflow.measure import measure_folder

FILE, NAME = "accuracy.md", "sessions"


def row(folder: Path) -> str:
    """One instrument: errors of its slot heights, and what is said of them. [mm]"""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["strings"]
    found = measure_folder(folder, workers=2)
    plans = found.plan.strings
    true = {plan.number: truth[str(plan.number)]["slot_height_mm"] for plan in plans}
    heights = {plan.number: plan.height_mm for plan in plans if plan.height_mm is not None}
    errors = [abs(height.median - true[n]) for n, height in heights.items()]
    hold = sum(height.low <= true[n] <= height.high for n, height in heights.items())
    above = [true[plan.number] - plan.target_mm for plan in plans]
    said = Counter(plan.verdict.value for plan in plans)
    words = ", ".join(f"{count} `{verdict}`" for verdict, count in said.most_common())
    off = [plan.remove_now_mm for plan in plans if plan.remove_now_mm > 0]
    if off:
        words += f"; {min(off):.2f} to {max(off):.2f} comes off {len(off)}"
    return (
        f"| {folder.name} | {len(plans)}, {min(above):+.2f} to {max(above):+.2f} above target "
        f"| {np.median(errors):.2f} | {max(errors):.2f} | {hold} of {len(errors)} | {words} |"
    )


def main(folder: Path, *, write: bool, check: bool) -> int:
    """Print, write or check."""
    lines = [
        "| instrument | slots | median error | largest | 90 % intervals that hold the truth | verdicts |",
        "| --- | --- | --- | --- | --- | --- |",
        *(row(one) for one in sorted(folder.iterdir()) if (one / "truth.json").is_file()),
    ]
    text = "\n".join(lines) + "\n"
    print(text)
    if write:
        marks.write(FILE, NAME, text)
    return int(check and not marks.agree(marks.cut(FILE, NAME)[1], text))


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), write="--write" in sys.argv, check="--check" in sys.argv))
