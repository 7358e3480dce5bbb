"""``pitchcheck inputs`` through a real sound server."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from support_microphone import RATE_HZ, Microphone, file_microphone, virtual_microphone, write_sound

LIMIT_S = 60.0  # [s] for one command, on a busy machine


@pytest.fixture(scope="module")
def microphone() -> Iterator[Microphone]:
    """Return a virtual microphone."""
    with virtual_microphone() as running:
        yield running


def run(*words: str, environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
    """Run the command."""
    command = [sys.executable, "-c", "from pitchcheck.cli import main; main()", "inputs", *words]
    return subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=LIMIT_S, check=False
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
    room = rng.normal(0.0, 3e-4 if peak else 0.0, round(14.0 * RATE_HZ)).astype(np.float32)
    sound = room.copy()
    start = round(6.5 * RATE_HZ)  # after the room, wherever in the first seconds listening began
    notes = plucks(peak)
    sound[start : start + notes.size] += notes
    playing = microphone.play(write_sound(tmp_path / "sound.wav", sound))
    done = run("--try", "pulse", environment=microphone.environment)
    playing.wait(timeout=LIMIT_S)
    assert words in done.stdout
    assert done.returncode == status
