"""A pass on its way into a job: what of a session folder is copied, and the small file beside it.

Conventions: the source folder is read and never changed. Everything in it is copied but hidden files, the
mark of a session in use, and the files that a job writes itself; so takes that were set aside come along.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from shutil import disk_usage

from pitchcheck.errors import BadInput, Problem
from pitchcheck.jobs.change import Change
from pitchcheck.jobs.errors import NotStored
from pitchcheck.jobs.layout import OWN_IN_PASS, PHOTOS, pass_file, pass_folder, pass_folders, pass_name
from pitchcheck.jobs.names import file_fault
from pitchcheck.jobs.records import PassKind, StoredPass
from pitchcheck.jobs.sums import SUMS, BadList, parse_sums
from pitchcheck.recorder.course_file import COURSE
from pitchcheck.recorder.disk import LOCK as IN_USE
from pitchcheck.session.rows import TAKES
from pitchcheck.session.settings import SETTINGS

MOST_FILES = 5000  # our choice: a thorough pass over twelve strings has four hundred takes
MOST_BYTES = 8_000_000_000  # our choice: six hours of stereo sound at 96 kHz and 32 bits fill it
SPARE_BYTES = 20_000_000  # left free on the disk for everything else


def files_to_copy(source: Path, *, job: Path) -> tuple[str, ...]:
    """Return the names of the files of a session folder that enter a job.

    Raises
    ------
    BadInput
        If a name cannot be kept on every system, a link leads out of the folder, or it holds far too much to
        be a session folder.
    """
    if job.resolve().is_relative_to(source.resolve()):
        limit = "it is the folder of the job itself or one around it"
        raise _refused(str(source), limit, "Name the folder with the recordings.")
    names: list[str] = []
    folded: set[str] = set()
    total = 0
    for place, folders, files in os.walk(source):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        linked = [name for name in folders if (Path(place) / name).is_symlink()]
        for file in sorted([*files, *linked]):
            path = Path(place) / file
            name = path.relative_to(source).as_posix()
            if file.startswith(".") or name in OWN_IN_PASS or name == IN_USE:
                continue
            fault = file_fault(name) or _link_fault(path, source)
            if name.casefold() in folded:
                fault = (
                    "its name differs from another's in capital letters only; not every system can hold both"
                )
            folded.add(name.casefold())
            if fault is not None:
                raise _refused(
                    name, fault, "Rename it, in the list of takes too, or put the file itself there."
                )
            names.append(name)
            total += path.stat().st_size
            if len(names) > MOST_FILES or total > MOST_BYTES:
                limit = f"it holds more than {MOST_FILES} files or {MOST_BYTES // 10**9} GB"
                raise _refused(str(source), limit, "Put the session into a folder of its own.")
    return tuple(names)


def lay_out(change: Change, source: Path, names: Sequence[str], *, to: str) -> None:
    """Copy files of a session folder into a pass that is being laid out.

    Raises
    ------
    NotStored
        If the disk has too little room for them.
    """
    needed = sum((source / name).stat().st_size for name in names) + SPARE_BYTES
    free = disk_usage(change.folder).free
    if free < needed:
        raise NotStored(
            f"The disk of {change.folder.name} has {free / 1e6:.0f} MB left; the pass needs "
            f"{needed / 1e6:.0f} MB. The job is as it was. Make room, then repeat the command."
        )
    for name in names:
        change.copy(source / name, pass_file(to, name))


def next_pass(folder: Path, kind: PassKind) -> tuple[str, str]:
    """Return folder and name of the next pass. The lock is held."""
    taken = [path.name.partition("-") for path in pass_folders(folder)]
    number = max((int(first) for first, _, _ in taken), default=0) + 1
    count = sum(last == kind.value for _, _, last in taken) + 1
    return pass_folder(number, kind.value), pass_name(kind.value, count)


def filed_before(
    change: Change, folder: str, passes: Sequence[StoredPass]
) -> tuple[StoredPass, int, bool] | None:
    """Return the earlier pass of which files that are being laid out are, byte for byte, takes.

    Returns
    -------
    tuple of StoredPass, int and bool, or None
        The pass, how many files are the same, and whether that is every one of them.
    """
    start = pass_file(folder, "")
    new = {sum_: name.removeprefix(start) for name, sum_ in change.new_sums.items() if name.startswith(start)}
    papers = (SETTINGS, TAKES, COURSE)
    takes = {sum_ for sum_, name in new.items() if name not in papers and not name.startswith(f"{PHOTOS}/")}
    for stored in passes:
        try:
            old = parse_sums((stored.folder / SUMS).read_bytes())
        except (OSError, BadList):
            continue
        same = takes & set(old.values())
        if same:
            return stored, len(same), same == takes
    return None


def photo_name(number: int, photo: Path) -> str:
    """Return the name of a picture within its pass."""
    return f"{PHOTOS}/{number:04d}{photo.suffix.lower()}"


def _link_fault(path: Path, source: Path) -> str | None:
    """Why a link cannot be followed, or None."""
    if not path.is_symlink():
        return None
    inside = path.resolve().is_relative_to(source.resolve()) and path.is_file()
    return None if inside else "it is a link to a folder, to nothing, or to outside the session folder"


def _refused(name: str, limit: str, action: str) -> BadInput:
    """Return a fault of the source folder."""
    return BadInput(Problem(name, None, None, None, limit, action))
