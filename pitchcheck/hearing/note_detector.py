"""Hears notes in a stream: where a sound begins, and when it has ended or enough of it was heard.

Conventions: what an onset and an end are is said in ``pitch.plucks``, for files too. Sound goes in by hops of
one length; time is counted in steps of 5 ms from the first hop; levels are mean squares of one step, full
scale 1. Nothing depends on how the sound was cut up before it came here.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.hearing.room_level import SWELL_STEPS, RoomLevel, level_db
from pitchcheck.pitch import plucks
from pitchcheck.pitch.plucks import STEP_S
from pitchcheck.types import FloatArray

INAUDIBLE_HZ = 8.0  # [Hz] an offset of the converter and rumble lie below, the lowest string far above
STEPS_PER_HOP = 10  # it acts every 50 ms: soon enough for a verdict, seldom enough to be cheap
LEAD_S = 0.3  # [s] of the room kept before a note
HEARD_S = 2.0  # [s] enough: by then most strings have lost 10 dB, and more hardly narrows the pitch (ours)
PEAK_STEPS = round(plucks.PEAK_WITHIN_S / STEP_S)
GONE = 10 ** (-plucks.GONE_DB / 10)
NEAR_ROOM = 10**0.35  # a note has ended 3.5 dB above the room, which wavers by 2 (ours)
GONE_STEPS = round(plucks.GONE_FOR_S / STEP_S)
APART_STEPS = round(plucks.APART_S / STEP_S)
LOUDER = (
    10**0.6
)  # two rises are one pluck, unless the second is 6 dB louder than all before: then the first was a bump
BUMP_STEPS = 12  # but not within 60 ms, in which a bass still rises
HANDLING = 10 ** (-plucks.BELOW_LOUDEST_DB / 10)
HOLD_STEPS = 50  # a short sound is held back for 0.25 s: another may follow, as in talking or two bumps
TAKE_STEPS = 100  # a sound shorter than half a second before the next pluck is no take of its own
KEPT_S = 2.8  # [s] of sound kept: the room before a note, the note, and the hops around them


@dataclass(frozen=True)
class SoundEvent:
    """A sound that was heard from its beginning.

    Attributes
    ----------
    clip : Clip
        The sound with up to 0.3 s of the room before it.
    onset_s : float
        Where the sound begins in the clip. [s]
    ended : bool
        True when it had sunk into the room, or another began; False when enough had been heard.
    room : float
        Mean square of the room.
    peak : float
        Highest mean square of a step within the first 0.4 s.
    restarts : int
        Sounds too short for a take that came straight before it.
    gap_s : float
        From the end of the sound before it to its onset. [s]
    """

    clip: Clip
    onset_s: float
    ended: bool
    room: float
    peak: float
    restarts: int = 0
    gap_s: float = 1e9

    @property
    def sounded_s(self) -> float:
        """How long it was heard from its onset. [s]"""
        return self.clip.duration_s - self.onset_s


class NoteDetector:
    """Hears one sound after the other.

    Parameters
    ----------
    rate_hz : float > 0
        [Hz]
    """

    def __init__(self, *, rate_hz: float) -> None:
        self.rate_hz = rate_hz
        self._step = max(1, round(STEP_S * rate_hz))
        self.hop = self._step * STEPS_PER_HOP
        self._kept: deque[FloatArray] = deque(maxlen=int(KEPT_S * rate_hz) // self.hop + 1)
        self._filter: FloatArray | None = None  # state of the filter that takes the offset off
        self._heard = 0  # samples, all hops
        self._room = RoomLevel()
        self._count = 0  # steps
        self._free_from = 0  # step before which the sound belongs to something else
        self._onset: int | None = None
        self._levels: list[float] = []  # of the sounding note, from its onset
        self._below = 0
        self._restarts = 0
        self._gap_s = 0.0
        self._last = -(10**9)  # step at which the last sound ended
        self._short: SoundEvent | None = None
        self._short_until = 0

    @property
    def sounding_s(self) -> float | None:
        """How long a sound has been sounding; None while waiting. [s]"""
        return None if self._onset is None else (self._count - self._onset) * self._step / self.rate_hz

    @property
    def level_db(self) -> float:
        """Level of the last tenth of a second. [dB below full scale]"""
        if not self._kept:
            return level_db(0.0)
        last = np.concatenate(list(self._kept)[-2:])
        return level_db(float(np.mean((last - last.mean()) ** 2)))

    def forget(self) -> None:
        """Give up the sounding note; what rings on is not taken for a new one."""
        self._onset = self._short = None
        self._restarts = 0
        self._free_from = self._count
        self._room.restart()

    def rest(self, samples: FloatArray) -> None:
        """Take one hop without listening for a note: only level and room are followed."""
        for raw in self._keep(samples):
            self._count += 1
            self._room.hear(raw)
            self._room.wait()
        self.forget()

    def hear(self, samples: FloatArray) -> SoundEvent | None:
        """Take one hop; return the note that was completed in it.

        Parameters
        ----------
        samples : array, shape (hop,)
        """
        done: SoundEvent | None = None
        for raw in self._keep(samples):
            self._count += 1
            level = self._room.hear(raw)
            if self._onset is not None:
                self._levels.append(level)
                done = self._follow() or done
                continue
            self._room.wait()
            if self._room.rising or self._room.swollen:
                self._begin()
            elif self._short is not None and self._count >= self._short_until:
                done, self._short = self._short, None
        return done

    @property
    def onset_at(self) -> int | None:
        """Step at which the sounding note began; None while waiting."""
        return self._onset

    def so_far(self) -> tuple[Clip, float] | None:
        """Return the sounding note as far as it has been heard, and where it begins in that clip. [s]"""
        return None if self._onset is None else self._cut(self._onset, self._count)

    def _keep(self, samples: FloatArray) -> list[float]:
        """Keep a hop; return the mean squares of its steps, without what lies below hearing."""
        from scipy.signal import lfilter

        self._kept.append(samples)
        self._heard += samples.size
        kept = math.exp(-2 * math.pi * INAUDIBLE_HZ / self.rate_hz)
        if self._filter is None:
            self._filter = -samples[:1]
        steady, self._filter = lfilter([1.0, -1.0], [1.0, -kept], samples, zi=self._filter)
        steps = steady.reshape(STEPS_PER_HOP, self._step)
        return [float(level) for level in np.mean(steps**2, axis=1)]

    def _begin(self) -> None:
        self._gap_s = (self._count - self._last) * self._step / self.rate_hz
        if self._short is not None:  # both are one: a bump and its note, or talking
            self._restarts, self._gap_s = self._short.restarts + 1, self._short.gap_s
            self._short = None
        back = SWELL_STEPS if self._room.swollen else 2
        self._onset = max(self._free_from, self._count - back)
        self._levels = [self._room.level]
        self._below = 0
        self._room.restart()

    def _follow(self) -> SoundEvent | None:
        """Decide at this step whether the note goes on."""
        assert self._onset is not None
        age = self._count - self._onset
        peak = max(self._levels[:PEAK_STEPS])
        if self._room.rising and self._is_another(age, peak):
            if age < TAKE_STEPS:
                self._restarts += 1
                self._free_from = self._onset = self._count - 2
                self._levels = [self._room.level]
                return None
            return self._end(self._count - 2, ended=True, again=True)
        gone = self._room.slow < max(NEAR_ROOM * self._room.floor, GONE * peak)
        self._below = self._below + 1 if gone else 0
        if self._below >= GONE_STEPS:
            note = self._end(self._count, ended=True)
            if age >= TAKE_STEPS:
                return note
            self._short, self._short_until = note, self._count + HOLD_STEPS
            return None
        if age * self._step >= HEARD_S * self.rate_hz:
            return self._end(self._count, ended=False)
        return None

    def _is_another(self, age: int, peak: float) -> bool:
        """Whether a rise within a note is another pluck."""
        before = max(self._levels[:-3], default=peak)
        louder = age > BUMP_STEPS and self._room.level > LOUDER * before
        return louder or (age > APART_STEPS and self._room.level > HANDLING * peak)

    def _end(self, last: int, *, ended: bool, again: bool = False) -> SoundEvent:
        """Hand out the note; ``again``: the next one has begun."""
        assert self._onset is not None
        clip, onset_s = self._cut(self._onset, last)
        peak = max(self._levels[:PEAK_STEPS])
        note = SoundEvent(clip, onset_s, ended, self._room.floor, peak, self._restarts, self._gap_s)
        self._last = last
        self._onset, self._restarts, self._free_from = None, 0, last
        if again:
            self._begin()
        return note

    def _cut(self, onset: int, last: int) -> tuple[Clip, float]:
        """Sound from the room before step ``onset`` to step ``last``, and where the onset lies in it. [s]"""
        kept = np.concatenate(self._kept)
        oldest = self._heard - kept.size
        first = max(onset * self._step - round(LEAD_S * self.rate_hz), self._free_from * self._step, oldest)
        clip = Clip(kept[first - oldest : last * self._step - oldest], self.rate_hz)
        return clip, (onset * self._step - first) / self.rate_hz
