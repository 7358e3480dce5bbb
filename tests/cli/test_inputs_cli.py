"""``pitchcheck inputs`` through a real sound server."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from helpers.microphone import RATE_HZ, Microphone, file_microphone, virtual_microphone, write_sound

LIMIT_S = 60.0  # [s] for one command, on a busy machine
COMMAND = (sys.executable, "-c", "from pitchcheck.cli import main; main()", "inputs")


@pytest.fixture(scope="module")
def microphone() -> Iterator[Microphone]:
    """Return a virtual microphone."""
    with virtual_microphone() as running:
        yield running


def run(*words: str, environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
    """Run the command."""
    return subprocess.run(
        [*COMMAND, *words], env=environment, capture_output=True, text=True, timeout=LIMIT_S, check=False
    )


def plucks(peak: float) -> np.ndarray:
    """Return three decaying notes of 147 Hz and its partials."""
    t = np.arange(round(2.0 * RATE_HZ)) / RATE_HZ
    note = sum(np.sin(2 * np.pi * 147.0 * k * t) / k for k in range(1, 9)) * np.exp(-t / 0.4)
    note *= np.minimum(t / 0.002, 1.0)
    return np.tile(peak * note / np.abs(note).max(), 3).astype(np.float32)


def test_inputs_are_listed(microphone: Microphone) -> None:
    done = run(environment=microphone.environment)
    assert done.returncode == 0
    assert "pulse (the microphone chosen in the system's sound settings" in done.stdout
    assert "taken when you name none" in done.stdout


def test_none_to_list_is_told_with_what_to_do(tmp_path: Path) -> None:
    nobody = file_microphone(tmp_path, np.zeros(4800, dtype=np.float32))
    done = run(environment={**nobody, "ALSA_CONFIG_PATH": "/usr/share/alsa/alsa.conf"})
    assert done.returncode == 2
    assert "no microphone" in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize(
    ("peak", "status", "words"),
    [(0.25, 0, "above it"), (0.0, 2, "dead silent"), (4.0, 2, "overdriven")],
    ids=["good", "dead", "overdriven"],
)
def test_an_input_is_tried(
    microphone: Microphone, tmp_path: Path, peak: float, status: int, words: str
) -> None:
    rng = np.random.default_rng(2)
    room = rng.normal(0.0, 3e-4 if peak else 0.0, round(LIMIT_S * RATE_HZ)).astype(np.float32)
    notes = write_sound(tmp_path / "notes.wav", plucks(peak))
    sounding = [microphone.play(write_sound(tmp_path / "room.wav", room))]
    try:
        with subprocess.Popen(
            [*COMMAND, "--try", "pulse"],
            env=microphone.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        ) as process:
            assert process.stderr is not None
            while "Now pluck" not in process.stderr.readline():
                assert process.poll() is None
            sounding.append(microphone.play(notes))  # the sound server adds it to the room
            said, _ = process.communicate(timeout=LIMIT_S)
    finally:
        for sound in sounding:
            sound.kill()
            sound.wait()
    assert words in said
    assert process.returncode == status
