"""The other figures of docs/accuracy-pitch.md: against the bound, uncertainties, surveys in sound, speed.

    PYTHONPATH=tests python tests/bench/bench_pitch_figures.py bound spread surveys speed --write
    PYTHONPATH=tests python tests/bench/bench_pitch_figures.py surveys --check

Each goes between its marks. ``--check`` says where document and code differ by more than a unit of the last
place, and ends with status 1; speed is only ever written, as it is that of one machine.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from bench.bench_pitch import SEED, made, score, together
from helpers import marks
from helpers.instruments import random_instrument
from helpers.notes import Pair, Strung, make_note
from pitchcheck.course import Thoroughness
from pitchcheck.pitch.read_note import read_note
from pitchcheck.pitch.reading import Reading
from pitchcheck.pitch.string_group import read_group
from pitchcheck.simulate.body import random_body
from pitchcheck.simulate.player import Played
from pitchcheck.simulate.room import Room
from pitchcheck.simulate.voice import Voice, sound_of
from pitchcheck.tuning import note_hz
from pitchcheck.workflow.demo import RATE_HZ, run_demo
from pitchcheck.workflow.measure import measure_folder

FILE = "accuracy-pitch.md"
BOUND_PAIRS, SPREAD_PAIRS = 200, 100  # of each kind
SPREAD_SEEDS = (SEED, SEED + 1)
KINDS: dict[str, dict[str, float]] = {
    "plain": {},
    "glide": {},
    "weak fundamental": {},
    "hum": {"hum": 0.03},
    "beating": {},
    "off the law": {"scatter_cents": 1.3},
}
# kind, seed, and how far its body pulls partials: lively, solid, in between (simulate.body). [cent]
SURVEYS = (("acoustic", 1, 1.5), ("electric", 2, 0.3), ("ukulele", 3, 1.0))
TAKE_S = 2.2


def bound() -> list[str]:
    """Errors over what the Cramer-Rao bound allows, where nothing deviates from the law."""
    rows = ["| made pairs | n | median | 95th percentile |", "| --- | --- | --- | --- |"]
    for kind, fixed in {"plain": {}, "hum": KINDS["hum"], "fret 12": {}, "weak fundamental": {}}.items():
        pairs = list(made(kind, BOUND_PAIRS, **fixed))
        over = np.abs(score(together, pairs).errors) / np.array([p.bound_cents for p in pairs])
        # of a normal error that keeps to the bound the median is 0.674, the 95th percentile 1.960
        middle, high = np.median(over) / 0.6745, np.percentile(over, 95) / 1.96
        rows.append(f"| {kind} | {len(pairs)} | {middle:.2f} | {high:.2f} |")
    return rows


def spread() -> list[str]:
    """Errors over stated uncertainties."""
    rows = ["| seed | made pairs | spread | by kind | beyond 4 sd |", "| --- | --- | --- | --- | --- |"]
    for seed in SPREAD_SEEDS:
        each = [
            _normalised(list(made(kind, SPREAD_PAIRS, seed=seed, **fixed))) for kind, fixed in KINDS.items()
        ]
        every = np.concatenate(each)
        own = sorted(float(np.std(z)) for z in each)
        rows.append(
            f"| {seed} | {every.size} | {np.std(every):.2f} | {own[0]:.2f} to {own[-1]:.2f} "
            f"| {np.sum(np.abs(every) > 4)} |"
        )
    return rows


def _normalised(pairs: Sequence[Pair]) -> np.ndarray:
    return score(together, pairs).normalised


def surveys() -> list[str]:
    """Simulated surveys in sound: every stopped take against the open take played nearest to it."""
    rows = [
        "| survey | comparisons | median | 95th percentile | largest | spread | beyond 4 sd |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for kind, seed, pull_cents in SURVEYS:
        errors, sds = _survey(kind, seed, pull_cents)
        z = errors / sds
        ranked = np.sort(np.abs(errors))
        rows.append(
            f"| {kind}, body {pull_cents} | {errors.size} | {np.median(ranked):.2f} "
            f"| {np.percentile(ranked, 95):.2f} | {ranked[-1]:.2f} | {np.std(z):.2f} "
            f"| {np.sum(np.abs(z) > 4)} |"
        )
    return rows


def _survey(kind: str, seed: int, pull_cents: float) -> tuple[np.ndarray, np.ndarray]:
    """Errors of differences, and their stated uncertainties. [cent]"""
    rng = np.random.default_rng([SEED, seed])
    settings, _, truth = random_instrument(kind, rng, Thoroughness.FULL)
    numbers = [spec.number for spec in settings.instrument.strings]
    voice = Voice(random_body(rng, pull_cents=pull_cents), Room(), RATE_HZ, TAKE_S)
    errors, sds = [], []
    for number in numbers:
        mine = [p for p in truth.takes if p.position.string == number]
        clips = [
            sound_of(rng, played=p, instrument=settings.instrument, truth=truth.instrument, voice=voice)
            for p in mine
        ]
        open_hz = note_hz(settings.instrument.string(number).note)
        expected = [open_hz * 2 ** (p.position.semitones / 12) for p in mine]
        readings = read_group(clips, expected_hz=expected)
        for i, place in enumerate(mine):
            if place.position.fret is None:
                continue
            near = min(_opens(mine), key=lambda j: abs(j - i))
            assert isinstance(readings[i], Reading)
            assert isinstance(readings[near], Reading)
            heard = 1200 * np.log2(readings[i].hz / readings[near].hz)
            true = 1200 * np.log2(place.hz / mine[near].hz)
            errors.append(heard - true)
            sds.append(np.hypot(readings[i].sd_cents, readings[near].sd_cents))
    return np.array(errors), np.array(sds)


def _opens(played: Sequence[Played]) -> list[int]:
    return [i for i, one in enumerate(played) if one.position.fret is None]


def speed() -> list[str]:
    """How long it takes on this machine."""
    rows = ["| what | time |", "| --- | --- |"]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "demo"
        run_demo(folder, seed=1)
        spent = []
        for _ in range(3):
            start = time.perf_counter()
            found = measure_folder(folder, workers=2)
            spent.append(time.perf_counter() - start)
        count = len(found.takes)
    rows.append(
        f"| {count} takes of a guitar in sound, two processes, load {os.getloadavg()[0]:.0f} "
        f"| {min(spent):.1f} to {max(spent):.1f} s |"
    )
    for kind, strung in {
        "off the law": Strung(110.0, scatter_cents=1.3),
        "plain": Strung(110.0),
        "gliding": Strung(110.0, glide_cents=6.0),
        "beating": Strung(110.0, beat=0.4),
    }.items():
        clip = make_note(np.random.default_rng(1), strung).clip
        spent = []
        for _ in range(24):
            start = time.process_time()
            read_note(clip, expected_hz=110.0)
            spent.append(time.process_time() - start)
        rows.append(f"| one note of 2 s, {kind}, one core | {1000 * np.median(spent):.0f} ms |")
    return rows


TABLES: dict[str, Callable[[], list[str]]] = {
    "bound": bound,
    "spread": spread,
    "surveys": surveys,
    "speed": speed,
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Print, write or check."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("table", nargs="+", choices=list(TABLES))
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--check", action="store_true")
    given = parser.parse_args(arguments)
    status = 0
    for name in given.table:
        text = "\n".join(TABLES[name]()) + "\n"
        print(text, flush=True)
        if given.check and not marks.agree(marks.cut(FILE, f"pitch-{name}")[1], text):
            print(f"docs/{FILE}, pitch-{name}: the document says otherwise")
            status = 1
        if given.write:
            marks.write(FILE, f"pitch-{name}", text)
    return status


if __name__ == "__main__":
    sys.exit(main())
