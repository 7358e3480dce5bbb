"""A terminal of 80 x 24 in which a command runs: keys go in, what stands on it is read back as lines.

The terminal is a pseudo terminal of the system; pyte (a test dependency) keeps its screen.
"""

from __future__ import annotations

import os
import select
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType

from helpers.system import needs

COLUMNS, LINES = 80, 24
WAIT_S = 60.0  # [s] for words to come, on a busy machine
OTHER_SCREEN, BACK = "\x1b[?1049h", "\x1b[?1049l"  # xterm: another screen, and the one before it
FRESH = b"\x1b[2J\x1b[H"  # stands for the screen before, of which nothing is kept


class Terminal:
    """``pitchcheck`` with some words, running in a terminal.

    Attributes
    ----------
    process : Popen
    raw : str
        All that was ever written to the terminal.
    """

    def __init__(
        self, *words: str | Path, cwd: Path | None = None, environment: Mapping[str, str] | None = None
    ) -> None:
        needs("pseudo terminal")
        import pty
        import termios

        import pyte

        self._ours, self._theirs = pty.openpty()
        termios.tcsetwinsize(self._theirs, (LINES, COLUMNS))
        self._modes = termios.tcgetattr(self._theirs)
        self._screen = pyte.Screen(COLUMNS, LINES)
        self._stream = pyte.ByteStream(self._screen)
        self.raw = ""
        size = {"COLUMNS": str(COLUMNS), "LINES": str(LINES), "TERM": "xterm-256color"}
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from pitchcheck.cli import main; main()", *map(str, words)],
            stdin=self._theirs,
            stdout=self._theirs,
            stderr=self._theirs,
            cwd=cwd,
            env={**(environment or os.environ), **size},
        )

    def __enter__(self) -> Terminal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(timeout=WAIT_S)
        os.close(self._ours)
        os.close(self._theirs)

    @property
    def lines(self) -> list[str]:
        """What stands on it now."""
        return [line.rstrip() for line in self._screen.display]

    @property
    def as_it_was(self) -> bool:
        """Whether its modes are those from before the command."""
        import termios

        return bool(termios.tcgetattr(self._theirs) == self._modes)

    def press(self, keys: str) -> None:
        """Press keys."""
        os.write(self._ours, keys.encode())

    def until(self, words: str, *, or_end: bool = False) -> None:
        """Wait until the words stand on it, or else the command has ended."""
        end_s = time.monotonic() + WAIT_S
        while words not in " ".join(" ".join(self.lines).split()):
            if or_end and self.process.poll() is not None:
                return
            assert time.monotonic() < end_s, f"{words!r} did not come:\n" + "\n".join(self.lines)
            self._read(0.1)

    def end(self) -> int:
        """Wait until the command has ended; return its status."""
        end_s = time.monotonic() + WAIT_S
        while self.process.poll() is None:
            assert time.monotonic() < end_s, "\n".join(self.lines)
            self._read(0.1)
        while self._read(0.0):
            pass
        return self.process.wait()

    def _read(self, wait_s: float) -> bool:
        """Take in what was written meanwhile; return whether anything was."""
        if not select.select([self._ours], [], [], wait_s)[0]:
            return False
        piece = os.read(self._ours, 65536)
        self.raw += piece.decode("utf-8", "replace")
        self._stream.feed(piece.replace(BACK.encode(), FRESH))
        return True


def screen_after(*words: str | Path, cwd: Path | None = None) -> list[str]:
    """Run ``pitchcheck`` with these words in a terminal, and return the lines that stay on the screen."""
    with Terminal(*words, cwd=cwd) as terminal:
        terminal.end()
        return terminal.lines
