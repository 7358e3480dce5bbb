"""A take as a sound file, and ``set-aside/``, where what is no longer wanted is moved and never deleted.

Conventions: all functions raise OSError; files are written by ``store.files``.
"""

from __future__ import annotations

import os
from io import BytesIO
from pathlib import Path

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.store.files import finished_name, sync_folder, write_whole

SET_ASIDE = "set-aside"
FLAC_STEPS = 2**23  # of a 24-bit sample, from 0 to full scale
FLAC_HIGHEST_HZ = 655_350  # RFC 9639, 9.1.2: the highest rate a frame header can say in tens of hertz


def encode(clip: Clip) -> tuple[bytes, str]:
    """Return a take as the content of a sound file, and the ending of its name.

    FLAC of 24 bits: every value that a converter of up to 24 bits can deliver is kept exactly, and anything
    finer is rounded by at most 6e-8 of full scale (-144 dB), below the noise of any converter. A take with a
    sample at or beyond full scale, which these bits cannot hold, becomes a WAV of 32-bit floats.
    """
    import soundfile

    rate, out = round(clip.rate_hz), BytesIO()
    steps = np.rint(clip.samples * FLAC_STEPS)
    if rate <= FLAC_HIGHEST_HZ and np.max(np.abs(steps), initial=0.0) < FLAC_STEPS:
        soundfile.write(out, steps.astype(np.int32) << 8, rate, format="FLAC", subtype="PCM_24")
        return out.getvalue(), ".flac"
    soundfile.write(out, clip.samples.astype(np.float32), rate, format="WAV", subtype="FLOAT")
    return out.getvalue(), ".wav"


def set_aside(path: Path) -> Path:
    """Move a file into ``set-aside/`` beside it, under a free name; return where it is now."""
    return _move(path, as_name=finished_name(path.name))


def copy_aside(path: Path) -> Path:
    """Copy a small file into ``set-aside/`` beside it, under a free name."""
    target = _free(path.parent / SET_ASIDE, path.name)
    write_whole(target, path.read_bytes())
    return target


def _move(path: Path, *, as_name: str) -> Path:
    target = _free(path.parent / SET_ASIDE, as_name)
    os.replace(path, target)
    sync_folder(target.parent)
    sync_folder(path.parent)
    return target


def _free(folder: Path, name: str) -> Path:
    """Return a path in the folder, which is made if needed, that no file has."""
    folder.mkdir(exist_ok=True)
    target, count = folder / name, 1
    while target.exists():
        count += 1
        target = folder / f"{Path(name).stem}-{count}{Path(name).suffix}"
    return target
