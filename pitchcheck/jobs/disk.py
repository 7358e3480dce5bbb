"""Files written so that they are whole and on the disk before anything refers to them.

Conventions: every function returns after the content has been handed to the disk (fsync), folders included
where the system knows how.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from contextlib import suppress
from pathlib import Path

BLOCK_BYTES = 1 << 20


def write_file(path: Path, content: bytes) -> str:
    """Write a file and return its SHA-256; the folder is made if needed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        _sync(file.fileno())
    return hashlib.sha256(content).hexdigest()


def copy_file(source: Path, target: Path) -> str:
    """Copy a file's content to a new place and return its SHA-256, taken from what was copied."""
    target.parent.mkdir(parents=True, exist_ok=True)
    digest = hashlib.sha256()
    with source.open("rb") as old, target.open("xb") as new:
        while block := old.read(BLOCK_BYTES):
            digest.update(block)
            new.write(block)
        new.flush()
        _sync(new.fileno())
    return digest.hexdigest()


def sync_folder(folder: Path) -> None:
    """Hand a folder's list of names to the disk; systems that cannot do it do it by themselves."""
    if os.name == "nt":
        return
    number = os.open(folder, os.O_RDONLY)
    try:
        with suppress(PermissionError):
            _sync(number)
    finally:
        os.close(number)


def sync_tree(folder: Path) -> None:
    """Hand the names in a folder and in all folders below it to the disk."""
    for place, _, _ in os.walk(folder):
        sync_folder(Path(place))


def remove_copies(folder: Path) -> None:
    """Remove a folder of copies that never became part of a job, as far as that goes."""
    shutil.rmtree(folder, ignore_errors=True)


def _sync(number: int) -> None:
    """Wait until the disk has it."""
    os.fsync(number)
