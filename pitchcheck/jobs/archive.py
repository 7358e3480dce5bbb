"""A job as one archive, and back: a zip file whose bytes depend on nothing but the job.

Conventions: one folder named after the job; files sorted by name, stored without compression, dated
1980-01-01 (the zip format's first day), so that two exports of one job are the same file. The lock and
leftovers stay behind.
"""

from __future__ import annotations

import lzma
import os
import stat
import zipfile
import zlib
from pathlib import Path
from shutil import copyfileobj, disk_usage

from pitchcheck.errors import BadInput, Problem
from pitchcheck.jobs.change import finish, only_writer
from pitchcheck.jobs.errors import BadArchive, JobDamaged, NotStored
from pitchcheck.jobs.layout import JOB, LOCK, READY, UNFINISHED, pass_of
from pitchcheck.jobs.names import file_fault, is_id, job_id
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import Job
from pitchcheck.jobs.sums import sum_of_file
from pitchcheck.jobs.verify import Checked, verify_job
from pitchcheck.store.files import (
    BLOCK_BYTES,
    place_new,
    remove_copies,
    sync_folder,
    sync_tree,
    unfinished_path,
)

FIRST_DAY = (1980, 1, 1, 0, 0, 0)
UNREADABLE = (  # what reading a strange archive raises
    zipfile.BadZipFile,  # no archive, or a file's sum is wrong
    zlib.error,  # a packed file whose bytes are damaged
    lzma.LZMAError,  # the same, packed in another way
    RuntimeError,  # a file under a password; and, as NotImplementedError, a way of packing that Python lacks
    EOFError,  # cut off within a file
    UnicodeDecodeError,  # a name that is no text
)
MOST_FILES = 100_000  # our choice
MOST_TIMES = 200  # unpacked bytes per byte of archive; text compresses ten to twenty times (from memory)
SPARE_BYTES = 20_000_000
_SHOWN = 5


def export_job(folder: Path, target: Path) -> str:
    """Write a job into one archive; return the archive's SHA-256.

    Parameters
    ----------
    folder : Path
    target : Path
        A name that ends in ``.zip`` and does not exist.

    Raises
    ------
    BadInput
        If the target is there already or is no such name.
    JobDamaged
        If the job is not as it was written: an export would pass it on as sound.
    NotStored
        If the archive cannot be written; nothing is left of it.
    """
    check_target(target)
    if os.access(folder, os.W_OK):
        with only_writer(folder):
            finish(folder)
            return _pack(folder, target)
    return _pack(folder, target)


def check_target(target: Path) -> None:
    """Raise BadInput unless an archive can be made under a name."""
    if target.suffix.lower() != ".zip":
        limit = "an export is one archive whose name ends in .zip"
    elif target.exists():
        limit = "it is already there and is left alone"
    elif not target.absolute().parent.is_dir():
        limit = "its folder does not exist"
    else:
        return
    raise BadInput(Problem(str(target), None, None, None, limit, "Give another name with --to."))


def import_job(jobs: Path, archive: Path) -> Job:
    """Unpack an exported job into a folder of jobs.

    Raises
    ------
    BadArchive
        If it is no archive of one job, if a path leads out of it, if it holds far more than it says, if its
        sums do not fit, or if a job of that id is there.
    NewerFormat
        If a later version wrote it.
    NotStored
        If it cannot be written. In every case the jobs are as they were.
    """
    try:
        with zipfile.ZipFile(archive) as packed:
            name = _check(packed, archive)
            if (jobs / name).exists():
                raise _bad(archive, f"{name} is already in {jobs}; a job is never replaced")
            stage = jobs / f"{UNFINISHED}{os.getpid()}-{name}"
            try:
                return _unpack(packed, archive, jobs, stage, name)
            finally:
                remove_copies(stage)
    except UNREADABLE as error:
        raise _bad(archive, f"it cannot be read ({error})") from error
    except OSError as error:
        raise NotStored(
            f"{archive.name} could not be unpacked into {jobs} ({error.strerror or error}). "
            "The jobs are as they were. Make room or correct the permissions."
        ) from error


def _pack(folder: Path, target: Path) -> str:
    """Write the archive beside its place, then move it there."""
    checked = verify_job(folder)
    if not checked.sound or checked.cut_short:
        raise JobDamaged(
            f"{folder.name} is not as it was written ({_words(checked)}), so it is not exported. "
            f"See: pitchcheck job verify {folder.name}"
        )
    top = folder.name if is_id(folder.name) else renamed_id(folder)
    beside = unfinished_path(target)
    try:
        with zipfile.ZipFile(beside, "x") as packed:
            for name in sorted(_content(folder)):
                info = zipfile.ZipInfo(f"{top}/{name}", FIRST_DAY)
                info.create_system = 3  # Unix, wherever it is made
                info.external_attr = (stat.S_IFREG | 0o644) << 16
                info.file_size = (folder / name).stat().st_size
                with (folder / name).open("rb") as source, packed.open(info, "w") as out:
                    copyfileobj(source, out, BLOCK_BYTES)
        with beside.open("rb+") as written:
            os.fsync(written.fileno())
        made = sum_of_file(beside)
        place_new(beside, target)
        return made
    except OSError as error:
        raise NotStored(
            f"{target} cannot be written ({error.strerror or error}). Make room or name another place."
        ) from error
    finally:
        beside.unlink(missing_ok=True)


