"""A session that is killed at any moment, or interrupted, keeps every take it had told of, and goes on."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

from helpers.listen import GAP_S, LEAD_S, RATE_HZ, TAKE_S, course, in_a_row, new_folder, notes
from pitchcheck.audio.files import read_clip
from pitchcheck.pitch.read_note import read_note
from pitchcheck.session.folder import read_session
from pitchcheck.session.settings import read_settings
from pitchcheck.units import cents_between
from pitchcheck.workflow.hear import expected_hz

STRINGS = (2,)
WHOLE = len(course(STRINGS))
LONG_S = 1.5  # [s] of a note that is kept at least, when it rings so long
TESTS = Path(__file__).parents[1]
NEAR_CENTS = 120.0  # a press lies up to 99 cents above its fret: the take is the note it says it is

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="starts sessions as copies of one process")


class Sessions:
    """Sessions in processes of their own, one after the other."""

    def __init__(self, sound: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "helpers.listen_child", str(sound), ",".join(map(str, STRINGS))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env={
                **os.environ,
                "PYTHONPATH": os.pathsep.join([str(TESTS), *filter(None, [os.environ.get("PYTHONPATH")])]),
                "OMP_NUM_THREADS": "1",
                "OPENBLAS_NUM_THREADS": "1",
            },
        )
        self._number = 0

    def start(self, folder: Path, *, kept: int = 0, slowly_s: float = 0.0) -> None:
        """Start one that goes on in the gap before the next note; return when it has begun."""
        skip = round((LEAD_S / 2 + kept * (TAKE_S + GAP_S)) * RATE_HZ) if kept else 0
        assert self.process.stdin is not None
        self.process.stdin.write(f"{folder} {skip} {slowly_s}\n")
        self.process.stdin.flush()
        self._number = int(self.read_to("process").split()[1])
        self.read_to("keys")

    def send(self, sign: signal.Signals) -> None:
        """Send a signal to the one that runs; it may just have ended."""
        with suppress(ProcessLookupError):
            os.kill(self._number, sign)

    def read_to(self, words: str) -> str:
        """Read until a line begins so; return everything read."""
        assert self.process.stdout is not None
        text = ""
        for line in self.process.stdout:
            text += line
            if line.startswith(words):
                return text
        raise AssertionError(f"no line begins with {words!r} in:\n{text}")

    def close(self) -> None:
        self.process.communicate()


@pytest.fixture(scope="module")
def sessions(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Sessions]:
    path = tmp_path_factory.mktemp("sound") / "survey.npy"
    np.save(path, in_a_row(notes(STRINGS)))
    running = Sessions(path)
    yield running
    running.close()


def told(text: str) -> int:
    """How many takes had been told as accepted: the last count."""
    counts = re.findall(rf"\((\d+) of {WHOLE} takes", text)
    return int(counts[-1]) if counts else 0


def kept_in(folder: Path) -> int:
    """Check that every listed take is there, whole, and listed once in playing order; return how many."""
    if not (folder / "takes.csv").exists():
        return 0
    rows = read_session(folder).takes
    assert [row.position for row in rows] == list(course(STRINGS))[: len(rows)]
    assert len({row.file for row in rows}) == len(rows)
    for row in rows:
        assert read_clip(folder / row.file).duration_s > LONG_S
    return len(rows)


def check_whole(folder: Path) -> None:
    """Check that every take is there and sounds like the note it is listed as, and nothing lies about."""
    assert kept_in(folder) == WHOLE
    instrument = read_settings(folder).settings.instrument
    for row in read_session(folder).takes:
        hz = expected_hz(row.position, instrument=instrument)
        reading = read_note(read_clip(folder / row.file), expected_hz=hz)
        assert abs(cents_between(hz, reading.hz)) < NEAR_CENTS
    assert not list(folder.glob(".unfinished*"))


def run_kills(sessions: Sessions, folders: Path, *, count: int, seed: int) -> list[int]:
    """Kill sessions at random moments, each going on where the last was killed; return takes kept each time.

    The moments are spread over the time of two takes, so that a kill falls anywhere in hearing, judging and
    writing. When the course comes near its end it is finished and a new folder begun.
    """
    whole = new_folder(folders / "whole")
    sessions.start(whole)
    began = time.monotonic()
    sessions.read_to("over 0")
    take_s = (time.monotonic() - began) / WHOLE
    check_whole(whole)
    folder, kept, all_kept = new_folder(folders / "0"), 0, []
    for number, moment in enumerate(np.random.default_rng(seed).uniform(0, 2 * take_s, count), start=1):
        if kept >= WHOLE - 1:
            finish(sessions, folder, kept=kept)
            folder, kept = new_folder(folders / str(number)), 0
        sessions.start(folder, kept=kept)
        time.sleep(moment)
        sessions.send(signal.SIGKILL)
        told_of = told(sessions.read_to("over"))
        now = kept_in(folder)
        assert now >= max(kept, told_of)
        kept = now
        all_kept.append(kept)
    finish(sessions, folder, kept=kept)
    return all_kept


def finish(sessions: Sessions, folder: Path, *, kept: int) -> None:
    """Let a session play what is left, and check the folder as a whole."""
    sessions.start(folder, kept=kept)
    assert f"ended {WHOLE}\n" in sessions.read_to("over 0")
    check_whole(folder)


def test_killed_at_eight_random_moments(tmp_path: Path, sessions: Sessions) -> None:
    kept = run_kills(sessions, tmp_path, count=8, seed=8)
    assert max(kept) > 0  # in some of them takes had been told


@pytest.mark.slow
def test_killed_at_fifty_random_moments(tmp_path: Path, sessions: Sessions) -> None:
    kept = run_kills(sessions, tmp_path, count=50, seed=50)
    assert len(set(kept)) >= 4  # they were spread over the session


def test_an_interrupt_ends_cleanly_with_what_there_is(tmp_path: Path, sessions: Sessions) -> None:
    folder = new_folder(tmp_path / "bench")
    sessions.start(folder, slowly_s=0.6)
    sessions.read_to("Taken: string 2 fret 1")
    sessions.send(signal.SIGINT)
    out = sessions.read_to("over 0")
    stopped = re.search(r"^stopped (\d+)$", out, re.MULTILINE)
    assert stopped is not None, out[-3000:]
    assert 2 <= int(stopped[1]) < WHOLE
    assert kept_in(folder) == int(stopped[1])
    assert not (folder / "listen.lock").exists()
