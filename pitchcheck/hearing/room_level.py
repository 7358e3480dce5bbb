"""Follows how loud it is: the level step by step, its rise, and the room's own noise beneath.

Conventions: levels are mean squares of one step of 5 ms, full scale 1.
"""

from __future__ import annotations

import math
from collections import deque

from pitchcheck.pitch.plucks import LOOK_BACK_S, RISE_DB, STEP_S

BACK_STEPS = round(LOOK_BACK_S / STEP_S)
RISE = 10 ** (RISE_DB / 10)
ABOVE_ROOM = 10**1.0  # a sound stands 10 dB above the room: noise alone reaches 5 (ours)
FAINTEST = 10**-8.5  # -85 dB: below lie dither and digital silence
SMOOTH_STEPS = 3
SLOW_STEPS = 10  # 50 ms
SWELL_STEPS = 20  # a sound that stays for 0.1 s without a sharp beginning is a voice or the like
QUARTER_STEPS = 50  # levels are gathered over a quarter of a second ...
QUARTERS = 12  # ... and of three seconds of waiting the quietest quarter tells the room: the rest may ring
FEWEST_STEPS = 4  # before so much of the room was heard it has no level
SILENCE_DB = -120.0  # shown for digital silence


class RoomLevel:
    """Level, rise and floor of a stream of steps."""

    def __init__(self) -> None:
        self._raw: deque[float] = deque(maxlen=SMOOTH_STEPS)
        self._past: deque[float] = deque(maxlen=BACK_STEPS + 1)  # smoothed, newest last
        self._recent: deque[float] = deque(maxlen=SLOW_STEPS)
        self.slow = 0.0  # level smoothed over 50 ms
        self._lowest = float("inf")  # slow level since the last sound
        self._swollen = 0
        self._quarter: list[float] = []
        self._quarters: deque[float] = deque(maxlen=QUARTERS)
        self.level = 0.0

    def hear(self, raw: float) -> float:
        """Take one step; return its level smoothed over 15 ms."""
        self._raw.append(raw)
        self.level = sum(self._raw) / len(self._raw)
        self._past.append(self.level)
        self._recent.append(raw)
        self.slow = sum(self._recent) / len(self._recent)
        return self.level

    def wait(self) -> None:
        """Count the step that was just heard as room."""
        self._quarter.append(self.level)
        if len(self._quarter) == QUARTER_STEPS:
            self._quarters.append(sum(self._quarter) / QUARTER_STEPS)
            self._quarter.clear()
        self._lowest = min(self._lowest, self.slow)
        loud = self.slow > ABOVE_ROOM * max(self._lowest, self.floor)
        self._swollen = self._swollen + 1 if loud else 0

    def restart(self) -> None:
        """Begin to wait: what rings now is not taken for a new sound."""
        self._lowest, self._swollen = float("inf"), 0

    @property
    def floor(self) -> float:
        """The room: a quiet quarter second of the last seconds of waiting. At least FAINTEST."""
        known = list(self._quarters)
        if len(self._quarter) >= FEWEST_STEPS and (not known or len(self._quarter) > QUARTER_STEPS // 2):
            known.append(sum(self._quarter) / len(self._quarter))
        if not known:
            return FAINTEST
        return max(sorted(known)[len(known) // 4], FAINTEST)

    @property
    def rising(self) -> bool:
        """Whether the level has risen as a pluck does, and stands out of the room."""
        if len(self._past) <= BACK_STEPS:
            return False
        return self.level > RISE * self._past[0] and self.level > ABOVE_ROOM * self.floor

    @property
    def swollen(self) -> bool:
        """Whether a sound has come up slowly, as no pluck does, and stays."""
        return self._swollen >= SWELL_STEPS


def level_db(mean_square: float) -> float:
    """Level in dB below full scale; -120 for silence."""
    return 10 * math.log10(mean_square) if mean_square > 1e-12 else SILENCE_DB
