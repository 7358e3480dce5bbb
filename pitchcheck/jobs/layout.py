"""Where things lie in a job's folder, and the small files that say what they are.

Conventions: names are given from the job's folder, with slashes; numbers begin at 1.
"""

from __future__ import annotations

import re
from pathlib import Path

from pitchcheck.jobs.lock import LOCK as LOCK
from pitchcheck.jobs.sums import SUMS

JOB = "job.toml"
STEPS = "steps.toml"
PASS = "pass.toml"
RESULT = "measurement.json"
PASSES, NOTES, PHOTOS, HISTORY = "passes", "notes", "photos", "history"
FINGERPRINT = "fingerprint.txt"
READY = "ready"
UNFINISHED = "unfinished-"
REPLACED = frozenset({STEPS, SUMS, FINGERPRINT})  # the only files that a change replaces
OWN_IN_PASS = frozenset({PASS, RESULT, SUMS})  # files of a pass that the program writes

_PASS_FOLDER = re.compile(r"(\d{2,4})-(before|after|final)")
_FINGERPRINT = re.compile(rf"([0-9a-f]{{64}})  {re.escape(SUMS)}\n")
_NUMBER = re.compile(r"(\d+)(?:\D.*)?", re.DOTALL)


def pass_of(name: str) -> tuple[str, str] | None:
    """Pass folder and path within it, of a file's name; None if it lies in no pass."""
    parts = name.split("/", 2)
    return (parts[1], parts[2]) if len(parts) == 3 and parts[0] == PASSES else None


def pass_folder(number: int, kind: str) -> str:
    """Return the folder name of a pass."""
    return f"{number:02d}-{kind}"


def parse_pass_folder(name: str) -> tuple[int, str] | None:
    """Return number and kind of a pass by its folder's name; None if it is no such name."""
    match = _PASS_FOLDER.fullmatch(name)
    return None if match is None else (int(match[1]), match[2])


def pass_name(kind: str, count: int) -> str:
    """Return what the n-th pass of a kind is called; every name occurs once in a job.

    Examples
    --------
    >>> pass_name("before", 1), pass_name("after", 1), pass_name("final", 2)
    ('before', 'after pass 1', 'final 2')
    """
    if kind == "after":
        return f"after pass {count}"
    return kind if count == 1 else f"{kind} {count}"


def numbered(folder: Path, prefix: str = "") -> str:
    """Return the next free number in a folder, as four digits."""
    taken = [0]
    if folder.is_dir():
        for path in folder.iterdir():
            match = _NUMBER.fullmatch(path.name.removeprefix(prefix))
            if match and path.name.startswith(prefix):
                taken.append(int(match[1]))
    return f"{max(taken) + 1:04d}"


def fingerprint_text(value: str) -> str:
    """Return the content of the file with a job's fingerprint."""
    return f"{value}  {SUMS}\n"


def read_fingerprint(folder: Path) -> str:
    """Return a job's fingerprint as its file states it; raise ValueError if it is not in its format."""
    match = _FINGERPRINT.fullmatch((folder / FINGERPRINT).read_bytes().decode("ascii"))
    if match is None:
        raise ValueError(f"{FINGERPRINT} is not in its format")
    return match[1]
