"""The audio library: loaded late, asked what inputs there are."""

from __future__ import annotations

from typing import Any

from pitchcheck.capture import faults
from pitchcheck.capture.devices import InputDevice
from pitchcheck.capture.stderr_guard import quiet as quiet


def load() -> Any:
    """Return the audio library.

    Raises
    ------
    CaptureFault
        If it is not on this computer.
    """
    try:
        with quiet():
            import sounddevice
    except OSError as error:
        raise faults.no_library(error) from error
    return sounddevice


def list_inputs(*, again: bool = False) -> tuple[InputDevice, ...]:
    """Return the inputs that the computer offers.

    With a frozen sound server this does not come back: call it through ``call_timeout.call``.

    Parameters
    ----------
    again : bool
        Look anew: what was plugged in since the start is seen only then. Every stream must be closed.

    Raises
    ------
    CaptureFault
        If the audio library is not on this computer.
    """
    library = load()
    with quiet():
        if again:
            library._terminate()  # the only way to see what was plugged in since
            library._initialize()
        devices, hosts = library.query_devices(), library.query_hostapis()
    default = _default_number(library)
    return tuple(
        InputDevice(
            number=int(device["index"]),
            name=str(device["name"]),
            host=str(hosts[device["hostapi"]]["name"]),
            channels=int(device["max_input_channels"]),
            usual_rate_hz=float(device["default_samplerate"]),
            is_default=int(device["index"]) == default,
        )
        for device in devices
        if device["max_input_channels"] > 0
    )


def find_input(wanted: str | int | None, *, again: bool = False) -> InputDevice:
    """Return the input of that number, that name or part of a name, or the system's own choice.

    Raises
    ------
    CaptureFault
        If there is none, or several fit.
    """
    inputs = list_inputs(again=again)
    if not inputs:
        raise faults.no_input()
    if wanted is None:
        return next((device for device in inputs if device.is_default), inputs[0])
    text = str(wanted).strip()
    if text.isdigit():
        fitting = [device for device in inputs if device.number == int(text)]
    else:
        fitting = [device for device in inputs if text.casefold() == device.name.casefold()]
        fitting = fitting or [device for device in inputs if text.casefold() in device.name.casefold()]
    if not fitting:
        raise faults.not_found(text, [f"{d.number} {d.name}" for d in inputs])
    if len(fitting) > 1:
        raise faults.ambiguous(text, [f"{d.number} {d.name}" for d in fitting])
    return fitting[0]


def _default_number(library: Any) -> int:
    """Return the number of the system's own input, or -1."""
    try:
        return int(library.query_devices(kind="input")["index"])
    except (library.PortAudioError, ValueError):
        return -1
