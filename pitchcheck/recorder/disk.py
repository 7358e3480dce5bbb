"""What a recorder keeps on disk beside its lists: sound files and their names, the lock, ``set-aside/``.

Conventions: what is no longer wanted is moved into ``set-aside/``, never deleted. A sound file's name says
which take it is. Files are written by ``store.files``; functions that write raise OSError.
"""

from __future__ import annotations

import os
import re
from io import BytesIO
from pathlib import Path

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.errors import BadInput, Problem
from pitchcheck.store.files import finished_name, sync_folder, write_whole
from pitchcheck.store.lock import FileLock, Taken
from pitchcheck.takes import Position, Stop

LOCK = "listen.lock"
SET_ASIDE = "set-aside"
FLAC_STEPS = 2**23  # of a 24-bit sample, from 0 to full scale
FLAC_HIGHEST_HZ = 655_350  # RFC 9639, 9.1.2: the highest rate a frame header can say in tens of hertz
_NAME = re.compile(
    r"(?P<number>\d{3,6})-string(?P<string>\d{1,2})-(?P<stop>open|fret|press|leaf)(?P<fret>\d{1,2})?"
    r"(?:-(?P<leaf>\d\.\d{1,4})mm)?(?:-capo(?P<capo>\d{1,2}))?\.(?:flac|wav)"
)


def take_name(number: int, position: Position, *, ending: str) -> str:
    """Return the name of a take's sound file, such as ``007-string2-press1.flac``.

    Parameters
    ----------
    number : int >= 1
    position : Position
    ending : str
        ``.flac`` or ``.wav``.
    """
    fret = "" if position.fret is None else str(position.fret)
    leaf = "" if position.leaf_mm is None else f"-{position.leaf_mm:.4f}".rstrip("0").ljust(4, "0") + "mm"
    capo = f"-capo{position.capo}" if position.capo else ""
    return f"{number:03d}-string{position.string}-{position.stop.value}{fret}{leaf}{capo}{ending}"


def parse_name(name: str) -> tuple[int, Position] | None:
    """Return number and place of a sound file, or None when the name is not one of ours."""
    match = _NAME.fullmatch(name)
    if match is None:
        return None
    stop, fret, leaf = Stop(match["stop"]), match["fret"], match["leaf"]
    if (stop is Stop.OPEN) != (fret is None) or (stop is Stop.LEAF) != (leaf is not None):
        return None
    position = Position(
        int(match["string"]),
        stop,
        None if fret is None else int(fret),
        int(match["capo"] or 0),
        None if leaf is None else float(leaf),
    )
    return int(match["number"]), position


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


def hold_folder(folder: Path) -> FileLock:
    """Return the lock of a session folder, held until it is closed.

    Raises
    ------
    BadInput
        If another process holds it, or the folder cannot be written.
    """
    try:
        return FileLock(folder / LOCK)
    except Taken as error:
        who = "" if error.process is None else f" (process {error.process})"
        limit = f"another pitchcheck listens into this folder{who}"
        action = "End that one first (key f or Ctrl-C there), or name another folder."
        raise BadInput(Problem(str(folder), None, None, None, limit, action)) from error
    except OSError as error:
        limit = f"nothing can be written there ({error.strerror or error})"
        action = "Check its permissions, or name another folder."
        raise BadInput(Problem(str(folder), None, None, None, limit, action)) from error
