"""What the audio library writes straight to file descriptor 2, kept off the screen.

Several threads may ask for quiet at once, and one of them may never come back (a frozen sound server), so
the descriptor is taken by the first, given back by the last, or at once when one is left behind.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from threading import Lock
from typing import IO

FIRST_LETTERS = 2000  # of what was written that are kept


class _Screen:
    """Who has asked for quiet, and where the descriptor is kept meanwhile."""

    def __init__(self) -> None:
        self.lock = Lock()
        self.turn = 0  # grows when somebody is left behind: what they give back later counts no more
        self.askers = 0
        self.kept: int | None = None
        self.paper: IO[bytes] | None = None

    def take(self) -> int:
        """Ask for quiet; return the turn it was asked in."""
        with self.lock:
            self.askers += 1
            if self.askers == 1:
                with suppress(OSError, ValueError, AttributeError):  # without standard error there is no need
                    sys.stderr.flush()
                    self.kept = os.dup(2)
                    self.paper = tempfile.TemporaryFile()  # noqa: SIM115 - outlives this call
                    os.dup2(self.paper.fileno(), 2)
            return self.turn

    def give_back(self, turn: int | None) -> None:
        """Need quiet no more; ``None`` gives the descriptor back whoever still asks."""
        with self.lock:
            if turn is None:
                self.turn += 1
                self.askers = 0
            elif turn == self.turn:
                self.askers -= 1
            if self.askers == 0 and self.kept is not None:
                os.dup2(self.kept, 2)
                os.close(self.kept)
                self.kept = None
                if self.paper is not None:
                    self.paper.close()
                    self.paper = None

    def read(self) -> str:
        """Return what was written so far."""
        with self.lock:
            if self.paper is None:
                return ""
            return os.pread(self.paper.fileno(), FIRST_LETTERS, 0).decode(errors="replace").strip()


_SCREEN = _Screen()


@contextmanager
def quiet() -> Iterator[Callable[[], str]]:
    """Keep the library off the screen; yields what returns the words it wrote until then."""
    turn = _SCREEN.take()
    try:
        yield _SCREEN.read
    finally:
        _SCREEN.give_back(turn)


def loud() -> None:
    """Give the screen back now, though a thread that is left behind still asks for quiet."""
    _SCREEN.give_back(None)
