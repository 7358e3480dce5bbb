"""``pitchcheck listen`` on a terminal: single keys, and the screen given back as it was."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers.listen import new_folder
from helpers.microphone import Microphone, virtual_microphone
from pitchcheck.recorder.course_file import parse_course

WAIT_S = 30.0  # [s] for words to come, on a busy machine


@pytest.fixture
def microphone() -> Iterator[Microphone]:
    """Return a virtual microphone in which nothing sounds."""
    with virtual_microphone() as running:
        yield running


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="a pseudo terminal is a thing of Unix")
def test_on_a_terminal_single_keys_do_what_they_say(microphone: Microphone, tmp_path: Path) -> None:
    import pty
    import termios

    folder = new_folder(tmp_path / "bench")
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (24, 80))
    before = termios.tcgetattr(theirs)
    with subprocess.Popen(
        [sys.executable, "-c", "from pitchcheck.cli import main; main()", "listen", str(folder)],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env={**microphone.environment, "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"},
    ) as process:
        seen = _until(ours, "keys: s skip")
        os.write(ours, b"s")
        seen += _until(ours, "1 left out")
        os.write(ours, b"f")
        seen += _until(ours, "To go on: pitchcheck listen")
        assert process.wait(timeout=20) == 0
    assert seen.count("\x1b[?1049h") == seen.count("\x1b[?1049l") == 1
    assert termios.tcgetattr(theirs) == before
    os.close(ours)
    os.close(theirs)
    states = [p.state.value for p in parse_course((folder / "course.toml").read_text()).entries]
    assert states[:2] == ["skipped", "to play"]


@pytest.mark.skipif(os.name == "nt", reason="signals of Unix")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_gives_terminal_and_folder_back(microphone: Microphone, tmp_path: Path, number: int) -> None:
    """Sent three times in a row: the first ends the session, the others do not break its end."""
    import pty
    import termios

    folder = new_folder(tmp_path / "bench")
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (24, 80))
    before = termios.tcgetattr(theirs)
    with subprocess.Popen(
        [sys.executable, "-c", "from pitchcheck.cli import main; main()", "listen", str(folder)],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env={**microphone.environment, "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"},
    ) as process:
        seen = _until(ours, "keys: s skip")
        for _ in range(3):
            process.send_signal(number)
            time.sleep(0.02)
        seen += _until(ours, "Stopped.")
        assert process.wait(timeout=20) == (0 if number == signal.SIGINT else 128 + number)
    assert seen.count("\x1b[?1049h") == seen.count("\x1b[?1049l") == 1  # xterm: other screen and back
    assert seen.count("\x1b[?25l") <= seen.count("\x1b[?25h")  # the cursor is shown again
    assert "Traceback" not in seen
    assert termios.tcgetattr(theirs) == before
    assert not (folder / "listen.lock").exists()
    os.close(ours)
    os.close(theirs)


def _until(terminal: int, words: str) -> str:
    """Read what a terminal shows until it holds the words."""
    shown = b""
    end_s = time.monotonic() + WAIT_S
    while words.encode() not in shown:
        assert select.select([terminal], [], [], max(0.0, end_s - time.monotonic()))[0], shown[-2000:]
        shown += os.read(terminal, 65536)
    return shown.decode("utf-8", "replace")
