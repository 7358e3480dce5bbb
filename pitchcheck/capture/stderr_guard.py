"""What the audio library writes straight to file descriptor 2, kept off the screen.

Several threads may ask for quiet at once, and one of them may never come back (a frozen sound server), so
the descriptor is taken by the first, given back by the last, or at once when one is left behind. Between such
times the sound system of Linux (ALSA) still writes from threads of its own, "underrun occurred" after a tone:
its messages are dropped then.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import cache
from threading import Lock
from typing import IO, Any

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
                _let_alsa_speak(True)
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
                _let_alsa_speak(False)

    def read(self) -> str:
        """Return what was written so far."""
        with self.lock:
            if self.written is None:
                return ""
            return os.pread(self.written.fileno(), FIRST_LETTERS, 0).decode(errors="replace").strip()


@cache
def _alsa() -> tuple[Any, Any] | None:
    """Return the library of ALSA and a handler that drops its messages, kept for ever; None elsewhere."""
    if sys.platform != "linux":
        return None
    import ctypes

    try:
        library = ctypes.CDLL("libasound.so.2")
        library.snd_lib_error_set_handler.argtypes = [ctypes.c_void_p]
    except (OSError, AttributeError):
        return None
    text, number = ctypes.c_char_p, ctypes.c_int
    handler = ctypes.CFUNCTYPE(None, text, number, text, number, text)(lambda *_: None)
    return library, (handler, ctypes.cast(handler, ctypes.c_void_p))


def _let_alsa_speak(speak: bool) -> None:
    """Let ALSA write its messages to file descriptor 2, as it does by itself, or drop them."""
    found = _alsa()
    if found is not None:
        library, (_, silent) = found
        library.snd_lib_error_set_handler(None if speak else silent)


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
