"""Is this input fit to listen with? Judged from some seconds of the room, then of a few plucks.

Conventions: sound has shape (samples, channels), full scale 1; levels are in dB below full scale (root mean
square unless a peak is meant); -120 stands for digital silence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True)
class InputCheck:
    """What was found of an input.

    Attributes
    ----------
    channels : tuple of ChannelCheck
    channel : int
        The one that carries the instrument, from 0; with the room alone, the one that is not dead.
    sentences : tuple of str
        What to know and to do, in plain words, most important first. Never empty.
    go_on : bool
        False when takes would mostly be refused or wrong.
    """

    channels: tuple[ChannelCheck, ...]
    channel: int
    sentences: tuple[str, ...]
    go_on: bool


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
    sentences, go_on = _say(channels, best, heard_plucks=loud is not None)
    return InputCheck(channels, best, sentences, go_on)


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


def _say(channels: Sequence[ChannelCheck], best: int, *, heard_plucks: bool) -> tuple[tuple[str, ...], bool]:
    """Sentences, and whether to go on."""
    channel = channels[best]
    if channel.dead:
        return (
            "The input is dead silent: not even noise comes through. Check the plug, the cable's switch, the "
            "instrument's volume, and whether the program may use the microphone.",
        ), False
    stops: list[str] = []
    warns: list[str] = []
    if channel.clipped:
        stops.append("The input is overdriven. Turn its gain down until loud plucks stay well below the top.")
    if channel.pumping:
        stops.append(
            "Something turns the gain up and down by itself. Switch off automatic gain, noise suppression "
            "and sound effects in the settings of the input."
        )
    if heard_plucks:
        _say_level(channel, stops, warns)
    if channel.hum is not None and channel.hum.over_room_db > HUM_OVER_ROOM_DB:
        loud = channel.pluck_db is None or channel.hum.level_db > channel.pluck_db - HUM_UNDER_PLUCK_DB
        if loud:
            warns.append(
                f"Mains hum at {channel.hum.mains_hz:.0f} Hz stands {channel.hum.over_room_db:.0f} dB above "
                "the rest of the room. Turn the pickup away from lamps and power supplies, or move."
            )
    if len(channels) > 1:
        warns.append(f"The instrument is on channel {best + 1} of {len(channels)}." if heard_plucks else "")
    good = f"The room is at {channel.floor_db:.0f} dB" + (
        f" and your plucks are {channel.ratio_db:.0f} dB above it." if channel.ratio_db is not None else "."
    )
    return tuple(s for s in (*stops, *warns, good) if s), not stops


def _say_level(channel: ChannelCheck, stops: list[str], warns: list[str]) -> None:
    if channel.pluck_db is None or channel.peak_db is None or channel.ratio_db is None:
        stops.append("No pluck was heard. Pluck louder, move closer, or choose another input.")
        return
    if channel.ratio_db < POOR_RATIO_DB:
        stops.append(
            f"Your plucks are only {channel.ratio_db:.0f} dB above the room; most takes would be refused. "
            "Move the microphone closer, pluck louder, or quieten the room."
        )
    elif channel.ratio_db < FAIR_RATIO_DB:
        warns.append(
            f"Your plucks are {channel.ratio_db:.0f} dB above the room; {FAIR_RATIO_DB:.0f} would be good. "
            "Move closer if you can."
        )
    if channel.peak_db < GOOD_PEAK_DB[0]:
        more = AIM_PEAK_DB - channel.peak_db
        warns.append(f"The level is low. Turn the gain up by about {more:.0f} dB.")
    elif channel.peak_db > GOOD_PEAK_DB[1] and not channel.clipped:
        warns.append("Your plucks reach almost the top. Turn the gain down a little.")


def _loudest_db(clip: Clip) -> float:
    return 10 * float(np.log10(max(float(block_power(clip, LOUDEST_S).max()), 1e-12)))


def _level_db(samples: FloatArray) -> float:
    return _db(float(np.sqrt(np.mean(samples**2))))


def _db(value: float) -> float:
    return max(20 * float(np.log10(max(value, 1e-9))), SILENCE_DB)
