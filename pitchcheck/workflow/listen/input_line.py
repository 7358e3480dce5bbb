"""The line to the input: opens it, reads it, and opens it again when it was lost.

Conventions: sound and its interruptions come out as events of the guide, in order.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack

from pitchcheck.capture.devices import CaptureFault, Trouble
from pitchcheck.guide.events import Command, Event, InputBack, InputLost, Sound
from pitchcheck.workflow.listen.ports import Input, Source

GATHER_S = 0.04  # [s] sound gathers in the input: pieces come hundreds of times a second
AGAIN_EVERY_S = 1.0  # [s] between two tries to open an input that was lost


class InputLine:
    """An input that comes back.

    Parameters
    ----------
    source : Source
    clock : callable
        Seconds on a clock that never goes back.
    sleep : callable
        Waits so many seconds.
    """

    def __init__(self, source: Source, *, clock: Callable[[], float], sleep: Callable[[float], None]) -> None:
        self._source = source
        self._clock = clock
        self._sleep = sleep
        self._stack = ExitStack()
        self._input: Input | None = None
        self._try_at_s = 0.0
        self._hold = False

    def open(self) -> float:
        """Open the input for the first time, or after ``close``; return its rate. [Hz]

        Raises
        ------
        CaptureFault
            If it cannot be opened.
        """
        self._input = self._stack.enter_context(self._source(again=False))
        return self._input.rate_hz

    def close(self) -> None:
        """Let go of the input."""
        self._input = None
        self._stack.close()

    def read(self, timeout_s: float) -> tuple[Event, ...]:
        """Return what has come: sound, or that the input was lost or is back.

        Raises
        ------
        EndOfSound
            If the source has come to its end.
        """
        if self._input is None:
            return self._open_again(timeout_s)
        self._sleep(GATHER_S)
        try:
            samples = self._input.read(timeout_s)
        except CaptureFault as fault:
            if fault.passing:
                return InputLost(str(fault)), InputBack(self._input.rate_hz)
            self.close()
            self._hold = fault.trouble is Trouble.MOVED
            self._try_at_s = self._clock() + AGAIN_EVERY_S
            return (InputLost(str(fault)),)
        return (Sound(samples),) if samples.size else ()

    def _open_again(self, timeout_s: float) -> tuple[Event, ...]:
        if self._clock() < self._try_at_s:
            self._sleep(timeout_s)
            return ()
        try:
            self._input = self._stack.enter_context(self._source(again=True))
        except CaptureFault as fault:
            self._try_at_s = self._clock() + AGAIN_EVERY_S
            return (InputLost(str(fault)),)
        # the system went over to another microphone by itself: the player says when to go on
        held = (Command.PAUSE,) if self._hold else ()
        self._hold = False
        return *held, InputBack(self._input.rate_hz)
