"""Copies that writes left behind when they were cut short before they counted; removed when asked."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from shutil import rmtree

from pitchcheck.jobs.change import only_writer
from pitchcheck.jobs.errors import NotStored
from pitchcheck.jobs.layout import UNFINISHED


@dataclass(frozen=True)
class Leftover:
    """One folder of copies."""

    path: Path
    files: tuple[str, ...]
    size_bytes: int


def leftovers(folder: Path) -> tuple[Leftover, ...]:
    """Return the leftovers in a job, or in a folder of jobs."""
    found = []
    for path in sorted(folder.glob(f"{UNFINISHED}*")):
        files = sorted(inner for inner in path.rglob("*") if inner.is_file())
        names = tuple(inner.relative_to(path).as_posix() for inner in files)
        found.append(Leftover(path, names, sum(inner.stat().st_size for inner in files)))
    return tuple(found)


def remove_leftovers(folder: Path, chosen: tuple[Leftover, ...]) -> None:
    """Remove leftovers of a job for good. The caller has asked twice.

    Raises
    ------
    NotStored
        If they cannot be removed.
    """
    with only_writer(folder):
        for item in chosen:
            try:
                rmtree(item.path)
            except OSError as error:
                raise NotStored(
                    f"{item.path.name} cannot be removed ({error.strerror or error}). Check the permissions."
                ) from error
