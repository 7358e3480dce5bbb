"""Writes what a memo was taken for as an ordinary session folder: settings, list of takes, and the sound.

A list that a person may have corrected is never overwritten: where the folder is already there with another
list, the next free name is taken.
"""

from __future__ import annotations

import csv
import shutil
from collections.abc import Sequence
from io import StringIO
from pathlib import Path

from pitchcheck.session.rows import TAKES, TakeRow
from pitchcheck.session.settings import SETTINGS

ENDING = "-takes"
MOST_FOLDERS = 99  # of one memo: beyond it somebody should tidy up


def memo_takes_text(rows: Sequence[TakeRow]) -> str:
    """Return ``takes.csv`` with the times of each take in its file."""
    out = StringIO()
    lines = csv.writer(out, lineterminator="\n")
    lines.writerow(("file", "string", "stop", "fret", "capo", "start_s", "end_s"))
    for row in rows:
        place = row.position
        fret = "" if place.fret is None else place.fret
        times = ["" if t is None else f"{t:.3f}" for t in (row.start_s, row.end_s)]
        lines.writerow((row.file, place.string, place.stop.value, fret, place.capo, *times))
    return out.getvalue()


def write_memo_folder(beside: Path, *, settings: str, takes: str, sounds: Sequence[Path]) -> Path:
    """Write a session folder beside a memo; return it.

    Parameters
    ----------
    beside : Path
        The memo, or the folder of clips: its name without its ending gives the folder's.
    settings, takes : str
        Texts of ``session.toml`` and ``takes.csv``.
    sounds : sequence of Path
        Sound files to be copied in; the list names them without their folders.

    Raises
    ------
    OSError
        If the place cannot be written.
    """
    for number in range(1, MOST_FOLDERS + 1):
        folder = beside.with_name(
            f"{beside.stem if beside.is_file() else beside.name}{ENDING}{_suffix(number)}"
        )
        if not folder.exists():
            return fill(folder, settings=settings, takes=takes, sounds=sounds)
        if _holds(folder, SETTINGS, settings) and _holds(folder, TAKES, takes) and _has(folder, sounds):
            return folder
    raise OSError(f"{MOST_FOLDERS} folders of this memo are already there; tidy up beside it")


def fill(folder: Path, *, settings: str, takes: str, sounds: Sequence[Path]) -> Path:
    """Write the texts and copy the sounds into a folder, which is made if needed; return it."""
    folder.mkdir(parents=True, exist_ok=True)
    for sound in sounds:
        shutil.copyfile(sound, folder / sound.name)
    (folder / SETTINGS).write_text(settings, encoding="utf-8", newline="\n")
    (folder / TAKES).write_text(takes, encoding="utf-8", newline="\n")
    return folder


def _suffix(number: int) -> str:
    return "" if number == 1 else f"-{number}"


def _holds(folder: Path, name: str, text: str) -> bool:
    """Whether a file of the folder holds that text."""
    try:
        return (folder / name).read_text(encoding="utf-8") == text
    except (OSError, UnicodeDecodeError):
        return False


def _has(folder: Path, sounds: Sequence[Path]) -> bool:
    """Whether the sounds are in the folder, by name and size."""
    try:
        return all((folder / s.name).stat().st_size == s.stat().st_size for s in sounds)
    except OSError:
        return False
