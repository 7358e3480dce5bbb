"""One writer at a time: an advisory lock of the operating system on a file in the job.

It goes with the process that holds it, so one that was killed leaves no lock behind. On a network drive it
holds only as far as the server keeps locks; two computers writing to one job there are not promised to see
one another (docs/jobs.md).
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from pitchcheck.jobs.errors import JobBusy, NotStored

LOCK = "lock"
WAIT_S = 10.0  # [s] that a second writer waits by default; a pass of a hundred takes is copied in less
TRY_EVERY_S = 0.05
MOMENT_S = 1e-6  # [s] less is none: rounding of the sum of pauses

if sys.platform == "win32":
    import msvcrt

    def _take(file: IO[bytes]) -> bool:
        """Try to lock the first byte."""
        try:
            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _take(file: IO[bytes]) -> bool:
        """Try to lock the file."""
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True


@contextmanager
def only_writer(
    folder: Path, *, wait_s: float = WAIT_S, sleep: Callable[[float], None] = time.sleep
) -> Iterator[None]:
    """Hold the lock of a job.

    Parameters
    ----------
    folder : Path
    wait_s : float >= 0
        How long another writer is waited for. [s]
    sleep : callable

    Raises
    ------
    JobBusy
        If another process still holds it after the wait.
    NotStored
        If the folder may not be written.
    """
    try:
        file = (folder / LOCK).open("ab")
    except OSError as error:
        raise NotStored(
            f"{folder} cannot be written ({error.strerror or error}); nothing was changed. "
            "Check the permissions, or copy the jobs to a place of your own."
        ) from error
    with file:
        left = wait_s
        while not _take(file):
            if left < MOMENT_S:
                raise JobBusy(
                    f"{folder.name} is being written by another process; waited {wait_s:g} s. "
                    "Let it finish, then repeat the command; nothing was changed."
                )
            pause = min(TRY_EVERY_S, left)
            sleep(pause)
            left -= pause
        yield  # closing the file gives the lock back
