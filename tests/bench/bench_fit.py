"""Remakes tables and pictures of docs/accuracy-fit.md: ``python -m tests.bench.bench_fit``, from the root;
``--check`` ends with status 1 where the document says otherwise.

Takes some ten minutes. Measured on the sixty instruments of the fixtures, each with two different reading
noises, and on many drawn from the fit's own beliefs.
"""

from __future__ import annotations

import sys
import zlib
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np

from bench import fit_bench as fb
from helpers import marks
from helpers.instruments import KINDS
from pitchcheck.course import Thoroughness

FILE = "accuracy-fit.md"
PICTURES = marks.DOCS / "pictures"
SEEDS = range(2)
TABLES = ("fit", "fit-drawn", "fit-decisions", "fit-shared", "fit-takes")  # names of the marks
DRAWN = {Thoroughness.FULL: 20, Thoroughness.THOROUGH: 10}  # instruments of each of five kinds
TAKES = {
    "press 1, 2 once": (1, (1, 2)),
    "press 1, 2 twice": (2, (1, 2)),
    "press 1, 2 four times": (4, (1, 2)),
    "press 1 to 4 twice": (2, (1, 2, 3, 4)),
    "press 1 to 4 four times": (4, (1, 2, 3, 4)),
}


def full(known: fb.Known) -> fb.Known:
    """Everything that was played."""
    return known


def with_gauge(known: fb.Known) -> fb.Known:
    """The last string's slot gauged."""
    return fb.gauged(known, np.random.default_rng(zlib.crc32(known.name.encode())))


def others(scores: list[fb.Score]) -> list[fb.Score]:
    """Without the last string of every instrument, which is the gauged one."""
    last = {s.instrument: max(o.number for o in scores if o.instrument == s.instrument) for s in scores}
    return [s for s in scores if s.number != last[s.instrument]]


def measure(home: Path, change: Callable[[fb.Known], fb.Known], pool: ProcessPoolExecutor) -> list[fb.Score]:
    """Scores of all instruments of a home, with every noise."""
    known = [change(one) for seed in SEEDS for one in fb.load_all(home, seed=seed)]
    return [score for part in pool.map(fb.score, known) for score in part]


def measure_drawn(protocol: Thoroughness, pool: ProcessPoolExecutor) -> list[fb.Score]:
    """Scores of instruments drawn from the fit's own beliefs, so many of each kind."""
    known = [fb.drawn(kind, protocol, seed=seed) for seed in range(DRAWN[protocol]) for kind in KINDS]
    return [score for part in pool.map(fb.score, known) for score in part]


