"""Is this input fit to listen with? Judged from some seconds of the room, then of a few plucks.

Conventions: sound has shape (samples, channels), full scale 1; levels are in dB below full scale (root mean
square unless a peak is meant); -120 stands for digital silence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.errors import BadValue, check_positive
from pitchcheck.hearing.envelope import block_power, is_clipped, reaches_full_scale
from pitchcheck.hearing.gain_control import is_pumping
from pitchcheck.hearing.hum import Hum, find_hum
from pitchcheck.hearing.room_level import SILENCE_DB
from pitchcheck.pitch.plucks import find_plucks
from pitchcheck.types import FloatArray

DEAD = 3 / 32768  # peak of a channel that carries nothing: three steps of a 16-bit converter (ours)
ROOM_AT_LEAST_S = 1.0
GOOD_PEAK_DB = (-40.0, -3.0)  # of plucks: below, a 16-bit converter's steps begin to show (ours)
AIM_PEAK_DB = -12.0
FAIR_RATIO_DB = 30.0  # pluck's level over the room: enough for every take of a fast decaying string (ours)
POOR_RATIO_DB = 18.0  # less: the guide would refuse most takes as too quiet
HUM_OVER_ROOM_DB = 10.0  # hum so far above the rest of the room is worth a word ...
HUM_UNDER_PLUCK_DB = 45.0  # ... unless it lies so far below the plucks
LOUDEST_S = 0.1
HEARD_DB = 10.0  # less over the room is no pluck


@dataclass(frozen=True)
class ChannelCheck:
    """One channel.

    Attributes
    ----------
    dead : bool
        It carries nothing, or a few steps of the converter.
    floor_db : float
        The room.
    hum : Hum or None
        Mains hum in the room, if it stands out.
    peak_db : float or None
        Highest sample of the plucks; None before any was heard.
    pluck_db : float or None
        Loudest tenth of a second of the plucks.
    plucks : int
        How many were heard.
    clipped : bool
    pumping : bool
        Something changes the gain by itself.
    """

    dead: bool
    floor_db: float
    hum: Hum | None
    peak_db: float | None
    pluck_db: float | None
    plucks: int
    clipped: bool
    pumping: bool

    @property
    def ratio_db(self) -> float | None:
        """Plucks over the room. [dB]"""
        return None if self.pluck_db is None else self.pluck_db - max(self.floor_db, SILENCE_DB)


class InputRemark(StrEnum):
    """What is wrong with an input, or could be better."""

    DEAD = "dead"  # not even noise
    OVERDRIVEN = "overdriven"
    PUMPING = "pumping"  # something changes the gain by itself
    NO_PLUCK = "no_pluck"
    POOR_RATIO = "poor_ratio"  # plucks too little above the room
    FAIR_RATIO = "fair_ratio"
    LOW_LEVEL = "low_level"
    NEAR_FULL = "near_full"
    HUM = "hum"


STOPS = frozenset(
    (
        InputRemark.DEAD,
        InputRemark.OVERDRIVEN,
        InputRemark.PUMPING,
        InputRemark.NO_PLUCK,
        InputRemark.POOR_RATIO,
    )
)  # with these takes would mostly be refused or wrong


@dataclass(frozen=True)
class InputCheck:
    """What was found of an input.

    Attributes
    ----------
    channels : tuple of ChannelCheck
    channel : int
        The one that carries the instrument, from 0; with the room alone, the one that is not dead.
    remarks : tuple of InputRemark
        On that channel, most important first; empty where all is well.
    plucked : bool
        Whether plucks were listened for, or the room alone.
    """

    channels: tuple[ChannelCheck, ...]
    channel: int
    remarks: tuple[InputRemark, ...]
    plucked: bool

    @property
    def go_on(self) -> bool:
        """False when takes would mostly be refused or wrong."""
        return not STOPS.intersection(self.remarks)


def check_input(room: FloatArray, plucks: FloatArray | None = None, *, rate_hz: float) -> InputCheck:
    """Check an input.

    Parameters
    ----------
    room : array, shape (n,) or (n, channels)
        At least one second, three are better, in which nothing is played.
    plucks : array, shape (m,) or (m, channels), optional
        A few single plucks that ring out, with the room between them. Without it only the room is judged.
    rate_hz : float > 0
        [Hz]

    Returns
    -------
    InputCheck

    Raises
    ------
    BadValue
        Too little of the room, or another number of channels in ``plucks``.
    """
    check_positive("rate_hz", rate_hz, unit="Hz")
    quiet = _columns(room)
    loud = None if plucks is None else _columns(plucks)
    if quiet.shape[0] < ROOM_AT_LEAST_S * rate_hz:
        raise BadValue(
            f"{quiet.shape[0] / rate_hz:.1f} s of the room is too little; give {ROOM_AT_LEAST_S} s."
        )
    if loud is not None and loud.shape[1] != quiet.shape[1]:
        raise BadValue(
            f"the room has {quiet.shape[1]} channels and the plucks {loud.shape[1]}; give the same."
        )
    channels = tuple(
        _check(quiet[:, i], None if loud is None else loud[:, i], rate_hz=rate_hz)
        for i in range(quiet.shape[1])
    )
    best = _choose(channels)
    plucked = loud is not None
    return InputCheck(channels, best, _remarks(channels[best], plucked=plucked), plucked)


def _columns(sound: FloatArray) -> FloatArray:
    return sound[:, None] if sound.ndim == 1 else sound


def _check(room: FloatArray, plucks: FloatArray | None, *, rate_hz: float) -> ChannelCheck:
    peak = float(np.abs(room).max())
    floor_db = _level_db(room - room.mean())
    hum = find_hum(Clip(room, rate_hz))
    if plucks is None or plucks.size == 0:
        return ChannelCheck(peak <= DEAD, floor_db, hum, None, None, 0, reaches_full_scale(room), False)
    dead = max(peak, float(np.abs(plucks).max())) <= DEAD
    clip = Clip(plucks, rate_hz)
    pluck_db = _loudest_db(clip)
    found = () if dead or pluck_db < floor_db + HEARD_DB else find_plucks(clip)
    clipped = any(is_clipped(clip.between(p.onset_s, p.end_s), onset_s=0.0) for p in found)
    return ChannelCheck(
        dead=dead,
        floor_db=floor_db,
        hum=hum,
        peak_db=_db(float(np.abs(plucks).max())),
        pluck_db=pluck_db if found else None,
        plucks=len(found),
        clipped=clipped or reaches_full_scale(plucks),
        pumping=is_pumping(clip, found, room_db=floor_db),
    )


def _choose(channels: Sequence[ChannelCheck]) -> int:
    """Channel with the loudest plucks over its own room; before plucks the loudest room that is not dead."""

    def worth(i: int) -> tuple[bool, float, float]:
        channel = channels[i]
        ratio = channel.ratio_db if channel.ratio_db is not None else SILENCE_DB
        return (not channel.dead, ratio, channel.floor_db)

    return max(range(len(channels)), key=worth)


def _remarks(channel: ChannelCheck, *, plucked: bool) -> tuple[InputRemark, ...]:
    """Return what is to be said of a channel, what stops a session first."""
    if channel.dead:
        return (InputRemark.DEAD,)
    found = []
    if channel.clipped:
        found.append(InputRemark.OVERDRIVEN)
    if channel.pumping:
        found.append(InputRemark.PUMPING)
    if plucked:
        found += _level_remarks(channel)
    if channel.hum is not None and channel.hum.over_room_db > HUM_OVER_ROOM_DB:
        under_db = np.inf if channel.pluck_db is None else channel.hum.level_db - channel.pluck_db
        found += [InputRemark.HUM] if under_db > -HUM_UNDER_PLUCK_DB else []
    return tuple(found)


def _level_remarks(channel: ChannelCheck) -> list[InputRemark]:
    """Return what is to be said of the level of the plucks, over the room and in itself."""
    if channel.pluck_db is None or channel.peak_db is None or channel.ratio_db is None:
        return [InputRemark.NO_PLUCK]
    found = []
    if channel.ratio_db < POOR_RATIO_DB:
        found.append(InputRemark.POOR_RATIO)
    elif channel.ratio_db < FAIR_RATIO_DB:
        found.append(InputRemark.FAIR_RATIO)
    if channel.peak_db < GOOD_PEAK_DB[0]:
        found.append(InputRemark.LOW_LEVEL)
    elif channel.peak_db > GOOD_PEAK_DB[1] and not channel.clipped:
        found.append(InputRemark.NEAR_FULL)
    return found


def _loudest_db(clip: Clip) -> float:
    return 10 * float(np.log10(max(float(block_power(clip, LOUDEST_S).max()), 1e-12)))


def _level_db(samples: FloatArray) -> float:
    return _db(float(np.sqrt(np.mean(samples**2))))


def _db(value: float) -> float:
    return max(20 * float(np.log10(max(value, 1e-9))), SILENCE_DB)
