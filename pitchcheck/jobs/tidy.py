"""What a write that was cut short left behind: finished where it counts, removed only when asked for.

Conventions: ``ready`` holds a change that counts; ``unfinished-...`` holds copies that never became part of
the job. Removing them cannot be undone.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from shutil import rmtree

from pitchcheck.jobs.change import finish
from pitchcheck.jobs.errors import NotStored
from pitchcheck.jobs.layout import UNFINISHED
from pitchcheck.jobs.lock import only_writer


@dataclass(frozen=True)
class Leftover:
    """One folder of copies."""

    path: Path
    files: tuple[str, ...]
    size_bytes: int


def finish_change(folder: Path) -> bool:
    """Move a change that counts into place; return whether there was one."""
    with only_writer(folder):
        try:
            return finish(folder)
        except OSError as error:
            raise NotStored(
                f"{folder.name} could not be finished ({error.strerror or error}). "
                "Make room or correct the permissions, then repeat the command."
            ) from error


def leftovers(folder: Path) -> tuple[Leftover, ...]:
    """Return the leftovers in a job, or in a folder of jobs."""
    found = []
    for path in sorted(folder.glob(f"{UNFINISHED}*")):
        files = sorted(inner for inner in path.rglob("*") if inner.is_file())
        names = tuple(inner.relative_to(path).as_posix() for inner in files)
        found.append(Leftover(path, names, sum(inner.stat().st_size for inner in files)))
    return tuple(found)


def remove(folder: Path, chosen: tuple[Leftover, ...]) -> None:
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
