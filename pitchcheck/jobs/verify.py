"""Checking every byte of a job against its sums, and every list of sums against the one it hangs on.

Conventions: names are given from the job's folder, with slashes. What this shows: whether anything differs
from what was written last. What it does not show: who changed it, or that the sums were not made anew after
a change by someone who wanted that; a fingerprint kept elsewhere, or a signature, shows it
(docs/keeping-jobs.md).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from pitchcheck.jobs.layout import (
    HISTORY,
    LOCK,
    PASSES,
    READY,
    UNFINISHED,
    parse_pass_folder,
    pass_file,
    plain_file,
)
from pitchcheck.jobs.sums import (
    FINGERPRINT,
    SUMS,
    BadList,
    parse_sums,
    read_fingerprint,
    sum_of_bytes,
    sum_of_file,
)
from pitchcheck.store.lock import is_lock_text

LONGEST_LOCK_BYTES = 32


@dataclass(frozen=True)
class Checked:
    """What was found; all empty when every byte is as it was written.

    Attributes
    ----------
    fingerprint : str or None
        SHA-256 of ``sums.txt`` as it is on the disk.
    files : int
        How many were compared.
    changed, missing, new : tuple of str
        Files that differ from their sum, are not there, or stand in no list.
    broken : tuple of str
        Where a list of sums does not hang on the one before it, in whole sentences.
    cut_short : tuple of str
        Names that wait in ``ready``: a write that counts, and that the next command which writes finishes.
    unfinished : tuple of str
        Leftovers of writes that do not count.
    """

    fingerprint: str | None
    files: int
    changed: tuple[str, ...]
    missing: tuple[str, ...]
    new: tuple[str, ...]
    broken: tuple[str, ...]
    cut_short: tuple[str, ...]
    unfinished: tuple[str, ...]

    @property
    def sound(self) -> bool:
        """Whether everything that counts is as it was written; leftovers do not matter."""
        return not (self.changed or self.missing or self.new or self.broken)


@dataclass
class _Work:
    """A check under way."""

    folder: Path
    waiting: tuple[str, ...]
    files: int = 0
    known: set[str] = field(default_factory=set)
    changed: set[str] = field(default_factory=set)
    missing: set[str] = field(default_factory=set)
    broken: list[str] = field(default_factory=list)

    def path(self, name: str) -> Path:
        """Where a file lies: what waits in ``ready`` counts already."""
        waits = self.folder / READY / name
        return waits if self.waiting and waits.exists() else self.folder / name

    def open_path(self, name: str) -> Path | None:
        """Path of a plain file; None if it is missing, no file, or reached through a link."""
        path = self.path(name)
        root = self.folder / READY if path == self.folder / READY / name else self.folder
        return plain_file(root, name)

    def compare(self, name: str, expected: str, *, by: str) -> bool:
        """Compare one file with its sum in the list ``by``; note what is wrong."""
        self.known.add(name)
        path = self.open_path(name)
        if path is None:
            there = self.path(name).exists() or self.path(name).is_symlink()
            (self.changed if there else self.missing).add(name)
            return False
        try:
            self.files += 1
            found = sum_of_file(path)
        except OSError:
            self.changed.add(name)
            return False
        if found == expected:
            return True
        if by in self.changed:
            self.broken.append(f"{name} is not what {by} says, which was itself changed.")
        else:
            self.changed.add(name)
        return False

    def list_of(self, name: str) -> dict[str, str] | None:
        """Read a list of sums; one that is not in its format is changed."""
        path = self.open_path(name)
        if path is None and not self.path(name).exists():
            return None
        try:
            if path is not None:
                return parse_sums(path.read_bytes())
        except (BadList, OSError):
            pass
        self.changed.add(name)
        return None


def verify_job(folder: Path) -> Checked:
    """Check a job; nothing is written, and any state of the folder gives an answer.

    Raises
    ------
    OSError
        If the folder itself cannot be listed.
    """
    ready = folder / READY
    waiting = () if ready.is_symlink() else tuple(sorted(_files_in(ready, ready)))
    work = _Work(folder, waiting)
    sums = _top(work)
    for name in sorted(sums):
        if name.startswith(f"{HISTORY}/"):
            _history(work, name, sums[name])
        else:
            work.compare(name, sums[name], by=SUMS)
    _passes(work, sums)
    present = {name for name in _files_in(folder, folder) if not _apart(name)}
    present |= set(waiting)
    if not _is_plain_lock(folder / LOCK):
        present.add(LOCK)  # nothing may hide in it
    top = work.open_path(SUMS)
    return Checked(
        fingerprint=None if top is None else sum_of_file(top),
        files=work.files,
        changed=tuple(sorted(work.changed)),
        missing=tuple(sorted(work.missing)),
        new=tuple(sorted(present - work.known - {SUMS, FINGERPRINT})),
        broken=tuple(work.broken),
        cut_short=waiting,
        unfinished=tuple(sorted(p.name for p in folder.iterdir() if p.name.startswith(UNFINISHED))),
    )


def pass_is_sound(folder: Path) -> bool:
    """Whether the files of one sealed pass are those that its own list names."""
    try:
        sums = parse_sums((folder / SUMS).read_bytes())
        own = {name: plain_file(folder, name) for name in sums if not name.startswith("../")}
        return all(path is not None and sum_of_file(path) == sums[name] for name, path in own.items())
    except (OSError, BadList):
        return False


def find_fingerprint(folder: Path, fingerprint: str) -> int | None:
    """Return how many changes ago a fingerprint was this job's, 0 for now; None if never.

    Only what hangs together from the present list back to the one sought counts (``verify_job``).
    """
    wanted = "".join(fingerprint.split()).lower()
    kept = sorted((path.name for path in (folder / HISTORY).glob("*.txt")), reverse=True)
    for back, name in enumerate([SUMS, *(f"{HISTORY}/{name}" for name in kept)]):
        path = plain_file(folder, name)
        if path is not None and sum_of_file(path) == wanted:
            return back
    return None


def _top(work: _Work) -> dict[str, str]:
    """Read the job's own list and hold it against its fingerprint."""
    work.files += 2
    sums = work.list_of(SUMS)
    if sums is None and SUMS not in work.changed:
        work.missing.add(SUMS)
    path = work.open_path(FINGERPRINT)
    if path is None:
        there = work.path(FINGERPRINT).exists() or work.path(FINGERPRINT).is_symlink()
        (work.changed if there else work.missing).add(FINGERPRINT)
        return sums or {}
    try:
        stated = read_fingerprint(path.parent)
    except (OSError, ValueError):
        work.changed.add(FINGERPRINT)
        return sums or {}
    if sums is not None and stated != sum_of_bytes(work.path(SUMS).read_bytes()):
        work.changed.add(FINGERPRINT if _agrees(work, sums) else SUMS)
        work.broken.append(f"{FINGERPRINT} does not name this {SUMS}.")
    return sums or {}


