"""A change to a job: laid out beside it, made whole, then moved into place.

One process writes at a time (``only_writer``).

Conventions: the lay-out grows in ``unfinished-0001`` and is renamed to ``ready`` when it is complete; from
then on the change counts, and whoever writes next finishes moving it. Paths are given from the job's folder,
with slashes. Nothing that exists is replaced but the checklist and the two lists of sums.

A renewed ``sums.txt`` takes over the sums of all that was not changed *from the old list*, never from the
disk, so that a file altered in between does not become right by a later note. The old list is kept under
``history/`` and its sum stands in the new one.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from pitchcheck.jobs.errors import JobBusy, JobDamaged, NotStored
from pitchcheck.jobs.layout import (
    HISTORY,
    LOCK,
    PASSES,
    READY,
    REPLACED,
    UNFINISHED,
    numbered,
    pass_file,
    pass_of,
)
from pitchcheck.jobs.sums import (
    FINGERPRINT,
    SUMS,
    BadList,
    fingerprint_text,
    parse_sums,
    read_fingerprint,
    sum_of_bytes,
    sums_text,
)
from pitchcheck.store.files import copy_file, remove_copies, sync_folder, sync_tree, write_file
from pitchcheck.store.lock import FileLock, Taken

ENDS_LAST = (SUMS, FINGERPRINT)  # moved last, in this order
WAIT_S = 10.0  # [s] that a second writer waits by default; a pass of a hundred takes is copied in less


class Change:
    """A change while it is being laid out; ``sums`` are those of the job before it."""

    def __init__(self, folder: Path, stage: Path, sums: dict[str, str]) -> None:
        self.folder = folder
        self.stage = stage
        self.sums = sums
        self._new: dict[str, str] = {}

    @property
    def new_sums(self) -> dict[str, str]:
        """Sums of what was laid out so far, by name."""
        return dict(self._new)

    def path(self, name: str) -> Path:
        """Where a file of the change lies until it is moved."""
        return self.stage / name

    def write(self, name: str, content: bytes) -> None:
        """Lay out a file; one laid out before under the same name is replaced."""
        self._check(name)
        self._new[name] = write_file(self.path(name), content)

    def copy(self, source: Path, name: str) -> None:
        """Lay out a copy of a file."""
        self._check(name)
        self._new[name] = copy_file(source, self.path(name))

    def commit(self) -> None:
        """Seal what was laid out, and move it into place."""
        new = self._seal_passes()
        after = {name: value for name, value in self.sums.items() if not name.startswith(f"{HISTORY}/")}
        after |= new
        old = self.folder / SUMS
        if old.exists():
            kept = f"{HISTORY}/{numbered(self.folder / HISTORY)}.txt"
            after[kept] = write_file(self.path(kept), old.read_bytes())
        text = sums_text(after).encode()
        write_file(self.path(SUMS), text)
        write_file(self.path(FINGERPRINT), fingerprint_text(sum_of_bytes(text)).encode())
        sync_tree(self.stage)
        ready = self.folder / READY
        os.rename(self.stage, ready)
        self.stage = ready
        sync_folder(self.folder)
        finish(self.folder)

    def _check(self, name: str) -> None:
        """Refuse a name that is taken."""
        if name not in REPLACED and (name in self.sums or (self.folder / name).exists()):
            raise JobDamaged(f"{name} is already in the job, and nothing in a job is ever overwritten.")

    def _seal_passes(self) -> dict[str, str]:
        """Give every new pass its list, chained to the pass before; return the sums for the job's list."""
        top: dict[str, str] = {}
        passes: dict[str, dict[str, str]] = {}
        for name, value in self._new.items():
            inside = pass_of(name)
            if inside is None:
                top[name] = value
            else:
                passes.setdefault(inside[0], {})[inside[1]] = value
        for folder, sums in passes.items():
            before = last_pass(self.sums)
            if before is not None:
                sums[f"../{before}/{SUMS}"] = self.sums[pass_file(before, SUMS)]
            name = pass_file(folder, SUMS)
            top[name] = write_file(self.path(name), sums_text(sums).encode())
        return top


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