def renamed_id(folder: Path) -> str:
    """Return the id of a job whose folder a person gave another name."""
    job = read_job(folder)
    return job_id(job.title, made=job.made)


def _content(folder: Path) -> list[str]:
    """Names of the files that make up a job."""
    names = []
    for place, folders, files in os.walk(folder):
        if Path(place) == folder:
            folders[:] = [name for name in folders if name != READY and not name.startswith(UNFINISHED)]
            files = [name for name in files if name != LOCK]
        names += [(Path(place) / name).relative_to(folder).as_posix() for name in files]
    return names


def _check(packed: zipfile.ZipFile, archive: Path) -> str:
    """Return the id of the one job in an archive; raise BadArchive if anything about it is wrong."""
    entries = packed.infolist()
    if not entries or len(entries) > MOST_FILES:
        raise _bad(archive, f"it holds {len(entries)} files; it must be 1 to {MOST_FILES}")
    total = sum(entry.file_size for entry in entries)
    if total > MOST_TIMES * archive.stat().st_size:
        raise _bad(archive, f"it would unpack to {total / 1e6:.0f} MB, more than such a file can hold")
    names: set[str] = set()
    for entry in entries:
        name = entry.filename
        if not name:
            raise _bad(archive, "a file in it has no name")
        parts = name.split("/")
        mode = entry.external_attr >> 16
        plain = stat.S_IFMT(mode) in (0, stat.S_IFREG, stat.S_IFDIR)
        if entry.is_dir() and plain:
            parts.pop()
        inner = "/".join(parts[1:])
        within = pass_of(inner)
        fault = file_fault(within[1] if within else inner) if inner else None
        if any(part in ("", ".", "..") for part in parts):
            fault = "its path leads out of the job"
        if fault is None and not plain:
            fault = "it is a link or a device"
        if fault is None and name.casefold() in names:
            fault = "it is there twice"
        if fault is None and entry.flag_bits & 1:
            fault = "it is encrypted"
        if fault is not None:
            raise _bad(archive, f"{name[:80]!r}: {fault}")
        names.add(name.casefold())
    tops = {entry.filename.split("/")[0] for entry in entries}
    top = min(tops)
    if len(tops) != 1 or not is_id(top) or f"{top}/{JOB}" not in names:
        raise _bad(archive, f"it is no exported job: it must hold one folder with {JOB}")
    return top


def _unpack(packed: zipfile.ZipFile, archive: Path, jobs: Path, stage: Path, name: str) -> Job:
    """Write the files beside the jobs, check them, move them into place."""
    jobs.mkdir(parents=True, exist_ok=True)
    total = sum(entry.file_size for entry in packed.infolist())
    if disk_usage(jobs).free < total + SPARE_BYTES:
        raise NotStored(f"{archive.name} needs {total / 1e6:.0f} MB; the disk has less. Make room first.")
    stage.mkdir()
    for entry in packed.infolist():
        if entry.is_dir():
            continue
        path = stage / entry.filename.partition("/")[2]
        path.parent.mkdir(parents=True, exist_ok=True)
        with packed.open(entry) as source, path.open("xb") as out:
            left = entry.file_size
            while block := source.read(BLOCK_BYTES):
                left -= len(block)
                if left < 0:
                    raise _bad(archive, f"{entry.filename[:80]!r} holds more than it says")
                out.write(block)
            out.flush()
            os.fsync(out.fileno())
    sync_tree(stage)
    read_job(stage)
    checked = verify_job(stage)
    if not checked.sound or checked.cut_short or checked.unfinished:
        raise _bad(archive, f"it is not as it was exported: {_words(checked)}")
    if (jobs / name).exists():
        raise _bad(archive, f"{name} is already in {jobs}; a job is never replaced")
    os.rename(stage, jobs / name)
    sync_folder(jobs)
    return read_job(jobs / name)


def _words(checked: Checked) -> str:
    """Say what a check found, shortly."""
    named = [
        *(f"changed {name}" for name in checked.changed),
        *(f"missing {name}" for name in checked.missing),
        *(f"new {name}" for name in checked.new),
        *checked.broken,
        *(f"waiting {name}" for name in (*checked.cut_short, *checked.unfinished)),
    ]
    return "; ".join(named[:_SHOWN]) + (f"; {len(named) - _SHOWN} more" if len(named) > _SHOWN else "")


def _bad(archive: Path, limit: str) -> BadArchive:
    """Return a refusal of an archive."""
    return BadArchive(f"{archive.name} was not unpacked: {limit}.")
