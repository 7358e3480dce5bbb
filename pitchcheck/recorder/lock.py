"""One session at the microphone in a folder at a time: an advisory lock of the operating system.

It goes with the process that holds it, so one that was killed leaves no lock behind, only a file that the
next one takes over. On a drive that knows no locks nothing is held, and two computers are not kept apart.
"""

from __future__ import annotations

import errno
import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import IO

from pitchcheck.errors import BadInput, Problem

LOCK = "listen.lock"
_BUSY = {errno.EAGAIN, errno.EACCES, errno.EDEADLK}
_FAR = 1 << 20  # byte that is locked where locks are on bytes: far from the text

if sys.platform == "win32":
    import msvcrt

    def _lock(file: IO[bytes]) -> None:
        """Lock the file or raise OSError."""
        file.seek(_FAR)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        file.seek(0)

else:
    import fcntl

    def _lock(file: IO[bytes]) -> None:
        """Lock the file or raise OSError."""
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


class FolderLock:
    """Holds a folder until it is closed.

    Raises
    ------
    BadInput
        If another process holds it, or the folder cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / LOCK
        while True:
            self._file = self._open(folder)
            try:
                _lock(self._file)
            except OSError as error:
                if error.errno in _BUSY:
                    raise self._busy(folder) from error
            if self._is_still_there():
                break
            self._file.close()  # its holder has just ended and removed it
        self._file.truncate(0)
        self._file.write(f"{os.getpid()}\n".encode())
        self._file.flush()

    def close(self) -> None:
        """Give the folder back."""
        if self._file.closed:
            return
        with suppress(OSError):
            self._path.unlink()
        self._file.close()

    def _open(self, folder: Path) -> IO[bytes]:
        try:
            return os.fdopen(os.open(self._path, os.O_RDWR | os.O_CREAT, 0o666), "r+b")
        except OSError as error:
            limit = f"nothing can be written there ({error.strerror or error})"
            action = "Check its permissions, or name another folder."
            raise BadInput(Problem(str(folder), None, None, None, limit, action)) from error

    def _is_still_there(self) -> bool:
        try:
            there, mine = self._path.stat(), os.fstat(self._file.fileno())
        except OSError:
            return False
        return (there.st_ino, there.st_dev) == (mine.st_ino, mine.st_dev)

    def _busy(self, folder: Path) -> BadInput:
        who = ""
        with suppress(OSError):
            number = self._file.read(20).decode("ascii", "replace").strip()
            who = f" (process {number})" if number.isdigit() else ""
        self._file.close()
        limit = f"another pitchcheck listens into this folder{who}"
        action = "End that one first (key f or Ctrl-C there), or name another folder."
        return BadInput(Problem(str(folder), None, None, None, limit, action))
