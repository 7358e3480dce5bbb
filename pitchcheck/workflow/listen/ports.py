"""What a session at the microphone needs from outside, as arguments: an input, a screen, keys, tones."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import Protocol

from pitchcheck.guide.scene import Scene
from pitchcheck.types import FloatArray


class EndOfSound(Exception):
    """The source has come to its end, as a file does and a microphone never. Handled by the session."""


class Input(Protocol):
    """An open input."""

    @property
    def rate_hz(self) -> float:
        """Samples per second. [Hz]"""

    def read(self, timeout_s: float) -> FloatArray:
        """Return what has come since the last call, waiting at most so long for it. Shape (n,).

        Raises
        ------
        CaptureFault
            If the input is gone or sound was lost.
        EndOfSound
            If no more will ever come.
        """


class Source(Protocol):
    """Opens the input that was chosen."""

    def __call__(self, *, again: bool) -> AbstractContextManager[Input]:
        """Open it; ``again`` looks anew for what is plugged in. Raises CaptureFault."""


class Screen(Protocol):
    """Shows scenes."""

    def show(self, scene: Scene) -> None:
        """Show a scene; called many times a second."""


class Keys(Protocol):
    """Keys that were pressed."""

    def poll(self) -> str:
        """Return the keys pressed since the last call, oldest first."""

    @property
    def ended(self) -> bool:
        """Whether no key can ever come any more."""


class Tones(Protocol):
    """Short tones for ears that do not look."""

    def accepted(self) -> float:
        """Sound the tone for a take that is kept; return how long sound should not be listened to. [s]"""

    def again(self) -> float:
        """Sound the tone for "play it again"; return the same. [s]"""


class NoTones:
    """Silence."""

    def accepted(self) -> float:
        """Do nothing."""
        return 0.0

    def again(self) -> float:
        """Do nothing."""
        return 0.0
