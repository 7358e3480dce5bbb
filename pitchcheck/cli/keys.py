"""Keys as they are pressed: single ones on a terminal, lines where there is none."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from queue import Empty, SimpleQueue
from threading import Thread
from typing import Protocol, TextIO

from pitchcheck.guide.scene import Key


class Pressed(Protocol):
    """Keys that were pressed."""

    def poll(self) -> str:
        """Return the keys pressed since the last call, oldest first."""

    @property
    def ended(self) -> bool:
        """Whether no key can ever come any more."""


class LineKeys:
    """First letter of every line of a stream, read in a thread of its own; an empty line is no key.

    A line that begins with g and a space is a gauge reading, given whole.
    """

    def __init__(self, stream: TextIO) -> None:
        self._keys: SimpleQueue[str] = SimpleQueue()
        self._reader = Thread(target=self._read, args=(stream,), name="reading keys", daemon=True)
        self._reader.start()

    @property
    def ended(self) -> bool:
        """Whether the stream is at its end and every key was given out."""
        return not self._reader.is_alive() and self._keys.empty()

    def poll(self) -> str:
        """Return the keys since the last call."""
        found = ""
        try:
            while True:
                found += self._keys.get_nowait()
        except Empty:
            return found

    def _read(self, stream: TextIO) -> None:
        try:
            for line in stream:
                words = line.strip()
                gauge = words[:1].lower() == Key.GAUGE and words[1:2].isspace()
                self._keys.put(f"{words}\r" if gauge else words[:1])
        except (OSError, ValueError):  # closed under our hands
            return


if sys.platform == "win32":
    import msvcrt

    class TerminalKeys:
        """Single keys of a terminal."""

        ended = False

        def poll(self) -> str:
            """Return the keys since the last call."""
            found = ""
            while msvcrt.kbhit():
                found += msvcrt.getwch()
            return found

    @contextmanager
    def _terminal() -> Iterator[Pressed]:
        yield TerminalKeys()

else:
    import os
    import select
    import termios
    import tty

    class TerminalKeys:
        """Single keys of a terminal."""

        def __init__(self, descriptor: int) -> None:
            self._descriptor = descriptor
            self.ended = False

        def poll(self) -> str:
            """Return the keys since the last call."""
            found = b""
            while not self.ended and select.select([self._descriptor], [], [], 0)[0]:
                piece = os.read(self._descriptor, 64)
                self.ended = not piece
                found += piece
            arrow = found.startswith(b"\x1b") and len(found) > 1
            return "" if arrow else found.decode("utf-8", "ignore")

    @contextmanager
    def _terminal() -> Iterator[Pressed]:
        descriptor = sys.stdin.fileno()
        before = termios.tcgetattr(descriptor)
        try:
            tty.setcbreak(descriptor)  # keys at once and unseen; Ctrl-C still interrupts
            yield TerminalKeys(descriptor)
        finally:
            with suppress(termios.error):  # the window was closed
                termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


@contextmanager
def keyboard() -> Iterator[Pressed]:
    """Give the keys of standard input; a terminal is set back as it was at the end."""
    if sys.stdin is not None and sys.stdin.isatty():
        with _terminal() as keys:
            yield keys
    else:
        yield LineKeys(sys.stdin)
