"""Reading an open input: sound as it comes, or one clear fault.

A stream that fails is aborted, never stopped, and from a thread of its own with a time limit: stopping a
stalled stream took 17 s, and with a frozen sound server it never came back.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import Any

import numpy as np

from pitchcheck.capture import call_timeout, faults, library
from pitchcheck.capture.devices import CaptureFault, Choice, InputDevice, Trouble
from pitchcheck.capture.intake import MOST_S, FrameCount, Intake
from pitchcheck.capture.source_watch import SourceWatch
from pitchcheck.capture.stderr_guard import quiet
from pitchcheck.types import FloatArray

LOWEST_RATE_HZ = 44_100.0  # [Hz] below this the partials that carry the pitch are cut off
USUAL_RATES_HZ = (48_000.0, 44_100.0)
SILENT_S = 2.0  # [s] without a block: stalled (longest gap seen in ten minutes on a busy machine: 0.3 s)
FIRST_S = 6.0  # [s] allowed for the first block (seen: up to 2.0 s)
OPEN_S = 8.0  # [s] allowed for opening (seen: 0.02 to 0.1 s)
CLOSE_S = 1.0  # [s] allowed for closing before it is left behind


def open_input(choice: Choice, *, clock: Callable[[], float] = time.monotonic, again: bool = False) -> Input:
    """Open an input and start hearing it.

    Parameters
    ----------
    choice : Choice
    clock : callable
        Seconds on a clock that never goes back.
    again : bool
        Look anew for inputs first (after one was lost); every stream must be closed.

    Raises
    ------
    CaptureFault
        If it cannot be opened, with what to do.
    """
    name = "the usual one" if choice.device is None else str(choice.device)
    if call_timeout.is_any():
        raise faults.stuck(name)
    return call_timeout.call(
        lambda: _open(choice, clock=clock, again=again), limit_s=OPEN_S, name=name, discard=Input.close
    )


def _open(choice: Choice, *, clock: Callable[[], float], again: bool) -> Input:
    """Open an input; with a frozen sound server this never comes back."""
    device = library.find_input(choice.device, again=again)
    if not 1 <= choice.channel <= device.channels:
        raise faults.bad_channel(choice.channel, name=device.name, channels=device.channels)
    sounddevice = library.load()
    rates = _rates(choice, device)
    for rate_hz in rates:
        intake = Intake(clock=clock, most=round(MOST_S * rate_hz))
        try:
            with quiet() as library_output:
                stream = sounddevice.InputStream(
                    device=device.number,
                    channels=choice.channel,
                    samplerate=rate_hz,
                    dtype="float32",
                    blocksize=0,
                    callback=intake.hear,
                    finished_callback=intake.end,
                )
                stream.start()
        except (sounddevice.PortAudioError, ValueError) as error:
            fault = faults.opening(
                error, name=device.name, rate_hz=rate_hz, channel=choice.channel, channels=device.channels
            )
            if fault.trouble is not Trouble.RATE or rate_hz == rates[-1]:
                fault.add_note(f"The audio library wrote: {library_output()}")
                raise fault from error
            continue
        return Input(stream, intake, device=device, rate_hz=rate_hz, clock=clock)
    raise AssertionError("no rate was tried")


def _rates(choice: Choice, device: InputDevice) -> tuple[float, ...]:
    """Return the rates to try, in order."""
    if choice.rate_hz is None:
        own = (device.usual_rate_hz,) if device.usual_rate_hz >= LOWEST_RATE_HZ else ()
        return tuple(dict.fromkeys((USUAL_RATES_HZ[0], *own, *USUAL_RATES_HZ)))
    if not choice.rate_hz >= LOWEST_RATE_HZ:
        raise faults.low_rate(choice.rate_hz, lowest_hz=LOWEST_RATE_HZ)
    return (choice.rate_hz,)


class Input:
    """An input that is being heard; made by ``open_input``, closed at the end of a ``with`` block.

    Attributes
    ----------
    device : InputDevice
    rate_hz : float
        Samples per second. [Hz]
    channel : int >= 1
        The one that ``read`` returns.
    """

    def __init__(
        self, stream: Any, intake: Intake, *, device: InputDevice, rate_hz: float, clock: Callable[[], float]
    ) -> None:
        self.device = device
        self.rate_hz = rate_hz
        self.channel = int(stream.channels)
        self._stream = stream
        self._intake = intake
        self._clock = clock
        self._count = FrameCount(rate_hz=rate_hz)
        self._opened_s = clock()
        self._heard = False
        self._source = SourceWatch()

    def __enter__(self) -> Input:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def read(self, timeout_s: float) -> FloatArray:
        """Return what has come of the chosen channel since the last call.

        Parameters
        ----------
        timeout_s : float >= 0
            How long to wait for a first piece. [s]

        Returns
        -------
        array of float64, shape (n,)
            Empty when nothing came within the time. Full scale is 1; an overloaded input may go beyond.

        Raises
        ------
        CaptureFault
            If the input is gone, stalled or moved, or sound was lost. After a ``passing`` one reading goes
            on; after any other the input must be closed and opened again.
        """
        return np.ascontiguousarray(self.read_channels(timeout_s)[:, -1])

    def read_channels(self, timeout_s: float) -> FloatArray:
        """Return what has come of channels 1 to the chosen one. Shape (n, channels); else as ``read``."""
        pieces = self._intake.take(timeout_s)
        lost_s = max((self._count.count(len(piece), at_s=at_s) for at_s, piece in pieces), default=0.0)
        self._heard = self._heard or bool(pieces)
        self._check(bool(pieces), lost_s)
        if not pieces:
            return np.zeros((0, self.channel))
        return np.concatenate([piece for _, piece in pieces]).astype(np.float64)

    def _check(self, some: bool, lost_s: float) -> None:
        """Raise the fault that shows, if any does."""
        name, intake = self.device.name, self._intake
        if intake.error is not None:
            raise faults.broken(intake.error)
        if not some and (intake.finished or not self._stream.active):
            raise faults.gone(name)
        silent_s = self._clock() - max(intake.last_s, self._opened_s)
        if silent_s > (SILENT_S if self._heard else FIRST_S):
            raise faults.stalled(name, silent_s=silent_s)
        change = self._source.change()
        if change is not None:
            raise faults.moved(name, before=change[0], now=change[1])
        if intake.overflowed or lost_s > 0:
            intake.overflowed = False
            raise faults.dropped(lost_s)

    def close(self) -> None:
        """Let go of the input, within a second even if it is stuck."""
        self._source.close()

        def let_go() -> None:
            with quiet():
                self._stream.abort(ignore_errors=True)
                self._stream.close(ignore_errors=True)

        with suppress(CaptureFault):  # stuck: it is left behind
            call_timeout.call(let_go, limit_s=CLOSE_S, name=self.device.name)
