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


class _Descriptor:
    """Who has asked for quiet, and where the descriptor is kept meanwhile."""

    def __init__(self) -> None:
        self.lock = Lock()
        self.generation = 0  # grows when somebody is left behind: what they give back later counts no more
        self.users = 0
        self.kept: int | None = None
        self.written: IO[bytes] | None = None

    def take(self) -> int:
        """Ask for quiet; return the generation it was asked in."""
        with self.lock:
            self.users += 1
            if self.users == 1:
                with suppress(OSError, ValueError, AttributeError):  # without standard error there is no need
                    sys.stderr.flush()
                    self.kept = os.dup(2)
                    self.written = tempfile.TemporaryFile()  # noqa: SIM115 - outlives this call
                    os.dup2(self.written.fileno(), 2)
            return self.generation

    def give_back(self, generation: int | None) -> None:
        """Need quiet no more; ``None`` gives the descriptor back whoever still asks."""
        with self.lock:
            if generation is None:
                self.generation += 1
                self.users = 0
            elif generation == self.generation:
                self.users -= 1
            if self.users == 0 and self.kept is not None:
                os.dup2(self.kept, 2)
                os.close(self.kept)
                self.kept = None
                if self.written is not None:
                    self.written.close()
                    self.written = None

    def read(self) -> str:
        """Return what was written so far."""
        with self.lock:
            if self.written is None:
                return ""
            return os.pread(self.written.fileno(), FIRST_LETTERS, 0).decode(errors="replace").strip()


_DESCRIPTOR = _Descriptor()


@contextmanager
def quiet() -> Iterator[Callable[[], str]]:
    """Keep the library off the screen; yields what returns the words it wrote until then."""
    generation = _DESCRIPTOR.take()
    try:
        yield _DESCRIPTOR.read
    finally:
        _DESCRIPTOR.give_back(generation)


def restore() -> None:
    """Give the screen back now, though a thread that is left behind still asks for quiet."""
    _DESCRIPTOR.give_back(None)
