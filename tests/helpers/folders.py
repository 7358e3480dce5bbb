"""Session folders for tests, made in a temporary place; the instrument is imaginary.

``SETTINGS`` is a good settings file of two strings; tests change a line of it.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from pitchcheck.errors import NothingMeasured, Problem
from pitchcheck.session.folder import read_session
from pitchcheck.types import FloatArray

FIXTURES = Path(__file__).parents[2] / "fixtures"
RATE_HZ = 48_000

SETTINGS = """\
schema = 1
[instrument]
kind = "parlour guitar"
scale = "628 mm"
[[strings]]
number = 1
note = "E4"
gauge = "0.010 in"
material = "plain steel"
[[strings]]
number = 2
note = "B3"
gauge = "0.013 in"
material = "plain steel"
"""

TAKES = "file,string,stop,fret,capo\n"
READINGS = "string,stop,fret,capo,hz\n"


def make_folder(
    folder: Path, *, settings: str | bytes = SETTINGS, takes: str | None = None, readings: str | None = None
) -> Path:
    """Write a session folder and return it."""
    folder.mkdir(exist_ok=True)
    raw = settings.encode() if isinstance(settings, str) else settings
    (folder / "session.toml").write_bytes(raw)
    for name, text in (("takes.csv", takes), ("readings.csv", readings)):
        if text is not None:
            (folder / name).write_text(text, encoding="utf-8")
    return folder


def faults_of_settings(folder: Path, settings: str | bytes) -> tuple[Problem, ...]:
    """Return the faults for which a settings file is refused; none if it is not."""
    try:
        read_session(make_folder(folder, settings=settings))
    except NothingMeasured as error:
        return error.problems
    return ()


def pluck(hz: float, *, seconds: float = 2.0, rate_hz: int = RATE_HZ) -> FloatArray:
    """Return a plain decaying tone of ten harmonics that begins after 0.1 s."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz - 0.1
    tone = sum(np.sin(2 * np.pi * k * hz * t) / k for k in range(1, 11) if k * hz < rate_hz / 2.2)
    return np.asarray(np.where(t < 0, 0.0, 0.2 * np.exp(-t / 0.8) * tone), dtype=np.float64)


def write_sound(path: Path, samples: FloatArray, *, rate_hz: int = RATE_HZ, subtype: str = "PCM_24") -> None:
    """Write a sound file, its format by its ending."""
    soundfile.write(path, samples, rate_hz, subtype=subtype)
