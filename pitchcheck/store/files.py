"""Files written so that they are whole and on the disk before anything refers to them.

Conventions: every function returns after the content has been handed to the disk (fsync), folders included
where the system knows how. All raise OSError. Nothing of a failed write stays; a kill may leave a file whose
name begins with ``UNFINISHED``, which never counted.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
import shutil
from contextlib import suppress
from pathlib import Path

BLOCK_BYTES = 1 << 20
UNFINISHED = ".unfinished-"  # begins the name of a file that is being written
_UNFINISHED_NAME = re.compile(rf"{re.escape(UNFINISHED)}(.+?)(?:~\d+)?", re.DOTALL)
_SYNCS_BY_ITSELF = {  # what systems say that cannot hand a folder to the disk
    errno.EACCES,
    errno.EBADF,
    errno.EINVAL,
    errno.ENOSYS,
    errno.ENOTSUP,
    errno.EOPNOTSUPP,
    errno.EPERM,
}


def write_file(path: Path, content: bytes) -> str:
    """Write a file that nothing refers to yet and return its SHA-256; its folder is made if needed."""
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


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all; an older one is replaced in one step."""
    beside = unfinished_path(path)
    try:
        write_file(beside, content)
        os.replace(beside, path)
    except OSError:
        with suppress(OSError):
            beside.unlink(missing_ok=True)  # frees the place on a full disk
        raise
    with suppress(OSError):  # the file is whole and in its place, whatever the folder says
        sync_folder(path.parent)


def place_new(beside: Path, target: Path) -> None:
    """Give a finished file its name; raise FileExistsError rather than replace another one."""
    try:
        os.link(beside, target)  # in one step: whoever looks finds nothing, or all of it
    except FileExistsError:
        raise
    except (OSError, NotImplementedError) as error:  # no hard links: of the drive, or of the system (os.link)
        if target.exists():
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target)) from error
        os.replace(beside, target)
    else:
        beside.unlink()
    sync_folder(target.absolute().parent)


def unfinished_path(path: Path) -> Path:
    """Where a file grows until it is whole: in the same folder, apart from other processes."""
    return path.with_name(f"{UNFINISHED}{path.name}~{os.getpid()}")


def finished_name(name: str) -> str:
    """Name that an unfinished file was to have; any other name as it is.

    Examples
    --------
    >>> finished_name(".unfinished-takes.csv~271"), finished_name("takes.csv")
    ('takes.csv', 'takes.csv')
    """
    match = _UNFINISHED_NAME.fullmatch(name)
    return name if match is None else match[1]


def sync_folder(folder: Path) -> None:
    """Hand a folder's list of names to the disk; systems that cannot do it do it by themselves."""
    if os.name == "nt":
        return
    try:
        number = os.open(folder, os.O_RDONLY)
    except PermissionError:
        return
    try:
        _sync(number)
    except OSError as error:
        if error.errno not in _SYNCS_BY_ITSELF:
            raise
    finally:
        os.close(number)


def sync_tree(folder: Path) -> None:
    """Hand the names in a folder and in all folders below it to the disk."""
    for place, _, _ in os.walk(folder):
        sync_folder(Path(place))


def remove_copies(folder: Path) -> None:
    """Remove a folder of copies that never counted, as far as that goes."""
    shutil.rmtree(folder, ignore_errors=True)


def _sync(number: int) -> None:
    """Wait until the disk has it."""
    os.fsync(number)
