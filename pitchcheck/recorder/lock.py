"""One session at the microphone in a folder at a time (``store.lock``)."""

from __future__ import annotations

from pathlib import Path

from pitchcheck.errors import BadInput, Problem
from pitchcheck.store.lock import FileLock, Taken

LOCK = "listen.lock"


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
