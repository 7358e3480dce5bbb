"""A call that does not come back is left behind, the screen given back, what it makes later discarded."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
import time
from collections.abc import Iterator
from threading import Event

import pytest

from helpers.system import needs
from pitchcheck.capture import call_timeout, stderr_guard
from pitchcheck.capture.devices import CaptureFault, Choice, Trouble
from pitchcheck.capture.stream import open_input

SOON_S = 0.05  # [s]
LONG_S = 10.0  # [s] never waited out


@pytest.fixture
def free() -> Iterator[Event]:
    """Return what lets stuck calls come free; at the end none is out."""
    event = Event()
    yield event
    event.set()
    wait_until_free()


def wait_until_free() -> None:
    end_s = time.monotonic() + LONG_S
    while call_timeout.is_any() and time.monotonic() < end_s:
        time.sleep(0.005)
    assert not call_timeout.is_any()


def screen() -> tuple[int, int]:
    """Return what file descriptor 2 is."""
    status = os.fstat(2)
    return status.st_dev, status.st_ino


def test_a_call_that_comes_back_gives_what_it_made() -> None:
    assert call_timeout.call(lambda: 7, limit_s=LONG_S, name="Desk") == 7


def test_what_a_call_raises_is_raised_here() -> None:
    def fails() -> None:
        raise KeyError("x")

    with pytest.raises(KeyError):
        call_timeout.call(fails, limit_s=LONG_S, name="Desk")


def test_a_stuck_call_gives_the_screen_back_and_discards_what_it_makes(free: Event) -> None:
    before = screen()
    discarded: list[str] = []

    def hangs() -> str:
        with stderr_guard.quiet():
            free.wait(LONG_S)
        return "a stream"

    with pytest.raises(CaptureFault, match="stuck") as caught:
        call_timeout.call(hangs, limit_s=SOON_S, name="Desk", discard=discarded.append)
    assert caught.value.trouble is Trouble.STALLED
    assert screen() == before  # though that thread still wants quiet
    assert discarded == []
    with stderr_guard.quiet():
        assert screen() != before
        free.set()
        wait_until_free()
        assert screen() != before  # what it gives back late takes nothing from others
    assert screen() == before
    assert discarded == ["a stream"]


def test_while_a_call_is_out_nothing_is_opened(free: Event) -> None:
    with pytest.raises(CaptureFault):
        call_timeout.call(lambda: free.wait(LONG_S), limit_s=SOON_S, name="Desk")
    start_s = time.monotonic()
    with pytest.raises(CaptureFault, match="'Desk' cannot be opened"):
        open_input(Choice(device="Desk"), again=True)
    assert time.monotonic() - start_s < 1.0  # [s] at once: it does not wait for a time of its own


@pytest.mark.parametrize("starting", [True, False])
def test_what_was_made_while_the_user_broke_off_is_discarded(
    monkeypatch: pytest.MonkeyPatch, starting: bool
) -> None:
    discarded: list[str] = []
    wait = Event.wait

    def broken_off(self: Event, timeout: float | None = None) -> bool:
        assert wait(self, timeout)
        if starting == (timeout is None):  # a thread that starts waits without a limit
            raise KeyboardInterrupt
        return True

    with monkeypatch.context() as patch:
        patch.setattr(Event, "wait", broken_off)
        with pytest.raises(KeyboardInterrupt):
            call_timeout.call(lambda: "a stream", limit_s=LONG_S, name="Desk", discard=discarded.append)
    wait_until_free()
    assert discarded == ["a stream"]


def test_threads_that_ask_for_quiet_together_get_the_screen_back() -> None:
    before = screen()
    first, second = stderr_guard.quiet(), stderr_guard.quiet()
    first.__enter__()
    second.__enter__()
    first.__exit__(None, None, None)
    assert screen() != before
    second.__exit__(None, None, None)
    assert screen() == before


def test_what_is_written_meanwhile_is_kept_for_the_message() -> None:
    with stderr_guard.quiet() as written:
        os.write(2, b"Expression failed in line 1736\n")
        assert written() == "Expression failed in line 1736"


def test_between_its_calls_the_sound_system_of_linux_writes_nothing_on_the_screen() -> None:
    """A message of ALSA is kept for the error inside a call, and dropped outside, where its threads write."""
    needs("alsa-pulse")
    code = """
        import ctypes
        from pitchcheck.capture.stderr_guard import quiet

        sound, nothing = ctypes.CDLL("libasound.so.2"), ctypes.c_void_p()
        with quiet() as written:
            sound.snd_pcm_open(ctypes.byref(nothing), b"no-such-device", 0, 0)
            print(written())
        sound.snd_pcm_open(ctypes.byref(nothing), b"no-such-device", 0, 0)
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)],
        capture_output=True,
        text=True,
        timeout=LONG_S + 60.0,
        check=True,
    )
    assert "no-such-device" in done.stdout
    assert done.stderr == ""
