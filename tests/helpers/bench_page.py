"""The bench page as a process of its own, and its pages in a real browser."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from helpers.system import needs

WAIT_S = 30.0  # on a busy machine


@dataclass(frozen=True)
class RunningBench:
    """A served bench."""

    process: subprocess.Popen[str]
    address: str
    root: Path

    @property
    def port(self) -> int:
        return int(self.address.split(":")[2].split("/")[0])

    def end(self) -> None:
        """Ask it to end, and wait."""
        self.process.terminate()
        self.process.wait(timeout=WAIT_S)


@contextmanager
def served(root: Path, *, environment: Mapping[str, str], more: tuple[str, ...] = ()) -> Iterator[RunningBench]:
    """Serve a bench until the block ends."""
    command = [sys.executable, "-m", "pitchcheck", "bench", str(root), "--no-browser", *more]
    process = subprocess.Popen(command, env=dict(environment), stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    try:
        found = re.search(r"http://\S+", process.stderr.readline())
        assert found is not None
        yield RunningBench(process, found[0], root)
    finally:
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(timeout=WAIT_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        process.stderr.close()


@contextmanager
def chromium() -> Iterator[object]:
    """Open Chromium without a window."""
    from helpers.browser import open_browser

    needs("chromium")
    with open_browser() as browser:
        yield browser


def until(true: object, *, within_s: float = WAIT_S) -> None:
    """Wait until a function returns something true."""
    end_s = time.monotonic() + within_s
    while not true():  # type: ignore[operator]
        assert time.monotonic() < end_s, "it did not come about"
        time.sleep(0.05)
