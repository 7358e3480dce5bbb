"""Sound files for an export: without what a recorder wrote into them, or cut to the note.

Conventions: sounds become FLAC, which keeps every bit of whole numbers up to 24; what holds floats or more
bits becomes WAV of the same kind. Nothing but sound, rate and channels is taken over, so names, dates and
places in a file's tags are gone.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pitchcheck.audio.files import Unsound, read_clip
from pitchcheck.pitch.plucks import find_plucks
from pitchcheck.pitch.read_note import stretch
from pitchcheck.pitch.reading import Unreadable

LEAD_S = 0.1  # [s] of the room kept before a pluck: three times what the reading listens to (pitch.plucks)
TAIL_S = 0.05  # [s] kept after the last sound that is read
_KINDS = {"PCM_16": "PCM_16", "PCM_S8": "PCM_16", "PCM_U8": "PCM_16", "PCM_24": "PCM_24"}
_WAV_KINDS = {"PCM_32", "FLOAT", "DOUBLE"}


def bare_copy(source: Path, stem: Path) -> Path | None:
    """Copy a sound file's sound and nothing else; return the new file, None if it cannot be read.

    Parameters
    ----------
    source : Path
    stem : Path
        The new file's path without its ending.
    """
    import soundfile

    try:
        with soundfile.SoundFile(source) as file:
            kind, rate = file.subtype, file.samplerate
            wide = kind in _WAV_KINDS
            samples = file.read(dtype="float64" if kind in {"FLOAT", "DOUBLE"} else "int32", always_2d=True)
    except (OSError, RuntimeError, ValueError):
        return None
    path = stem.with_name(f"{stem.name}.{'wav' if wide else 'flac'}")
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, samples, rate, subtype=kind if wide else _KINDS.get(kind, "PCM_24"))
    return path


def cut_to_note(source: Path, stem: Path, *, start_s: float | None, end_s: float | None) -> Path | None:
    """Write the one note that is read from a stretch of a recording; None if no note is heard in it.

    Parameters
    ----------
    source : Path
    stem : Path
        The new file's path without its ending.
    start_s, end_s : float or None
        The stretch, as ``read_clip`` takes it. [s]
    """
    import soundfile

    try:
        clip = read_clip(source, start_s=start_s, end_s=end_s)
        _, until_s = stretch(clip)
    except (Unsound, Unreadable):
        return None
    pluck = max(find_plucks(clip), key=lambda p: p.end_s - p.onset_s)
    note = clip.between(pluck.onset_s - LEAD_S, until_s + TAIL_S)
    loud = bool(np.abs(note.samples).max() >= 1.0)
    path = stem.with_name(f"{stem.name}.{'wav' if loud else 'flac'}")
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, note.samples, round(note.rate_hz), subtype="FLOAT" if loud else "PCM_24")
    return path
