"""A process that hears a virtual microphone through the real capture path, and tells what came of it."""

from __future__ import annotations

import json
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np

from helpers.microphone import INPUT, RATE_HZ, Microphone

LIMIT_S = 60.0  # [s] for one process, on a busy machine

# Opens the input, tells it is heard, reads until ``until`` seconds or a fault; prints what came of it.
HEAR = """
import json, sys, time
import numpy as np
from pitchcheck.capture.devices import CaptureFault, Choice
from pitchcheck.capture.stream import open_input
until_s, keep = float(sys.argv[1]), sys.argv[2]
pieces, faults = [], []
try:
    with open_input(Choice(device={device!r})) as heard:
        pieces.append(heard.read(5.0))
        print("heard", flush=True)
        end_s = time.monotonic() + until_s
        while time.monotonic() < end_s:
            try:
                pieces.append(heard.read(0.05))
            except CaptureFault as fault:
                faults.append([fault.trouble, str(fault), time.monotonic()])
                if not fault.passing:
                    break
    closed_s = time.monotonic()
except CaptureFault as fault:
    faults.append([fault.trouble, str(fault), 0.0])
    closed_s = time.monotonic()
samples = np.concatenate(pieces) if pieces else np.zeros(0)
if keep:
    np.save(keep, samples.astype(np.float32))
print(json.dumps(dict(frames=samples.size, peak=float(abs(samples).max(initial=0.0)), faults=faults,
                      closed_s=closed_s)), flush=True)
"""


class Hearing:
    """A process that hears the microphone."""

    def __init__(self, microphone: Microphone, *, until_s: float, keep: Path | None = None) -> None:
        code = textwrap.dedent(HEAR.format(device=INPUT))
        self._process = subprocess.Popen(
            [sys.executable, "-c", code, str(until_s), str(keep or "")],
            env=microphone.environment,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert self._process.stdout is not None
        self._lines = self._process.stdout
        self.begun = self._lines.readline().strip()

    def result(self, *, within_s: float = LIMIT_S) -> dict[str, object]:
        """Return what it told at its end."""
        said, _ = self._process.communicate(timeout=within_s)
        assert self._process.returncode == 0
        return dict(json.loads(said.splitlines()[-1]))


def noise(duration_s: float, *, seed: int = 3) -> np.ndarray:
    """Return noise in which every sample is different from its neighbours."""
    return np.random.default_rng(seed).normal(0.0, 0.1, round(duration_s * RATE_HZ)).astype(np.float32)


def found_in(heard: np.ndarray, played: np.ndarray) -> bool:
    """Whether what was played is in what was heard, bit for bit and without a gap."""
    first = np.flatnonzero(heard)[0]
    return bool(np.array_equal(heard[first : first + played.size], played))
