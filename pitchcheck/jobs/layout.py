"""Where jobs are, and where things lie in a job's folder.

Conventions: names are given from the job's folder, with slashes; numbers begin at 1.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

from pitchcheck.jobs.sums import FINGERPRINT, SUMS

VARIABLE = "PITCHCHECK_JOBS"
JOB = "job.toml"
STEPS = "steps.toml"
PASS = "pass.toml"
RESULT = "measurement.json"
PASSES, NOTES, PHOTOS, GAUGE, ASIDE, HISTORY = "passes", "notes", "photos", "gauge", "aside", "history"
LOCK = "lock"
READY = "ready"
UNFINISHED = "unfinished-"
REPLACED = frozenset({STEPS, SUMS, FINGERPRINT})  # the only files that a change replaces
OWN_IN_PASS = frozenset({PASS, RESULT, SUMS})  # files of a pass that the program writes

_PASS_FOLDER = re.compile(r"(\d{2,4})-(before|after|final)")
_NUMBER = re.compile(r"(\d{1,18})(?:\D.*)?", re.DOTALL)


def jobs_place(named: Path | None = None) -> Path:
    """Return the folder that holds the jobs: one that was named, else the variable's, else the system's.

    It may not exist yet. On Linux the default is ``~/.local/share/pitchcheck/jobs`` (XDG base directories),
    on macOS and Windows the user's application data.
    """
    if named is not None:
        return named
    said = os.environ.get(VARIABLE)
    if said:
        return Path(said)
    from platformdirs import user_data_path

    return user_data_path("pitchcheck", appauthor=False) / "jobs"


def plain_file(folder: Path, name: str) -> Path | None:
    """Path of a file in a job; None if it is missing, no file, or reached through a link."""
    try:
        path = folder.resolve() / name
        return path if path.is_file() and path.resolve() == path else None
    except (OSError, ValueError, RuntimeError):
        return None


def pass_file(folder: str, name: str) -> str:
    """Return the name of a pass's file from the job's folder."""
    return f"{PASSES}/{folder}/{name}"


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


def pass_folders(folder: Path) -> list[Path]:
    """Return the passes' folders of a job in order; other names under ``passes``, and links, are none."""
    place = folder / PASSES
    if place.is_symlink() or not place.is_dir():
        return []
    found = [(n, p) for p in place.iterdir() if (n := parse_pass_folder(p.name)) and not p.is_symlink()]
    return [path for _, path in sorted(found, key=lambda item: item[0])]


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
