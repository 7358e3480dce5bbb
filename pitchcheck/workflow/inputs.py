"""Which inputs there are, and whether one is fit to listen with."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from pitchcheck.capture.devices import CaptureFault, Choice, InputDevice
from pitchcheck.types import FloatArray

if TYPE_CHECKING:
    from pitchcheck.capture.stream import Input
    from pitchcheck.hearing.input_check import InputCheck

ROOM_S = 3.0  # [s] of the room without a note
PLUCKS_S = 8.0  # [s] for three plucks that ring out
LIST_S = 8.0  # [s] allowed for listing the inputs (seen: below 0.1 s)
CHANNELS = 2  # opened at once where no channel is named: the sockets of a small interface
# These stand for no socket: a sound server gives its own microphone, in as many channels as asked for.
SYSTEMS_CHOICE = {"default", "sysdefault", "pulse", "pipewire"}


def describe_inputs() -> tuple[str, ...]:
    """Return one line for each input, in words a player understands; raise as ``list_inputs``."""
    return tuple(_line(device) for device in list_inputs())


def list_inputs() -> Sequence[InputDevice]:
    """Return the inputs of this computer.

    Raises
    ------
    CaptureFault
        If the audio library is missing or there is no input.
    """
    from pitchcheck.capture import call_timeout, faults, library

    inputs = call_timeout.call(library.list_inputs, limit_s=LIST_S, name="the usual one")
    if not inputs:
        raise faults.no_input()
    return inputs


def try_input(device: str | None, *, channel: int | None, say: Callable[[str], None]) -> InputCheck:
    """Listen to an input: some seconds of the room, then a few plucks.

    Parameters
    ----------
    device : str or None
        Number, name or part of a name; None takes the system's own.
    channel : int >= 1 or None
        None listens to the first two, and finds the one that carries the instrument.
    say : callable
        Told what to do now.

    Returns
    -------
    InputCheck

    Raises
    ------
    CaptureFault
        If the input cannot be opened or stops.
    """
    from pitchcheck.capture import call_timeout, library
    from pitchcheck.capture.stream import open_input
    from pitchcheck.hearing.input_check import check_input

    name = device or "the usual one"
    found = call_timeout.call(lambda: library.find_input(device), limit_s=LIST_S, name=name)
    choice = Choice(found.number, channel=channel or min(CHANNELS, found.channels))
    with open_input(choice) as heard:
        say(f"Listening to {found.name}, {heard.rate_hz:.0f} samples per second.")
        say(f"Be quiet for {ROOM_S:.0f} s: this is the room.")
        room = _gather(heard, ROOM_S)
        say(f"Now pluck an open string three times within {PLUCKS_S:.0f} s, and let it ring each time.")
        plucks = _gather(heard, PLUCKS_S)
        rate_hz = heard.rate_hz
    if channel is not None:
        room, plucks = room[:, -1:], plucks[:, -1:]
    return check_input(room, plucks, rate_hz=rate_hz)


def _gather(heard: Input, duration_s: float) -> FloatArray:
    """Return so much sound. Lost pieces do not matter here."""
    pieces: list[FloatArray] = []
    frames = 0
    while frames < duration_s * heard.rate_hz:
        try:
            piece = heard.read_channels(0.1)
        except CaptureFault as fault:
            if not fault.passing:
                raise
            continue
        pieces.append(piece)
        frames += len(piece)
    return np.concatenate(pieces)


def _line(device: InputDevice) -> str:
    """Return an input in words."""
    words = ["taken when you name none"] if device.is_default else []
    if device.name.casefold() in SYSTEMS_CHOICE:
        words.insert(0, "the microphone chosen in the system's sound settings")
    else:
        many = "1 channel" if device.channels == 1 else f"{device.channels} channels"
        words.insert(0, f"{many}, through {device.host}")
    return f"{device.number:>3}  {device.name} ({'; '.join(words)})"