def accuracy_rows(runs: dict[str, list[fb.Score]]) -> list[str]:
    """Table of errors and coverage."""
    rows = [
        "| takes | strings of | median error | 95th percentile | 90 % intervals hold | their width |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for name, scores in runs.items():
        for family in ("guitar", "bass", "nylon"):
            few = fb.of_family(scores, family)
            width = float(np.median([s.width_mm for s in few]))
            rows.append(
                f"| {name} | {family} | {fb.median_error_mm(few):.3f} | {fb.far_error_mm(few):.3f} "
                f"| {100 * fb.coverage(few):.0f} ± {100 * fb.coverage_error(few):.0f} % | {width:.2f} |"
            )
    return rows


def decision_rows(runs: dict[str, list[fb.Score]]) -> list[str]:
    """Table of verdicts and removals."""
    rows = [
        "| takes | strings of | `high` of slots at or below target | 0.3 mm high called `high` "
        "| of those, at least 40 % comes off | unsure | left more than 0.02 mm under |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name, scores in runs.items():
        for family in ("steel", "nylon"):
            d = fb.decisions(fb.of_family(scores, family))
            parts = (d.high_without_cause, d.high_found, d.removal_useful, d.unsure, d.left_under)
            rows.append(f"| {name} | {family} | " + " | ".join(f"{100 * p:.1f} %" for p in parts) + " |")
    return rows


def shared_rows(runs: dict[str, list[fb.Score]]) -> list[str]:
    """Table of what the strings share."""
    rows = ["| takes | instruments | nut offset | fret height |", "| --- | --- | --- | --- |"]
    for name, scores in runs.items():
        for family in ("steel", "nylon"):
            few = [s for s in fb.of_family(scores, family) if s.number == 1]
            nut = np.median([abs(s.nut_error_mm) for s in few])
            fret = np.median([abs(s.fret_height_error_mm) for s in few])
            rows.append(f"| {name} | {family} | {nut:.2f} | {fret:.3f} |")
    return rows


def draw(runs: dict[str, list[fb.Score]], steps: dict[str, list[fb.Score]]) -> None:
    """The three pictures."""
    import matplotlib as mpl

    mpl.use("svg")
    mpl.rcParams.update({"svg.hashsalt": "fit", "font.size": 9, "svg.fonttype": "none"})
    from matplotlib import pyplot as plt

    symbols = {"guitar": "o", "bass": "s", "nylon": "^"}

    def save(figure: object, name: str) -> None:
        figure.savefig(PICTURES / f"fit-{name}.svg", metadata={"Date": None})
        plt.close(figure)

    figure, axes = plt.subplots(figsize=(6, 3.4), layout="constrained")
    for family, mark in symbols.items():
        few = fb.of_family(runs["full"], family)
        few = few[: len(few) // len(SEEDS)]  # one noise is enough to see
        axes.plot([s.true_mm for s in few], [s.error_mm for s in few], mark, ms=3.5, mfc="none", label=family)
    axes.axhline(0, lw=0.6, color="0.4")
    axes.set(xlabel="true slot height [mm]", ylabel="error [mm]", title="full protocol")
    axes.legend(frameon=False)
    save(figure, "error")

    figure, axes = plt.subplots(figsize=(6, 3.4), layout="constrained")
    levels = np.linspace(0.1, 0.98, 23)
    for (family, mark), line in zip(symbols.items(), ("-", "--", ":"), strict=True):
        pit = np.array([s.height.below(s.true_mm) for s in fb.of_family(runs["full"], family)])
        held = [float(np.mean(np.abs(pit - 0.5) <= level / 2)) for level in levels]
        axes.plot(levels, held, line + mark, ms=3, mfc="none", label=family)
    axes.plot([0, 1], [0, 1], lw=0.6, color="0.4")
    axes.set(xlabel="belief of the interval", ylabel="intervals that hold the truth", title="full protocol")
    axes.legend(frameon=False)
    save(figure, "coverage")

    figure, axes = plt.subplots(figsize=(6, 3.4), layout="constrained")
    for family, mark in symbols.items():
        medians = [fb.median_error_mm(fb.of_family(scores, family)) for scores in steps.values()]
        axes.plot(range(len(steps)), medians, mark + "-", mfc="none", label=family)
    axes.set_xticks(range(len(steps)), [name.replace(" ", "\n", 2) for name in steps])
    axes.set(ylabel="median error [mm]", ylim=(0, None), title="thorough instruments, only some takes used")
    axes.legend(frameon=False)
    save(figure, "takes")


class Only:
    """Keeps some presses of an instrument; a class, so that it can go to another process."""

    def __init__(self, presses: int, frets: tuple[int, ...]) -> None:
        self.presses, self.frets = presses, frets

    def __call__(self, known: fb.Known) -> fb.Known:
        return fb.first_takes(known, presses=self.presses, frets=self.frets)


def write(tables: Sequence[Sequence[str]], *, check: bool) -> int:
    """Put the tables between their marks, or compare; 1 where the document says otherwise."""
    status = 0
    for name, rows in zip(TABLES, tables, strict=True):
        text = "\n".join(rows) + "\n"
        if not check:
            marks.write(FILE, name, text)
        elif not marks.agree(marks.cut(FILE, name)[1], text):
            print(f"docs/{FILE}, {name}: the code says\n{text}")
            status = 1
    return status


def main(*, check: bool) -> int:
    """Measure, write or compare, draw."""
    PICTURES.mkdir(exist_ok=True)
    with ProcessPoolExecutor(2) as pool:
        runs = {
            "full": measure(fb.FULL, full, pool),
            "thorough": measure(fb.THOROUGH, full, pool),
            "full, last slot gauged, the others": others(measure(fb.FULL, with_gauge, pool)),
            "fretted notes only": measure(fb.FULL, fb.without_presses, pool),
        }
        steps = {name: measure(fb.THOROUGH, Only(*what), pool) for name, what in TAKES.items()}
        own = {f"drawn, {protocol}": measure_drawn(protocol, pool) for protocol in DRAWN}
    two = {name: runs[name] for name in ("full", "thorough")}
    tables = [
        accuracy_rows(runs),
        accuracy_rows(own),
        decision_rows(two),
        shared_rows(two),
        accuracy_rows(steps),
    ]
    status = write(tables, check=check)
    if not check:
        draw(runs, steps)
    return status


if __name__ == "__main__":
    sys.exit(main(check="--check" in sys.argv))
