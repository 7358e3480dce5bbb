"""A bench that is killed leaves no worker process behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

BENCH = """
import os, sys, time
from pitchcheck.bench.worker import Worker
if __name__ == "__main__":
    print(Worker().submit(os.getpid).result(), flush=True)
    time.sleep(60)
"""
LIMIT_S = 20.0  # on a busy machine; it takes no time


def lives(process: int) -> bool:
    """Whether a process runs; one that has ended and whom nobody has asked about yet does not (proc(5))."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    status = Path(f"/proc/{process}/stat")
    return not status.exists() or status.read_text().rpartition(")")[2].split()[0] != "Z"


@pytest.mark.skipif(os.name == "nt", reason="signals of Unix")
def test_a_killed_bench_takes_its_workers_along(tmp_path: Path) -> None:
    (tmp_path / "bench.py").write_text(BENCH)
    with subprocess.Popen([sys.executable, str(tmp_path / "bench.py")], stdout=subprocess.PIPE) as bench:
        assert bench.stdout is not None
        worker = int(bench.stdout.readline())
        assert worker != bench.pid
        os.kill(worker, 0)  # it lives
        bench.send_signal(signal.SIGKILL)
        bench.wait()
    end_s = time.monotonic() + LIMIT_S
    while time.monotonic() < end_s:
        if not lives(worker):
            return
        time.sleep(0.05)
    os.kill(worker, signal.SIGKILL)
    pytest.fail("the worker process outlived the bench")
