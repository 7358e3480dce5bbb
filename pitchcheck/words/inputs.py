"""What was found of an input, in English: what is wrong with it and what to do, then how loud it is.

Conventions: whole sentences, the most important first; levels in whole decibels.
"""

from __future__ import annotations

from typing import assert_never

from pitchcheck.hearing.input_check import AIM_PEAK_DB, FAIR_RATIO_DB, ChannelCheck, InputCheck, InputRemark


def input_sentences(check: InputCheck) -> tuple[str, ...]:
    """Return what to know of an input and what to do; never empty."""
    channel = check.channels[check.channel]
    told = [_sentence(remark, channel) for remark in check.remarks]
    if InputRemark.DEAD in check.remarks:
        return tuple(told)
    if len(check.channels) > 1 and check.plucked:
        told.append(f"The instrument is on channel {check.channel + 1} of {len(check.channels)}.")
    above = "" if channel.ratio_db is None else f" and your plucks are {channel.ratio_db:.0f} dB above it"
    return (*told, f"The room is at {channel.floor_db:.0f} dB{above}.")


def _sentence(remark: InputRemark, channel: ChannelCheck) -> str:
    """Return one remark on a channel."""
    match remark:
        case InputRemark.DEAD:
            return (
                "The input is dead silent: not even noise comes through. Check the plug, the cable's switch, "
                "the instrument's volume, and whether the program may use the microphone."
            )
        case InputRemark.OVERDRIVEN:
            return "The input is overdriven. Turn its gain down until loud plucks stay well below the top."
        case InputRemark.PUMPING:
            return (
                "Something turns the gain up and down by itself. Switch off automatic gain, noise "
                "suppression and sound effects in the settings of the input."
            )
        case InputRemark.NO_PLUCK:
            return "No pluck was heard. Pluck louder, move closer, or choose another input."
        case InputRemark.POOR_RATIO:
            return (
                f"Your plucks are only {channel.ratio_db or 0.0:.0f} dB above the room; most takes would be "
                "refused. Move the microphone closer, pluck louder, or quieten the room."
            )
        case InputRemark.FAIR_RATIO:
            return (
                f"Your plucks are {channel.ratio_db or 0.0:.0f} dB above the room; {FAIR_RATIO_DB:.0f} would "
                "be good. Move closer if you can."
            )
        case InputRemark.LOW_LEVEL:
            more_db = AIM_PEAK_DB - (channel.peak_db or 0.0)
            return f"The level is low. Turn the gain up by about {more_db:.0f} dB."
        case InputRemark.NEAR_FULL:
            return "Your plucks reach almost the top. Turn the gain down a little."
        case InputRemark.HUM:
            assert channel.hum is not None
            return (
                f"Mains hum at {channel.hum.mains_hz:.0f} Hz stands {channel.hum.over_room_db:.0f} dB above "
                "the rest of the room. Turn the pickup away from lamps and power supplies, or move."
            )
    assert_never(remark)
