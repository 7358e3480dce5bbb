"""One writer to a job at a time (``store.lock``)."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from pitchcheck.jobs.errors import JobBusy, NotStored
from pitchcheck.store.lock import FileLock, Taken

LOCK = "lock"
WAIT_S = 10.0  # [s] that a second writer waits by default; a pass of a hundred takes is copied in less


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
        lock = FileLock(folder / LOCK, wait_s=wait_s, sleep=sleep)
    except Taken as error:
        who = "another process" if error.process is None else f"process {error.process}"
        raise JobBusy(
            f"{folder.name} is being written by {who}; waited {wait_s:g} s. "
            "Let it finish, then repeat the command; nothing was changed."
        ) from error
    except OSError as error:
        raise NotStored(
            f"{folder} cannot be written ({error.strerror or error}); nothing was changed. "
            "Check the permissions, or copy the jobs to a place of your own."
        ) from error
    with lock:
        yield
