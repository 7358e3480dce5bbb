"""A terminal of 80 x 24 in which a command runs; what stays on it is read back as lines.

The terminal is a pseudo terminal of the system; pyte (a test dependency) keeps its screen.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

COLUMNS, LINES = 80, 24


def screen_after(*words: str | Path, cwd: Path | None = None) -> list[str]:
    """Run ``pitchcheck`` with these words in a terminal, and return the lines that stay on the screen."""
    if os.name == "nt":
        pytest.skip("a pseudo terminal is a thing of Unix")
    import pty
    import termios

    import pyte

    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (LINES, COLUMNS))
    screen = pyte.Screen(COLUMNS, LINES)
    stream = pyte.ByteStream(screen)
    size = {"COLUMNS": str(COLUMNS), "LINES": str(LINES), "TERM": "xterm-256color"}
    with subprocess.Popen(
        [sys.executable, "-c", "from pitchcheck.cli import main; main()", *map(str, words)],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        cwd=cwd,
        env={**os.environ, **size},
    ) as process:
        os.close(theirs)
        while True:
            try:
                piece = os.read(ours, 65536)
            except OSError:  # the command has ended and nobody holds the terminal
                break
            if not piece:
                break
            stream.feed(piece)
        process.wait(timeout=60)
    os.close(ours)
    return [line.rstrip() for line in screen.display]
