"""From what the audio library says to one clear sentence: what is wrong, and what to do.

The library's own messages mislead ("Illegal combination of I/O devices" for a sound server that has gone), so
they are read by code where there is one and shown behind our own words.
"""

from __future__ import annotations

from pitchcheck.capture.devices import CaptureFault, Trouble

# PortAudio's error codes (portaudio.h, PaErrorCode; public API).
INVALID_CHANNELS, INVALID_RATE = -9998, -9997
UNAVAILABLE = -9985

LIST = "`pitchcheck inputs` lists the inputs."


def no_library(error: BaseException) -> CaptureFault:
    """Return the fault for an audio library that cannot be loaded."""
    return CaptureFault(
        Trouble.NO_LIBRARY,
        f"The sound library PortAudio is not on this computer ({error}). Install it (Debian and Ubuntu: "
        "libportaudio2); recordings can be measured without it.",
    )


def no_input() -> CaptureFault:
    """Return the fault for a computer without any input."""
    return CaptureFault(
        Trouble.NO_INPUT,
        "This computer shows no microphone or other sound input. Plug one in, check that the system's sound "
        "settings show it and let programs use it, and start again.",
    )


def not_found(wanted: str, names: list[str]) -> CaptureFault:
    """Return the fault for a name or number that no input has."""
    known = "; ".join(names)
    return CaptureFault(
        Trouble.NOT_FOUND,
        f"No input is called {wanted!r}; there are: {known}. If it is plugged in, another program may hold "
        f"it: close that, or name another input. {LIST}",
    )


def ambiguous(wanted: str, names: list[str]) -> CaptureFault:
    """Return the fault for a part of a name that several inputs share."""
    return CaptureFault(
        Trouble.AMBIGUOUS,
        f"{wanted!r} fits several inputs: {'; '.join(names)}. Give more of the name, or its number. {LIST}",
    )


def bad_channel(channel: int, *, name: str, channels: int) -> CaptureFault:
    """Return the fault for a channel that the input does not have."""
    return CaptureFault(
        Trouble.CHANNEL,
        f"Channel {channel} is asked for, but the input {name!r} has {channels}. Choose 1 to {channels}.",
    )


def bad_rate(rate_hz: float, *, name: str) -> CaptureFault:
    """Return the fault for a rate that the input refuses."""
    return CaptureFault(
        Trouble.RATE,
        f"The input {name!r} refuses {rate_hz:g} samples per second. Leave the rate out, or "
        "give 48000 or 44100.",
    )


def low_rate(rate_hz: float, *, lowest_hz: float) -> CaptureFault:
    """Return the fault for a rate too low to hear with."""
    return CaptureFault(
        Trouble.RATE,
        f"A rate of {rate_hz:g} samples per second is asked for; {lowest_hz:g} is the least. "
        "Leave the rate out.",
    )


def opening(error: BaseException, *, name: str, rate_hz: float, channel: int, channels: int) -> CaptureFault:
    """Return the fault for an input that did not open.

    Parameters
    ----------
    error : BaseException
        What the audio library raised.
    name, rate_hz, channel, channels
        What was asked for, and how many channels the input has.
    """
    code = next((part for part in error.args[1:] if isinstance(part, int)), None)
    if code == INVALID_RATE:
        return bad_rate(rate_hz, name=name)
    if code == INVALID_CHANNELS:
        return bad_channel(channel, name=name, channels=channels)
    if code == UNAVAILABLE:
        return CaptureFault(
            Trouble.BUSY,
            f"The input {name!r} is busy: another program holds it. Close that program, and start again.",
        )
    return CaptureFault(
        Trouble.CANNOT_OPEN,
        f"The input {name!r} could not be opened: it was unplugged, its sound server has stopped or has no "
        f"microphone, or another program holds it. Check it in the system's sound settings, and start again. "
        f"({_first_words(error)})",
    )


def gone(name: str) -> CaptureFault:
    """Return the fault for an input that ended while it was heard."""
    return CaptureFault(
        Trouble.GONE,
        f"The input {name!r} is gone: a cable came out, or its sound server stopped. Plug it in again; takes "
        "accepted so far are safe.",
    )


def stalled(name: str, *, silent_s: float) -> CaptureFault:
    """Return the fault for an input that is there and gives nothing."""
    return CaptureFault(
        Trouble.STALLED,
        f"The input {name!r} has given no sound for {silent_s:.1f} s, though it is still there: it may be "
        "suspended, or its sound server stuck. Wake it in the system's sound settings; takes accepted so far "
        "are safe.",
    )


def stuck(name: str) -> CaptureFault:
    """Return the fault for an input that neither opens nor fails."""
    return CaptureFault(
        Trouble.STALLED,
        f"The input {name!r} cannot be opened: the sound server is stuck. Restart it, or the computer; takes "
        "accepted so far are safe.",
    )


def moved(name: str, *, before: str, now: str) -> CaptureFault:
    """Return the fault for a stream that the system gave another source."""
    return CaptureFault(
        Trouble.MOVED,
        f"The system moved the sound of {name!r} from {before!r} to {now!r}, perhaps because a cable came "
        "out. Plug it in again, or choose the input anew; the note that sounded is not taken.",
    )


def dropped(lost_s: float) -> CaptureFault:
    """Return the fault for sound that was lost on the way."""
    what = f"{1000 * lost_s:.0f} ms of sound were lost" if lost_s > 0 else "Some sound was lost"
    return CaptureFault(
        Trouble.DROPPED,
        f"{what} on the way from the input: the computer is too busy. Close other programs; the note that "
        "sounded is not taken, play it again.",
    )


def broken(error: BaseException) -> CaptureFault:
    """Return the fault for an error of our own while sound came in."""
    return CaptureFault(
        Trouble.BROKEN,
        f"Sound could not be taken in ({type(error).__name__}: {error}). Takes accepted so far are safe; "
        "start again, and if it comes back report it.",
    )


def _first_words(error: BaseException) -> str:
    """Return the library's message without its tuple of codes."""
    return str(error.args[0]) if error.args else type(error).__name__
