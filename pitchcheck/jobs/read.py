"""Reading jobs: one whole, a list, a name to its folder. Nothing is written and no lock is needed."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from pitchcheck.errors import PitchcheckError
from pitchcheck.jobs.errors import JobDamaged, NoSuchJob
from pitchcheck.jobs.formats import parse_note, read_lines, read_record
from pitchcheck.jobs.layout import (
    ASIDE,
    GAUGE,
    JOB,
    NOTES,
    PASS,
    PHOTOS,
    READY,
    STEPS,
    UNFINISHED,
    parse_pass_folder,
    pass_folders,
    pass_name,
    plain_file,
)
from pitchcheck.jobs.names import file_fault
from pitchcheck.jobs.records import (
    GaugeReading,
    Job,
    JobHead,
    JobLine,
    Note,
    PassHead,
    SetAside,
    StepDone,
    StoredPass,
)
from pitchcheck.jobs.sums import read_fingerprint

_SHOWN = 5  # ids in a message
NAMED_BY = ("title", "serial", "instrument", "customer")
LARGEST_NOTE_BYTES = 100_000  # our choice: a note has at most 4000 signs
Part = TypeVar("Part")


def read_job(folder: Path) -> Job:
    """Return a job as its folder tells it.

    Parts that cannot be read are left out and named in ``faults``; sums are not checked (``verify_job``).

    Raises
    ------
    JobDamaged
        If ``job.toml`` itself is missing or cannot be read.
    NewerFormat
        If a later version wrote any part of it.
    """
    head = read_record(JobHead, folder / JOB)
    faults: list[str] = []
    passes = _each(pass_folders(folder), read_pass, faults)
    asides = {one.number: one for one in _each(_files(folder, ASIDE, ".toml"), _aside, faults)}
    gauge = tuple(_each(_files(folder, GAUGE, ".toml"), _gauge, faults))
    try:
        fingerprint = read_fingerprint(folder)
    except (OSError, ValueError) as error:
        faults.append(f"the fingerprint cannot be read ({error}).")
        fingerprint = None
    return Job(
        **vars(head),
        folder=folder,
        passes=tuple(
            replace(
                stored,
                aside=asides.get(stored.number),
                gauge=tuple(reading for reading in gauge if reading.after_pass == stored.number),
            )
            for stored in passes
        ),
        notes=tuple(_each(_files(folder, NOTES, ".md"), _note, faults)),
        steps=_steps(folder, faults),
        gauge=gauge,
        fingerprint=fingerprint,
        unfinished=unfinished(folder),
        faults=tuple(faults),
    )


def read_pass(folder: Path) -> StoredPass:
    """Return one pass by its ``pass.toml``; raise JobDamaged if it cannot be read."""
    known = parse_pass_folder(folder.name)
    if known is None:
        raise JobDamaged(f"{folder.name} is no name of a pass.")
    head = read_record(PassHead, folder / PASS)
    photos = tuple(path for path in _files(folder, PHOTOS, "") if path.is_file())
    return StoredPass(**vars(head), number=known[0], folder=folder, photos=photos)


def unfinished(folder: Path) -> tuple[str, ...]:
    """Names of what writes that were cut short left in a folder."""
    names = (path.name for path in folder.iterdir() if path.is_dir())
    return tuple(sorted(name for name in names if name == READY or name.startswith(UNFINISHED)))


def list_jobs(jobs: Path) -> tuple[JobLine, ...]:
    """Return every job in a folder of jobs, by id; one that cannot be read has a fault."""
    return tuple(_line(path) for path in job_folders(jobs))


def job_folders(jobs: Path) -> list[Path]:
    """Return the folders that hold a job, by name, also those that a person renamed."""
    try:
        names = sorted(name for name in os.listdir(jobs) if not name.startswith((".", UNFINISHED)))
        return [jobs / name for name in names if (jobs / name / JOB).is_file()]
    except FileNotFoundError:
        return []
    except (OSError, ValueError) as error:
        raise NoSuchJob(
            f"{jobs} cannot be read ({getattr(error, 'strerror', None) or error}). "
            "Check it, or name another place with --jobs."
        ) from error


def find_job(jobs: Path, name: str) -> Path:
    """Return the folder of a job by its id, title or serial number, enough words, or its number in the list.

    Raises
    ------
    NoSuchJob
        If none answers to that, or more than one.
    """
    folders = job_folders(jobs)
    wanted = " ".join(name.lower().split())
    found = [path for path in folders if wanted == path.name.lower()]
    if not found and wanted.isascii() and wanted.isdigit() and 0 < len(wanted) < 5:
        listed = folders[int(wanted) - 1 :][:1] if int(wanted) > 0 else []
        heads = _heads(folders)
        found = listed + [p for p in folders if p not in listed and wanted == _plain(heads, p, "serial")]
    if not found and wanted:
        found = [path for path in folders if wanted in path.name.lower()]
    if not found and wanted:
        found = _named(folders, wanted)
    if len(found) == 1:
        return found[0]
    if found:
        shown = ", ".join(path.name for path in found[:_SHOWN]) + (", ..." if len(found) > _SHOWN else "")
        raise NoSuchJob(f"{name!r} fits {len(found)} jobs: {shown}. Give more of the name.")
    raise NoSuchJob(
        f"No job in {jobs} is called {name[:80]!r}. See them all with: pitchcheck job list "
        "(another place: --jobs FOLDER)"
    )


def _named(folders: Sequence[Path], wanted: str) -> list[Path]:
    """Return the jobs of that title or serial number; else with it in the title; else with all its words."""
    heads = _heads(folders)
    plain = {path: {key: _plain(heads, path, key) for key in NAMED_BY} for path in folders}
    whole = [path for path, said in plain.items() if wanted in (said["title"], said["serial"])]
    part = [path for path, said in plain.items() if wanted in said["title"]]
    words = [
        path
        for path, said in plain.items()
        if all(word in " ".join((path.name.lower(), *said.values())) for word in wanted.split())
    ]
    return whole or part or words


def _heads(folders: Sequence[Path]) -> dict[Path, JobHead]:
    """Return what was said when each job was made; jobs that cannot be read are left out."""
    heads = {}
    for folder in folders:
        with suppress(PitchcheckError):
            heads[folder] = read_record(JobHead, folder / JOB)
    return heads


def _plain(heads: Mapping[Path, JobHead], folder: Path, key: str) -> str:
    """Return one of a job's words as names are compared: small letters, single spaces."""
    said = getattr(heads[folder], key) if folder in heads else None
    return " ".join((said or "").lower().split())


