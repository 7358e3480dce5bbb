"""Times `measure` over many folders, one core against two, and looks at its memory.

    PYTHONPATH=tests python tests/bench/bench_many.py [--count 200] [--sound 20] [--workers 1 2 1 2]

Makes so many session folders in a throwaway place (copies of the instruments in fixtures/, and of the session
in sound), measures them with the command as a user would, and prints a table. The machine must be otherwise
idle: its load before each run is printed beside the time.
"""

from __future__ import annotations

import argparse
import itertools
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path

FIXTURES = Path(__file__).parents[2] / "fixtures"


def make_folders(place: Path, count: int, *, sound: int) -> None:
    """Session folders under a place, ``sound`` of them in sound, spread evenly among the others."""
    readings = sorted(p.parent for p in FIXTURES.glob("instruments/*/session.toml"))
    every = itertools.cycle(readings)
    for i in range(count):
        in_sound = (i + 1) * sound // count > i * sound // count
        source = FIXTURES / "session-sound" if in_sound else next(every)
        shutil.copytree(source, place / f"{i:03d}-{source.name}", ignore=shutil.ignore_patterns("truth.json"))


def family_mb(process: int) -> float:
    """Memory of a process and of those it started, what they share counted once. [MB]"""
    ids, total = [process], 0
    while ids:
        one = ids.pop()
        try:
            rollup = Path(f"/proc/{one}/smaps_rollup").read_text(encoding="ascii")
            ids += [int(x) for x in Path(f"/proc/{one}/task/{one}/children").read_text("ascii").split()]
        except (OSError, ProcessLookupError):
            continue
        total += next(int(line.split()[1]) for line in rollup.splitlines() if line.startswith("Pss:"))
    return total / 1024


def timed(folders: Path, workers: int) -> tuple[float, list[float]]:
    """Measure all folders; return the time it took and the memory twice a second. [s, MB]"""
    command = [sys.executable, "-m", "pitchcheck", "measure", str(folders), "--json"]
    before = time.monotonic()
    process = subprocess.Popen(
        [*command, "--workers", str(workers)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    memory_mb: list[float] = []
    ended = threading.Event()

    def watch() -> None:
        while not ended.wait(0.5):
            memory_mb.append(family_mb(process.pid))

    watcher = threading.Thread(target=watch)
    watcher.start()
    lines = process.communicate()[0].splitlines()
    wall_s = time.monotonic() - before
    ended.set()
    watcher.join()
    assert len(lines) == len(list(folders.iterdir())), "a folder is missing from the result"
    return wall_s, memory_mb


def main(arguments: Sequence[str] | None = None) -> int:
    """Print one row a run."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--sound", type=int, default=20, help="how many of them in sound")
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2, 1, 2])
    given = parser.parse_args(arguments)
    best: dict[int, float] = {}
    with tempfile.TemporaryDirectory() as name:
        make_folders(Path(name), given.count, sound=given.sound)
        print("| workers | time | memory, quarter by quarter | load before |")
        print("| --- | --- | --- | --- |")
        for workers in given.workers:
            load = os.getloadavg()[0]
            wall_s, memory_mb = timed(Path(name), workers)
            best[workers] = min(wall_s, best.get(workers, wall_s))
            size = max(1, len(memory_mb) // 4)
            quarters = [max(memory_mb[i * size : (i + 1) * size], default=0.0) for i in range(4)]
            shown = ", ".join(f"{quarter:.0f}" for quarter in quarters)
            print(f"| {workers} | {wall_s:.1f} s | {shown} MB | {load:.1f} |", flush=True)
    if 1 in best and 2 in best:
        print(f"\n{best[1] / best[2]:.2f} times faster with two than with one.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
