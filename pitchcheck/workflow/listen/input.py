"""The microphone and the loudspeaker of a session, from what was asked for on the command line."""

from __future__ import annotations

from contextlib import AbstractContextManager

import numpy as np

from pitchcheck.capture.devices import CaptureFault, Choice
from pitchcheck.types import FloatArray
from pitchcheck.workflow.listen.ports import Input, NoTones, Source, Tones

RATE_HZ = 48_000  # [Hz] of the tones
LOUDNESS = 0.1  # [full scale]
FADE_S = 0.01
AFTER_S = 0.4  # [s] from the end of a tone until it has left loudspeaker, room and buffers


def microphone(*, device: str | None = None, rate_hz: float | None = None, channel: int = 1) -> Source:
    """Return what opens the chosen input; see ``capture.records.Choice``."""
    choice = Choice(device, rate_hz, channel)

    def open_it(*, again: bool) -> AbstractContextManager[Input]:
        from pitchcheck.capture.stream import open_input

        return open_input(choice, again=again)

    return open_it


class SpokenTones:
    """Tones on the system's usual output: one high for a take that is kept, two low ones for "again"."""

    def __init__(self) -> None:
        self._accepted = _tone(880.0, 0.08)
        low = _tone(330.0, 0.08)
        self._again = np.concatenate([low, np.zeros(RATE_HZ // 20), low])

    def accepted(self) -> float:
        """Sound the tone for a take that is kept; return how long sound should not be listened to. [s]"""
        return _play(self._accepted)

    def again(self) -> float:
        """Sound the tones for "play it again"; return the same. [s]"""
        return _play(self._again)


def tones(wanted: bool) -> Tones:
    """Return the tones that were asked for."""
    return SpokenTones() if wanted else NoTones()


def _tone(hz: float, seconds: float) -> FloatArray:
    time = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    fade = np.minimum(1.0, np.minimum(time, seconds - time) / FADE_S)
    return np.asarray(LOUDNESS * fade * np.sin(2 * np.pi * hz * time))


def _play(sound: FloatArray) -> float:
    """Start a sound and return at once; without an output there is none."""
    from pitchcheck.capture.library import load, quiet

    try:
        library = load()
    except CaptureFault:
        return 0.0
    try:
        with quiet():
            library.play(sound.astype(np.float32), RATE_HZ)
    except (library.PortAudioError, ValueError):
        return 0.0
    return sound.size / RATE_HZ + AFTER_S