def _line(folder: Path) -> JobLine:
    """Return one job for a list, from as few files as it takes."""
    aside = {path.stem for path in _files(folder, ASIDE, ".toml")}
    names: list[tuple[str, bool]] = []  # of every pass, and whether it counts
    kinds: list[str] = []
    for path in pass_folders(folder):
        number, kind = parse_pass_folder(path.name) or (0, "")
        kinds.append(kind)
        names.append((pass_name(kind, kinds.count(kind)), f"{number:04d}" not in aside))
    counted = [name for name, counts in names if counts]
    try:
        head = read_record(JobHead, folder / JOB)
    except PitchcheckError as error:
        return JobLine(folder=folder, passes=len(counted), fault=str(error))
    last = counted[-1] if counted else None
    return JobLine(folder=folder, title=head.title, made=head.made, passes=len(counted), last=last)


def _files(folder: Path, place: str, ending: str) -> list[Path]:
    """Return the files of one kind in a folder, by name; links are none."""
    if (folder / place).is_symlink() or not (folder / place).is_dir():
        return []
    return sorted(path for path in (folder / place).iterdir() if path.name.endswith(ending))


def _each(paths: Sequence[Path], read: Callable[[Path], Part], faults: list[str]) -> list[Part]:
    """Read several parts; one that cannot be read is named in the faults."""
    found = []
    for path in paths:
        try:
            found.append(read(path))
        except JobDamaged as error:
            faults.append(str(error))
    return found


def _note(path: Path) -> Note:
    """Return one bench note."""
    try:
        if plain_file(path.parent, path.name) is None or path.stat().st_size > LARGEST_NOTE_BYTES:
            raise ValueError("it is no file of a note")
        when, words = parse_note(path.read_bytes().decode("utf-8"))
        return Note(number=int(path.stem), when=when, words=words)
    except (OSError, ValueError) as error:
        raise JobDamaged(f"{NOTES}/{path.name} was altered or damaged: {error}.") from error


def _aside(path: Path) -> SetAside:
    return read_record(SetAside, path)


def _gauge(path: Path) -> GaugeReading:
    return read_record(GaugeReading, path)


def _steps(folder: Path, faults: list[str]) -> tuple[StepDone, ...]:
    """Return the lines of the checklist."""
    if not (folder / STEPS).exists():
        return ()
    try:
        lines = read_lines(StepDone, "step", folder / STEPS)
    except JobDamaged as error:
        faults.append(str(error))
        return ()
    for line in lines:
        if line.photo is not None and file_fault(line.photo):
            faults.append(f"{STEPS} was altered or damaged: photo is {line.photo!r}.")
    return tuple(
        replace(line, photo=None) if line.photo is not None and file_fault(line.photo) else line
        for line in lines
    )
