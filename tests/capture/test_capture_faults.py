"""Every way in which an input fails becomes one clear sentence.

The errors are the ones that PortAudio 19.6 and its Python binding gave on Debian 12 when each case was
brought about.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from helpers.system import needs
from pitchcheck.capture import faults, library, stream
from pitchcheck.capture.devices import CaptureFault, Choice, InputDevice, Trouble
from pitchcheck.capture.intake import Intake

SEEN = {
    "rate": (("Error opening InputStream: Invalid sample rate", -9997), Trouble.RATE),
    "channels": (("Error opening InputStream: Invalid number of channels", -9998), Trouble.CHANNEL),
    "busy": (("Error opening InputStream: Device unavailable", -9985), Trouble.BUSY),
    "server gone": (
        ("Error opening InputStream: Illegal combination of I/O devices", -9993),
        Trouble.CANNOT_OPEN,
    ),
    "no source": (
        (
            "Error opening InputStream: Unanticipated host error",
            -9999,
            (0, -5, "Input/output error"),
        ),
        Trouble.CANNOT_OPEN,
    ),
    "no device": (("Error querying device -1",), Trouble.CANNOT_OPEN),
}
DEVICES = tuple(
    InputDevice(i, name, "ALSA", channels, 44_100.0, i == 1)
    for i, (name, channels) in enumerate([("twin_a", 2), ("twin_b", 32), ("Desk", 1)])
)


@pytest.fixture
def _inputs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(library, "list_inputs", lambda *, again=False: DEVICES)


@pytest.mark.parametrize("case", SEEN)
def test_each_error_of_the_library_gets_its_sentence(case: str) -> None:
    arguments, trouble = SEEN[case]
    fault = faults.opening(RuntimeError(*arguments), name="Desk", rate_hz=96_000.0, channel=2, channels=1)
    assert fault.trouble is trouble
    assert "Desk" in str(fault)
    assert "Illegal" not in str(fault).split("(")[0]  # the library's words stand behind ours, in brackets


@pytest.mark.parametrize(
    "fault",
    [
        faults.no_library(OSError("PortAudio library not found")),
        faults.no_input(),
        faults.not_found("x", ["0 Desk"]),
        faults.ambiguous("x", ["0 Desk", "1 Desk two"]),
        faults.bad_channel(3, name="Desk", channels=2),
        faults.bad_rate(1.0, name="Desk"),
        faults.low_rate(8000.0, lowest_hz=44_100.0),
        *(
            faults.opening(RuntimeError(*SEEN[c][0]), name="D", rate_hz=1.0, channel=1, channels=1)
            for c in SEEN
        ),
        faults.gone("Desk"),
        faults.stalled("Desk", silent_s=2.04),
        faults.stuck("Desk"),
        faults.moved("Desk", before="a", now="b"),
        faults.dropped(0.2),
        faults.dropped(0.0),
        faults.broken(MemoryError("no room")),
    ],
    ids=lambda fault: fault.trouble.value,
)
def test_a_sentence_says_what_to_do(fault: CaptureFault) -> None:
    to_do = "Plug|Install|close that|Close|Give|Choose|Leave|Check|Wake|Restart|start again"
    assert re.search(to_do, str(fault))
    assert fault.passing == (fault.trouble is Trouble.DROPPED)


@pytest.mark.usefixtures("_inputs")
@pytest.mark.parametrize(
    ("wanted", "number"), [(None, 1), ("desk", 2), ("DES", 2), ("twin_a", 0), ("1", 1), (2, 2)]
)
def test_an_input_is_found_by_part_of_its_name_or_number(wanted: str | int | None, number: int) -> None:
    assert library.find_input(wanted).number == number


@pytest.mark.usefixtures("_inputs")
@pytest.mark.parametrize(
    ("wanted", "trouble"), [("twin", Trouble.AMBIGUOUS), ("flute", Trouble.NOT_FOUND), (9, Trouble.NOT_FOUND)]
)
def test_a_name_that_fits_none_or_several_is_told_with_those_there_are(
    wanted: str | int, trouble: Trouble
) -> None:
    with pytest.raises(CaptureFault, match="twin_a") as caught:
        library.find_input(wanted)
    assert caught.value.trouble is trouble


def test_a_computer_without_inputs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(library, "list_inputs", lambda *, again=False: ())
    with pytest.raises(CaptureFault, match="no microphone"):
        library.find_input(None)


@pytest.mark.usefixtures("_inputs")
def test_a_channel_that_is_not_there() -> None:
    with pytest.raises(CaptureFault, match="Choose 1 to 1"):
        stream.open_input(Choice(device="desk", channel=2))


@pytest.mark.usefixtures("_inputs")
def test_a_rate_too_low_is_refused() -> None:
    needs("portaudio")
    with pytest.raises(CaptureFault, match="44100 is the least"):
        stream.open_input(Choice(device="desk", rate_hz=22_050.0))


class FakeStream:
    """A stream that a test steers; its clock is the test's."""

    channels = 1
    active = True

    def abort(self, *, ignore_errors: bool) -> None:
        """Do nothing."""

    close = abort


def an_input(now_s: list[float]) -> tuple[stream.Input, Intake]:
    """Return an input on such a stream, and where its sound goes in."""
    intake = Intake(clock=lambda: now_s[0], most=96_000)
    heard = stream.Input(FakeStream(), intake, device=DEVICES[2], rate_hz=48_000.0, clock=lambda: now_s[0])
    return heard, intake


def test_an_overflow_flag_spoils_one_note_and_reading_goes_on() -> None:
    now_s = [0.0]
    heard, intake = an_input(now_s)
    with heard:
        intake.overflowed = True
        intake.hear(np.zeros((480, 1)), 480, None, None)
        with pytest.raises(CaptureFault) as caught:
            heard.read(0.0)
        assert caught.value.passing
        intake.hear(np.full((480, 1), 0.5), 480, None, None)
        assert heard.read(0.0).tolist() == [0.5] * 480


def test_sound_beyond_full_scale_is_handed_on_as_it_came() -> None:
    heard, intake = an_input([0.0])
    with heard:
        intake.hear(np.full((4, 1), 1.6), 4, None, None)
        assert heard.read(0.0).max() == pytest.approx(1.6, abs=1e-6)  # float32


def test_a_stream_that_gives_nothing_is_stalled_and_one_that_ended_is_gone() -> None:
    now_s = [0.0]
    heard, intake = an_input(now_s)
    with heard:
        intake.hear(np.zeros((480, 1)), 480, None, None)
        heard.read(0.0)
        now_s[0] = stream.SILENT_S - 0.1
        assert heard.read(0.0).size == 0
        now_s[0] = stream.SILENT_S + 0.1
        with pytest.raises(CaptureFault) as caught:
            heard.read(0.0)
        assert caught.value.trouble is Trouble.STALLED
        intake.end()
        with pytest.raises(CaptureFault) as caught:
            heard.read(0.0)
        assert caught.value.trouble is Trouble.GONE
