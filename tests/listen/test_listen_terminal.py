"""``pitchcheck listen`` on a terminal: single keys, and the screen given back as it was."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers.listen import new_folder
from helpers.microphone import Microphone, virtual_microphone
from helpers.terminal import BACK, OTHER_SCREEN, Terminal
from pitchcheck.recorder.course_file import parse_course

FIRST_PROMPT = "keys: s skip"


@pytest.fixture
def microphone() -> Iterator[Microphone]:
    """Return a virtual microphone in which nothing sounds."""
    with virtual_microphone() as running:
        yield running


@pytest.mark.slow
def test_on_a_terminal_single_keys_do_what_they_say(microphone: Microphone, tmp_path: Path) -> None:
    folder = new_folder(tmp_path / "bench")
    with Terminal("listen", folder, environment=microphone.environment) as terminal:
        terminal.until(FIRST_PROMPT)
        terminal.press("s")
        terminal.until("1 left out")
        terminal.press("f")
        assert terminal.end() == 0
        assert "To go on: pitchcheck listen" in terminal.raw
        assert_given_back(terminal)
    states = [p.state.value for p in parse_course((folder / "course.toml").read_text()).entries]
    assert states[:2] == ["skipped", "to play"]


@pytest.mark.skipif(os.name == "nt", reason="signals of Unix")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_gives_terminal_and_folder_back(microphone: Microphone, tmp_path: Path, number: int) -> None:
    """Sent three times in a row: the first ends the session, the others do not break its end."""
    folder = new_folder(tmp_path / "bench")
    with Terminal("listen", folder, environment=microphone.environment) as terminal:
        terminal.until(FIRST_PROMPT)
        for _ in range(3):
            terminal.process.send_signal(number)
            time.sleep(0.02)
        assert terminal.end() == (0 if number == signal.SIGINT else 128 + number)
        assert "Stopped." in terminal.raw
        assert "Traceback" not in terminal.raw
        assert_given_back(terminal)
    assert not (folder / "listen.lock").exists()


def assert_given_back(terminal: Terminal) -> None:
    """The screen of the session is left, the cursor shown again, and keys are as before."""
    assert terminal.raw.count(OTHER_SCREEN) == terminal.raw.count(BACK) == 1
    assert terminal.raw.count("\x1b[?25l") <= terminal.raw.count("\x1b[?25h")
    assert terminal.as_it_was
