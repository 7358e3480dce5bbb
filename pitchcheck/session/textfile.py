"""Text files of a session folder: UTF-8, a byte-order mark allowed, faults instead of exceptions."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pitchcheck.session.notices import Inbox
from pitchcheck.session.paths import inside

LARGEST_NUMBER = 10**12  # our choice: nothing that is counted here comes near it
LARGEST_BYTES = 5_000_000  # our choice: a list of ten thousand takes is under half a megabyte


def read_text(folder: Path, name: str, inbox: Inbox, *, missing: str) -> str | None:
    """Text of a file in a folder, or None after a fault; ``missing`` says what to do when it is not there."""
    path = inside(folder, name)
    try:
        if path is None:
            inbox.fault(None, limit="it is a link to outside the folder", action="Put the file itself there.")
            return None
        if not path.is_file():
            inbox.fault(None, limit="the file is missing", action=missing)
            return None
        if path.stat().st_size > LARGEST_BYTES:
            limit = f"the file is larger than {LARGEST_BYTES // 1_000_000} MB"
            inbox.fault(None, limit=limit, action="It cannot be what its name says; check the folder.")
            return None
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        limit = f"the file is not UTF-8 text (byte {error.start + 1})"
        inbox.fault(None, limit=limit, action="Save it again as UTF-8.")
    except OSError as error:
        limit = f"the file cannot be read ({error.strerror or error})"
        inbox.fault(None, limit=limit, action="Check the file and its permissions.")
    return None


def parse_toml(text: str) -> dict[str, Any]:
    """Return a TOML text as a table.

    Raises
    ------
    ValueError
        If it is none, is nested too deeply, or holds a whole number that nothing here can have: Python itself
        neither reads nor prints such as have thousands of digits.
    """
    try:
        table = tomllib.loads(text)
    except RecursionError as error:
        raise ValueError("it is nested too deeply") from error
    waiting: list[Any] = [table]
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict | list):
            waiting += value.values() if isinstance(value, dict) else value
        elif type(value) is int and abs(value) > LARGEST_NUMBER:
            raise ValueError(f"it holds a whole number beyond {LARGEST_NUMBER}")
    return table
