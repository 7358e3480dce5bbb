"""What an input is, which one is wanted, and what can go wrong with it.

Conventions: channels are counted from 1, as on the sockets of an interface; device numbers from 0, as the
audio library counts them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pitchcheck.errors import PitchcheckError


@dataclass(frozen=True)
class InputDevice:
    """One input that the computer offers.

    Attributes
    ----------
    number : int >= 0
        As ``pitchcheck inputs`` lists it.
    name : str
    host : str
        The system's way to it, e.g. "ALSA".
    channels : int >= 1
        Most channels it gives.
    usual_rate_hz : float
        Rate it says is its own. [Hz]
    is_default : bool
        The system takes this one when none is named.
    """

    number: int
    name: str
    host: str
    channels: int
    usual_rate_hz: float
    is_default: bool


@dataclass(frozen=True)
class Choice:
    """Which input is wanted.

    Attributes
    ----------
    device : str or int or None
        Part of a name, a number, or None for the system's own choice.
    rate_hz : float or None
        Samples per second; None tries 48000 Hz, the device's own rate, then 44100 Hz. [Hz]
    channel : int >= 1
    """

    device: str | int | None = None
    rate_hz: float | None = None
    channel: int = 1


class Trouble(StrEnum):
    """What is the matter with an input."""

    NO_LIBRARY = "no_library"
    NO_INPUT = "no_input"
    NOT_FOUND = "not_found"
    AMBIGUOUS = "ambiguous"
    CANNOT_OPEN = "cannot_open"
    BUSY = "busy"
    RATE = "rate"
    CHANNEL = "channel"
    GONE = "gone"
    STALLED = "stalled"
    MOVED = "moved"
    DROPPED = "dropped"
    BROKEN = "broken"


PASSING = {Trouble.DROPPED}  # the stream goes on; only what was sounding is spoilt


class CaptureFault(PitchcheckError):
    """An input cannot be used, or stopped giving sound.

    Attributes
    ----------
    trouble : Trouble
    passing : bool
        The input still works: only the note that was sounding is spoilt.
    """

    slug = "input"

    def __init__(self, trouble: Trouble, words: str) -> None:
        super().__init__(words)
        self.trouble = trouble
        self.passing = trouble in PASSING
