"""Signals that end a session: the exit status is ours to the very end of the process."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time

import pytest

CODE = """
import sys
from pitchcheck.cli.signals import ending_signals
with ending_signals() as ending:
    try:
        print("up", flush=True)
        __import__("time").sleep(60)
    except KeyboardInterrupt:
        pass
sys.exit(ending.status)
"""


@pytest.mark.skipif(os.name == "nt", reason="signals of Unix")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_signals_until_the_process_is_gone_leave_its_exit_status(number: int) -> None:
    """``returncode`` is minus the signal where a signal killed the process."""
    with subprocess.Popen(
        [sys.executable, "-c", CODE], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline() == b"up\n"
        while process.poll() is None:
            with contextlib.suppress(ProcessLookupError):
                process.send_signal(number)
            time.sleep(0.001)
        assert process.returncode == (0 if number == signal.SIGINT else 128 + number)
        assert process.stderr.read() == b""
