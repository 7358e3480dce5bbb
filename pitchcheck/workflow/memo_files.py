"""Which files are a memo: recordings of unnamed plucks, alone, in a folder, or beside an empty list."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from pitchcheck.errors import NothingMeasured
from pitchcheck.session.folder import read_session
from pitchcheck.session.rows import READINGS, TAKES
from pitchcheck.session.settings import SETTINGS

_OF_TELEPHONES = (
    ".m4a",
    ".mp4",
    ".aac",
    ".mp3",
    ".ogg",
    ".oga",
    ".opus",
    ".3gp",
    ".3gpp",
    ".3ga",
    ".amr",
    ".caf",
    ".mov",
)
_OF_RECORDERS = (".wav", ".wave", ".flac", ".aif", ".aiff", ".webm", ".mka", ".wma")
SOUND_ENDINGS = {*_OF_TELEPHONES, *_OF_RECORDERS}
_CAPO = re.compile(r"capo[ _-]?([1-9])(?!\d)", re.IGNORECASE)


def is_memo(paths: Sequence[Path]) -> bool:
    """Whether paths name recordings rather than a session folder with its list."""
    if len(paths) != 1 or paths[0].is_file():
        return True
    folder = paths[0]
    if not folder.exists():
        return folder.suffix.lower() in SOUND_ENDINGS
    if not folder.is_dir() or (folder / READINGS).exists():
        return False
    if not (folder / TAKES).exists():
        return bool(sound_files(folder))
    return _is_unfilled(folder)


def capo_of(path: Path) -> int:
    """Fret of the capo behind which a recording was made, as its name says: "memo capo 2.m4a"; 0 for none."""
    said = _CAPO.search(path.stem)
    return int(said[1]) if said else 0


def sound_files(folder: Path) -> tuple[Path, ...]:
    """Sound files of a folder by their endings, numbers in names in their order."""
    found = [p for p in folder.iterdir() if p.is_file() and p.suffix.lower() in SOUND_ENDINGS]
    return tuple(sorted(found, key=lambda p: _natural(p.name)))


def _is_unfilled(folder: Path) -> bool:
    """Whether none of the listed files is there, but other sound is: a recording was put beside the list."""
    if not sound_files(folder) or not (folder / SETTINGS).exists():
        return False
    try:
        session = read_session(folder)
    except NothingMeasured:
        return False
    return bool(session.takes) and not any((folder / row.file).exists() for row in session.takes)


def _natural(name: str) -> tuple[tuple[int, int | str], ...]:
    """Return a key by which "take 2" comes before "take 10"."""
    parts = re.split(r"(\d+)", name.lower())
    return tuple((0, int(part)) if part.isdigit() else (1, part) for part in parts)
