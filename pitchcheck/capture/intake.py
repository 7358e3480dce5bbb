"""What the audio library calls whenever sound has come: it copies, counts, and nothing else.

It runs in the audio library's thread. The reader's thread takes the pieces out. Frames are counted against
the clock, because a library may lose frames without saying so.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from queue import Empty, SimpleQueue
from typing import Any

import numpy as np

from pitchcheck.types import FloatArray

BIN_S = 0.25  # [s] the least lateness is kept of each such stretch
NOW_BINS = 4  # the least of these is held against the ones before: waiting in line for 1 s is not loss
BINS = 120  # 30 s, in which a clock that runs apart by 84 ppm, as one did, makes 2.5 ms
ALLOWED_S = 0.1  # [s] of missing sound before it is called lost (measured lateness: below 0.03 s)
MOST_S = 60.0  # [s] of sound that waits for the reader; what comes beyond is lost, and said to be


class FrameCount:
    """Frames that came, against the time that passed.

    Parameters
    ----------
    rate_hz : float > 0
    """

    def __init__(self, *, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._start_s: float | None = None
        self._frames = 0
        self._bin_end_s = 0.0
        self._least: deque[float] = deque(maxlen=BINS)  # of each stretch that has ended
        self._now = np.inf

    def count(self, frames: int, *, at_s: float) -> float:
        """Take note of frames; return how much sound was found lost just now, mostly none. [s]

        A loss is told once, 1.0 to 1.5 s after it.

        Parameters
        ----------
        frames : int >= 0
        at_s : float
            When they came, on a clock that never goes back. [s]
        """
        if self._start_s is None:
            self._start_s, self._bin_end_s = at_s, at_s + BIN_S
            return 0.0  # the first block was gathered before the count began
        self._frames += frames
        self._now = min(self._now, (at_s - self._start_s) - self._frames / self._rate_hz)
        if at_s < self._bin_end_s:
            return 0.0
        self._least.append(self._now)
        self._now, self._bin_end_s = np.inf, at_s + BIN_S
        if len(self._least) <= NOW_BINS:
            return 0.0
        known = list(self._least)
        lost_s = min(known[-NOW_BINS:]) - min(known[:-NOW_BINS])
        if lost_s <= ALLOWED_S:
            return 0.0
        self._least.clear()
        self._least.extend(known[-NOW_BINS:])
        return lost_s


class Intake:
    """Blocks of sound on their way from the audio library's thread to the reader.

    Parameters
    ----------
    clock : callable
        Seconds on a clock that never goes back.
    most : int
        Frames that may wait for the reader.
    """

    def __init__(self, *, clock: Callable[[], float], most: int) -> None:
        self._clock = clock
        self._most = most
        self._buffer: SimpleQueue[tuple[float, FloatArray]] = SimpleQueue()
        self._put = self._taken = 0  # frames; each is written by one thread only
        self.last_s = clock()
        self.overflowed = False
        self.finished = False
        self.error: BaseException | None = None

    def hear(self, sound: Any, frames: int, time: Any, status: Any) -> None:
        """Copy one block; called by the audio library. ``sound`` has shape (frames, channels)."""
        del time
        try:
            self.last_s = self._clock()
            if status and status.input_overflow:
                self.overflowed = True
            if self._put + frames - self._taken > self._most:
                self.overflowed = True
                return
            self._buffer.put((self.last_s, np.array(sound, dtype=np.float32)))
            self._put += frames
        except BaseException as error:  # an exception here would end the stream without a word to anyone
            self.error = error

    def end(self) -> None:
        """Take note that the stream has ended; called by the audio library."""
        self.finished = True

    def take(self, timeout_s: float) -> list[tuple[float, FloatArray]]:
        """Return all that has come, waiting for a first piece at most so long. [s]"""
        pieces: list[tuple[float, FloatArray]] = []
        try:
            pieces.append(self._buffer.get(timeout=timeout_s) if timeout_s > 0 else self._buffer.get_nowait())
            while True:
                pieces.append(self._buffer.get_nowait())
        except Empty:
            self._taken += sum(len(piece) for _, piece in pieces)
            return pieces
