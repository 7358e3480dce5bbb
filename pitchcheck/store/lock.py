"""One writer at a time: an advisory lock of the operating system on a small file.

Conventions: the lock goes with the process that holds it, so one that was killed leaves no lock behind, only
a file that the next one takes over. The file holds the number of the process. On a drive that knows no locks
nothing is held; on a network drive it holds as far as the server keeps locks (docs/keeping-jobs.md).
"""

from __future__ import annotations

import errno
import os
import re
import stat
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import TracebackType

TRY_EVERY_S = 0.05  # [s] between two tries for a lock that another process holds
MOMENT_S = 1e-6  # [s] less is none: rounding of the sum of pauses
_BUSY = {errno.EAGAIN, errno.EACCES, errno.EDEADLK}
_FAR = 1 << 20  # byte that is locked where locks are on bytes: far from the text
_MOST_TRIES = 100  # for a file that others make and remove meanwhile
_CONTENT = re.compile(rb"(\d{1,20})\n")

if sys.platform == "win32":
    import msvcrt

    def _lock(number: int) -> None:
        """Lock the open file or raise OSError."""
        os.lseek(number, _FAR, os.SEEK_SET)
        msvcrt.locking(number, msvcrt.LK_NBLCK, 1)
        os.lseek(number, 0, os.SEEK_SET)

else:
    import fcntl

    def _lock(number: int) -> None:
        """Lock the open file or raise OSError."""
        fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)


class Taken(Exception):
    """Another process holds the lock; ``process`` is its number, if it is known."""

    def __init__(self, process: int | None) -> None:
        super().__init__(f"the lock is held by {'another process' if process is None else process}")
        self.process = process


class FileLock:
    """Holds a lock file from its making until it is closed; the file is removed then.

    Parameters
    ----------
    path : Path
    wait_s : float >= 0
        How long another holder is waited for. [s]
    sleep : callable

    Raises
    ------
    Taken
        If another process still holds it after the wait.
    OSError
        If the file cannot be opened for writing, or is a link or no file.
    """

    def __init__(
        self, path: Path, *, wait_s: float = 0.0, sleep: Callable[[float], None] = time.sleep
    ) -> None:
        self._path = path
        left = wait_s
        while (number := _try(path)) is None:
            if left < MOMENT_S:
                raise Taken(_holder(path))
            pause = min(TRY_EVERY_S, left)
            sleep(pause)
            left -= pause
        self._number: int | None = number
        try:
            os.ftruncate(number, 0)
            os.write(number, f"{os.getpid()}\n".encode())
        except OSError as error:  # a full disk: held without the number
            if error.errno not in (errno.ENOSPC, errno.EDQUOT):
                self.close()
                raise

    def close(self) -> None:
        """Give the lock back."""
        if self._number is None:
            return
        number, self._number = self._number, None
        try:
            with suppress(OSError):
                self._path.unlink()
        finally:
            os.close(number)

    def __enter__(self) -> FileLock:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def is_lock_text(content: bytes) -> bool:
    """Whether this is all that a lock file may hold: nothing, or the number of a process."""
    return not content or _CONTENT.fullmatch(content) is not None


def _try(path: Path) -> int | None:
    """Return the open and locked file, None while another process holds it."""
    for _ in range(_MOST_TRIES):
        number = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o666)
        try:
            if not stat.S_ISREG(os.fstat(number).st_mode):
                raise OSError(errno.EINVAL, "the lock is no file", str(path))
            _lock(number)
        except OSError as error:
            if error.errno in _BUSY:
                os.close(number)
                return None
            if error.errno == errno.EINVAL and error.filename is not None:
                os.close(number)
                raise
            # anything else: a drive that knows no locks
        if _is_still_there(path, number):
            return number
        os.close(number)  # its holder has just ended and removed it
    return None


def _is_still_there(path: Path, number: int) -> bool:
    try:
        there, mine = path.stat(), os.fstat(number)
    except OSError:
        return False
    return (there.st_ino, there.st_dev) == (mine.st_ino, mine.st_dev)


def _holder(path: Path) -> int | None:
    """Return the number of the process that holds a lock, None if it does not say."""
    with suppress(OSError), path.open("rb") as file:
        match = _CONTENT.fullmatch(file.read(32))
        return None if match is None else int(match[1])
    return None
