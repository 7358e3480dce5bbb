"""Sound that has come and was not heard yet, in pieces of any length, given out in pieces of one length."""

from __future__ import annotations

from collections import deque

import numpy as np

from pitchcheck.types import FloatArray


class BlockBuffer:
    """A queue of samples; ``size`` says how many."""

    def __init__(self) -> None:
        self._waiting: deque[FloatArray] = deque()
        self.size = 0

    def add(self, samples: FloatArray) -> None:
        """Put a piece at the end; it is copied, so the caller may use its memory again."""
        if samples.size:
            self._waiting.append(np.array(samples, dtype=np.float64))
            self.size += samples.size

    def take(self, count: int) -> FloatArray:
        """Take exactly ``count`` samples from the front; there must be so many."""
        parts: list[FloatArray] = []
        missing = count
        while missing:
            piece = self._waiting.popleft()
            parts.append(piece[:missing])
            if piece.size > missing:
                self._waiting.appendleft(piece[missing:])
            missing -= parts[-1].size
        self.size -= count
        return parts[0] if len(parts) == 1 else np.concatenate(parts)