@contextmanager
def changing(folder: Path, *, wait_s: float = WAIT_S) -> Iterator[Change]:
    """Hold a job's lock and lay out a change; without ``commit`` nothing stays of it.

    Raises
    ------
    JobBusy
        If another process writes to it.
    JobDamaged
        If its list of sums is not the one its fingerprint names: what was added would hang on nothing.
    NotStored
        If the disk is full or may not be written; the job is as it was.
    """
    with only_writer(folder, wait_s=wait_s):
        try:
            finish(folder)
            stage = folder / f"{UNFINISHED}{numbered(folder, UNFINISHED)}"
            sums = sound_sums(folder)
            stage.mkdir()
        except OSError as error:
            raise _not_stored(folder, error) from error
        change = Change(folder, stage, sums)
        try:
            yield change
        except OSError as error:
            raise _not_stored(folder, error, ready=change.stage.name == READY) from error
        finally:
            if change.stage.name != READY:
                remove_copies(stage)


def finish(folder: Path) -> bool:
    """Move what waits in ``ready`` into place; return whether there was anything. The lock is held."""
    ready = folder / READY
    if ready.is_symlink() or not ready.is_dir():
        return False
    moved: set[Path] = set()
    for name in _units(ready):
        if name == SUMS:
            for place in moved:
                sync_folder(place)
        target = folder / name
        if name not in REPLACED and target.exists():
            raise JobDamaged(
                f"{READY}/{name} waits to be moved to {name}, which is already there. "
                f"Look at both; move the one that does not belong out of the job."
            )
        target.parent.mkdir(exist_ok=True)
        os.replace(ready / name, target)
        moved |= {target.parent, folder}
    for place in moved | {folder}:
        sync_folder(place)
    for emptied, _, _ in os.walk(ready, topdown=False):
        os.rmdir(emptied)
    return True


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


def sound_sums(folder: Path) -> dict[str, str]:
    """Return the job's sums by path, none for a new job; raise JobDamaged if the list was altered."""
    try:
        content = (folder / SUMS).read_bytes()
        sums = parse_sums(content)
        stated = read_fingerprint(folder)
    except FileNotFoundError as error:
        if not (folder / SUMS).exists() and not (folder / FINGERPRINT).exists():
            return {}
        raise _altered(folder) from error
    except (BadList, ValueError) as error:
        raise _altered(folder) from error
    if stated != sum_of_bytes(content):
        raise _altered(folder)
    return sums


def last_pass(sums: dict[str, str]) -> str | None:
    """Return the folder name of the last pass in a job's sums, or None."""
    names = [inside[0] for name in sums if (inside := pass_of(name)) is not None]
    return max(names, key=lambda name: int(name.partition("-")[0]), default=None)


def _units(ready: Path) -> list[str]:
    """Names of what is moved as one piece: whole passes, single files; the lists of sums last."""
    names = [f"{PASSES}/{path.name}" for path in sorted((ready / PASSES).glob("*"))]
    for place, _, files in os.walk(ready):
        for file in sorted(files):
            name = (Path(place) / file).relative_to(ready).as_posix()
            if not name.startswith(f"{PASSES}/") and name not in ENDS_LAST:
                names.append(name)
    return names + [name for name in ENDS_LAST if (ready / name).exists()]


def _altered(folder: Path) -> JobDamaged:
    """Return the refusal to add to a job whose list was altered."""
    return JobDamaged(
        f"{folder.name}: {SUMS} and {FINGERPRINT} do not agree, so nothing is added to it. "
        f"See what changed with: pitchcheck job verify {folder.name}"
    )


def _not_stored(folder: Path, error: OSError, *, ready: bool = False) -> NotStored:
    """Return an error of the disk in words."""
    state = (
        f"The change counts; what still waits in {READY} is moved by the next command that writes."
        if ready
        else "The job is as it was. Make room or correct the permissions, then repeat the command."
    )
    return NotStored(f"{folder.name} cannot be written ({error.strerror or error}). {state}")
