"""Signals that end a session: the first one unwinds it, those that follow do not break the unwinding."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")  # SIGHUP: the window was closed


class Ending:
    """Which signal has asked for the end, if any has."""

    def __init__(self) -> None:
        self.number: int | None = None

    @property
    def status(self) -> int:
        """Exit status: 128 and the signal's number (POSIX shells); 0 after Ctrl-C, an ordinary end here."""
        return 0 if self.number in (None, signal.SIGINT) else 128 + (self.number or 0)

    def handle(self, number: int, frame: FrameType | None) -> None:
        """Interrupt what is being done, once."""
        del frame
        if self.number is None:
            self.number = number
            raise KeyboardInterrupt


@contextmanager
def ending_signals() -> Iterator[Ending]:
    """Turn Ctrl-C, a request to end and a closed window alike into one ``KeyboardInterrupt``."""
    ending = Ending()
    numbers = [number for name in NAMES if (number := getattr(signal, name, None)) is not None]
    before = {number: signal.signal(number, ending.handle) for number in numbers}
    try:
        yield ending
    finally:
        # After a signal the process is at its end. A Python handler is taken away when the interpreter
        # closes, so that one more signal would kill it then; "ignored" stays until the process is gone.
        for number, handler in before.items():
            signal.signal(number, handler if ending.number is None else signal.SIG_IGN)
