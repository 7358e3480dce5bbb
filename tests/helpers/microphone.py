"""A microphone without a sound card, for tests of the real capture path.

``virtual_microphone`` runs a private sound server in real time; ``file_microphone`` is a file that the audio
library reads as an input, without a clock, hundreds of times faster than it sounds.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import soundfile

from helpers.system import needs

SCRIPTS = Path(__file__).parents[1] / "virtual_mic"
INPUT = "pulse"  # what the audio library calls the sound server
RATE_HZ = 48_000.0


@dataclass(frozen=True)
class Microphone:
    """A running virtual microphone."""

    folder: Path

    @property
    def environment(self) -> dict[str, str]:
        """What a process needs to hear it."""
        return {**os.environ, "PULSE_SERVER": f"unix:{self.folder}/native"}

    @property
    def process(self) -> int:
        """Number of the server's process."""
        return int((self.folder / "pid").read_text())

    def play(self, path: Path) -> subprocess.Popen[bytes]:
        """Begin to play a file into it."""
        return subprocess.Popen(["paplay", str(path)], env=self.environment)

    def control(self, *words: str) -> str:
        """Give the server a command."""
        done = subprocess.run(
            ["pactl", *words], env=self.environment, capture_output=True, text=True, timeout=10, check=False
        )
        return done.stdout

    def signal(self, which: signal.Signals) -> None:
        """Send the server a signal."""
        os.kill(self.process, which)

    def start(self) -> None:
        """Start the server, also after it was killed."""
        subprocess.run([SCRIPTS / "stop", self.folder], check=True)
        subprocess.run([SCRIPTS / "start", self.folder], check=True, timeout=60, stdout=subprocess.DEVNULL)

    def stop(self) -> None:
        """Stop the server."""
        subprocess.run([SCRIPTS / "stop", self.folder], check=True, timeout=30)


@contextmanager
def virtual_microphone() -> Iterator[Microphone]:
    """Run a virtual microphone of its own; skips, or fails in CI, where a part is missing."""
    for part in ("portaudio", "pulseaudio", "paplay", "pactl", "alsa-pulse"):
        needs(part)
    with TemporaryDirectory(prefix="mic-") as name:  # short: a socket's path has about 100 letters
        microphone = Microphone(Path(name))
        microphone.start()
        try:
            yield microphone
        finally:
            microphone.stop()


def file_microphone(folder: Path, samples: np.ndarray, *, name: str = "filemic") -> dict[str, str]:
    """Make an input out of samples (float32, mono); return the environment in which it exists.

    It starts at its first sample whenever it is opened, repeats for ever, and knows no clock.
    """
    for part in ("portaudio", "alsa-pulse"):
        needs(part)
    data = folder / f"{name}.f32"
    samples.astype(np.float32).tofile(data)
    lines = [
        "</usr/share/alsa/alsa.conf>",
        f"pcm.{name} {{ type file slave.pcm null file /dev/null",
        f'infile "{data}" format raw hint {{ show on description "{name}" }} }}',
    ]
    (folder / "asound.conf").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return {**os.environ, "ALSA_CONFIG_PATH": str(folder / "asound.conf"), "PULSE_SERVER": "none"}


def run_python(code: str, *, environment: Mapping[str, str], within_s: float) -> str:
    """Run Python code in a process of its own; return what it printed."""
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=dict(environment),
        capture_output=True,
        text=True,
        timeout=within_s,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def write_sound(path: Path, samples: np.ndarray, *, rate_hz: float = RATE_HZ) -> Path:
    """Write samples as a float file, bit for bit."""
    soundfile.write(path, samples.astype(np.float32), round(rate_hz), subtype="FLOAT")
    return path