def _agrees(work: _Work, sums: dict[str, str]) -> bool:
    """Whether all that a list names is as it says: then it is not the list that was changed."""
    paths = {name: work.open_path(name) for name in sums}
    return all(path is not None and sum_of_file(path) == sums[name] for name, path in paths.items())


def _history(work: _Work, name: str, expected: str) -> None:
    """Walk the kept lists back to the first; each holds the sum of the one before."""
    by = SUMS
    while True:
        if not work.compare(name, expected, by=by):
            if name in work.missing:
                work.broken.append(f"{name} is missing, so the lists before it hang on nothing.")
            return
        before = [item for item in (work.list_of(name) or {}).items() if item[0].startswith(f"{HISTORY}/")]
        if not before:
            return
        by, (name, expected) = name, before[-1]


def _passes(work: _Work, sums: dict[str, str]) -> None:
    """Check every pass by its own list, and the chain from pass to pass."""
    before: str | None = None
    for folder in sorted(_listed_passes(sums), key=_order):
        own = pass_file(folder, SUMS)
        content = work.list_of(own)
        if content is None:
            before = folder
            continue
        chained = {name: value for name, value in content.items() if name.startswith("../")}
        if not set(chained) <= {f"../{before}/{SUMS}"} or (before is not None and not chained):
            work.broken.append(f"{own} does not hang on {before or 'nothing'} but on {_hangs_on(chained)}.")
        for name, value in chained.items():
            path = work.open_path(f"{PASSES}/{name[3:]}")
            if path is None or sum_of_file(path) != value:
                work.broken.append(
                    f"{own} hangs on {PASSES}/{name[3:]}, which is no longer the one it names."
                )
        for name, value in content.items():
            if not name.startswith("../"):
                work.compare(pass_file(folder, name), value, by=own)
        before = folder


def _listed_passes(sums: dict[str, str]) -> list[str]:
    """Folder names of the passes in the job's list."""
    return [n.split("/")[1] for n in sums if n.startswith(f"{PASSES}/") and n.count("/") == 2]


def _order(folder: str) -> tuple[int, str]:
    """Return the order of a pass by its folder's name."""
    known = parse_pass_folder(folder)
    return (known[0] if known else 0, folder)


def _hangs_on(chained: dict[str, str]) -> str:
    """Name what a list hangs on."""
    return ", ".join(name[3:] for name in chained) or "nothing"


def _is_plain_lock(path: Path) -> bool:
    """Whether the lock is absent, or a file that holds no more than the number of a process."""
    if not path.exists() and not path.is_symlink():
        return True
    if path.is_symlink() or not path.is_file() or path.stat().st_size > LONGEST_LOCK_BYTES:
        return False
    return is_lock_text(path.read_bytes())


def _apart(name: str) -> bool:
    """Whether a file is none of the job's content: the lock, and what is being written."""
    return name == LOCK or name.startswith((f"{READY}/", UNFINISHED))


def _files_in(folder: Path, root: Path) -> Iterator[str]:
    """Names of all files and links below a folder, from the root."""
    for place, folders, files in os.walk(folder):
        for name in files + [name for name in folders if (Path(place) / name).is_symlink()]:
            yield (Path(place) / name).relative_to(root).as_posix()
