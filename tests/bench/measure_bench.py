"""Measures the bench page: how late the level is on the screen, memory and processor time over hours.

PYTHONPATH=tests python tests/bench/measure_bench.py live [SECONDS OF BURSTS] [SECONDS OF NOTES]
PYTHONPATH=tests python tests/bench/measure_bench.py hours [HOURS]

``live`` needs Chromium and a sound server: bursts of noise for the delay, then a wrong note again and again,
so that all of listening is at work; the session listens all the time. ``hours`` plays the same wrong note to
a session as fast as it is read, so hours go by in minutes; nothing but the sound is simulated.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from helpers.bench_page import served, until
from helpers.browser import open_browser
from helpers.listen import GAP_S, RATE_HZ, FileSource, course, in_a_row, new_folder, notes, room_noise
from helpers.microphone import virtual_microphone, write_sound
from pitchcheck.bench.hub import Hub
from pitchcheck.bench.runner import Begin, Runner
from pitchcheck.bench.worker import Worker
from pitchcheck.types import FloatArray
from pitchcheck.workflow.listen.ports import EndOfSound, NoTones

STEP_S = 0.5  # between two bursts
LOOK_S = 30.0  # between two looks at memory
WATCH = """() => { window.seen = []; const bar = document.getElementById("level"); let high = false;
  new MutationObserver(() => {
    const now = Number(/scaleX\\(([^)]*)\\)/.exec(bar.style.transform)?.[1] ?? 0) > 0.5;
    if (now && !high) window.seen.push(performance.timeOrigin + performance.now());
    high = now;
  }).observe(bar, {attributes: true, attributeFilter: ["style"]}); }"""


def live(bursts_s: float, notes_s: float) -> None:
    """Print delay, processor time and memory of a bench that listens."""
    burst = np.concatenate([np.zeros(round(0.3 * RATE_HZ)), 0.3 * room_noise(STEP_S - 0.3) / 3e-4])
    wrong = in_a_row([notes((2,))[4]])
    with tempfile.TemporaryDirectory() as name, virtual_microphone() as microphone, open_browser() as browser:
        place = Path(name)
        with served(place / "root", environment=microphone.environment, more=("--no-tones",)) as bench:
            page = browser.new_page()
            page.goto(bench.address)
            page.fill("#name", "one")
            page.press("#name", "Enter")
            page.wait_for_selector("#buttons", state="visible")
            time.sleep(5.0)  # what the first take needs is loaded
            page.evaluate(WATCH)
            player, began, used = _play(microphone, place / "b.wav", burst, bursts_s, bench.process.pid)
            player.wait()
            _tell_load(used, bench.process.pid, time.time() - began)
            _tell_delay(np.array(page.evaluate("window.seen")) / 1000, began)
            client = page.context.new_cdp_session(page)
            player, began, used = _play(microphone, place / "n.wav", wrong, notes_s, bench.process.pid)
            while player.poll() is None:
                time.sleep(min(LOOK_S, notes_s / 4))
                print(f"{time.time() - began:5.0f} s: {_memory(bench.process.pid, client)}", flush=True)
            _tell_load(used, bench.process.pid, time.time() - began)


def _play(
    microphone: Any, path: Path, piece: FloatArray, seconds: float, process: int
) -> tuple[Any, float, float]:
    """Begin to play a piece over and over; return the player, when, and the processor time used so far."""
    times = max(1, round(seconds * RATE_HZ / piece.size))
    sound = write_sound(path, np.tile(piece, times))
    used, began = cpu_s(process), time.time()
    return microphone.play(sound), began, used


def _tell_delay(seen: FloatArray, began: float) -> None:
    """Print how late the bar moved; the player's own start counts as delay, as it is not known."""
    late_ms = 1000 * (seen - began - 0.3 - np.round((seen - seen[0]) / STEP_S) * STEP_S)
    print(
        f"{seen.size} bursts on the screen: soonest {late_ms.min():.0f} ms, median {np.median(late_ms):.0f}, "
        f"95th percentile {np.percentile(late_ms, 95):.0f}, latest {late_ms.max():.0f} "
        "(start of the player included)",
        flush=True,
    )


def _tell_load(used: float, process: int, seconds: float) -> None:
    share = (cpu_s(process) - used) / seconds
    print(f"{share:.3f} of a core; load of the machine {os.getloadavg()[0]:.1f}", flush=True)


def _memory(process: int, client: Any) -> str:
    client.send("HeapProfiler.collectGarbage")
    page_bytes = client.send("Runtime.getHeapUsage")["usedSize"]
    return f"bench {resident_mb(process):.1f} MB, page {page_bytes / 1e6:.2f} MB"


class Repeating(FileSource):
    """A sound over and over, until it has lasted so long."""

    def __init__(self, sound: FloatArray, *, last_s: float) -> None:
        super().__init__(sound)
        self.heard_s, self._last_s = 0.0, last_s

    def read(self, timeout_s: float) -> FloatArray:
        if self.heard_s >= self._last_s:
            raise EndOfSound
        if self.read_samples >= self._sound.size:
            self.read_samples = 0
        piece = super().read(timeout_s)
        self.heard_s += piece.size / self.rate_hz
        return piece


class Counted(NoTones):
    """Silent; counts the notes that are wanted again."""

    wanted = 0

    def again(self) -> float:
        self.wanted += 1
        return 0.0


def hours(count: float, *, looks: int = 12) -> list[float]:
    """Play a wrong note for hours to a session; print and return the memory of this process. [MB]

    The session waits for nothing (``sleep``), so it goes as fast as the processor lets it; what it does with
    each piece of sound is what it always does.
    """
    source = Repeating(in_a_row([notes((2,))[4]], gap_s=GAP_S), last_s=3600 * count)
    seen: list[float] = []
    with tempfile.TemporaryDirectory() as name:
        tones = Counted()
        runner = Runner(
            source=lambda _: source, tones=tones, hub=Hub(), worker=Worker(), sleep=lambda _: None
        )
        runner.begin(Begin(new_folder(Path(name) / "one"), course((1,))))
        began = time.process_time()
        for number in range(1, looks + 1):
            until(
                lambda n=number: source.heard_s >= 3600 * count * n / looks or not runner.busy, within_s=7200
            )
            seen.append(resident_mb(os.getpid()))
            hour = source.heard_s / 3600
            spent_s = time.process_time() - began
            print(
                f"{hour:.2f} h: {seen[-1]:.1f} MB, {tones.wanted} notes judged, {spent_s:.0f} s of core",
                flush=True,
            )
        runner.close()
    return seen


def resident_mb(process: int) -> float:
    """Memory of a process that is in use. [MB]"""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def cpu_s(process: int) -> float:
    """Processor time that a process has used. [s]"""
    parts = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


def main(words: Sequence[str]) -> None:
    """Measure what is asked for."""
    numbers = [float(word) for word in words[1:]]
    if words[:1] == ["live"]:
        live(*(numbers or [180.0, 600.0]))
    elif words[:1] == ["hours"]:
        hours(*(numbers or [2.0]))
    else:
        print(__doc__)


if __name__ == "__main__":
    main(sys.argv[1:])
