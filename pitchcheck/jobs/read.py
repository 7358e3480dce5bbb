"""Reading jobs: one whole, a list, a name to its folder. Nothing is written and no lock is needed."""

from __future__ import annotations

import os
import re
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from pitchcheck.errors import PitchcheckError
from pitchcheck.instrument import Removal
from pitchcheck.jobs.errors import JobDamaged, NoSuchJob
from pitchcheck.jobs.layout import (
    JOB,
    NOTES,
    PASS,
    PASSES,
    PHOTOS,
    READY,
    STEPS,
    UNFINISHED,
    parse_pass_folder,
    pass_name,
    read_fingerprint,
)
from pitchcheck.jobs.migrate import Table, read_table
from pitchcheck.jobs.records import BenchJob, JobLine, Note, PassKind, StepDone, StoredPass
from pitchcheck.units import length_mm

_NOTE = re.compile(r"# (\S+)\n\n(.*)\n", re.DOTALL)
_SHOWN = 5  # ids in a message
Kind = TypeVar("Kind")


def read_job(folder: Path) -> BenchJob:
    """Return a job as its folder tells it.

    Parts that cannot be read are left out and named in ``faults``; sums are not checked (``verify_job``).

    Raises
    ------
    JobDamaged
        If ``job.toml`` itself is missing or cannot be read.
    NewerFormat
        If a later version wrote any part of it.
    """
    table = read_table(folder / JOB)
    faults: list[str] = []
    passes = []
    for place in pass_folders(folder):
        try:
            passes.append(read_pass(place))
        except JobDamaged as error:
            faults.append(str(error))
    return BenchJob(
        folder=folder,
        id=folder.name,
        title=_value(table, "title", str, JOB),
        instrument=_text(table, "instrument", JOB),
        customer=_text(table, "customer", JOB),
        owner_words=_text(table, "owner_words", JOB),
        made=_time(table, "made", JOB),
        passes=tuple(passes),
        notes=_notes(folder, faults),
        steps=_steps(folder, faults),
        fingerprint=_fingerprint(folder, faults),
        unfinished=unfinished(folder),
        left_out=_left_out(table),
        faults=tuple(faults),
    )


def read_pass(folder: Path) -> StoredPass:
    """Return one pass by its ``pass.toml``; raise JobDamaged if it cannot be read."""
    where = f"{folder.name}/{PASS}"
    table = read_table(folder / PASS)
    known = parse_pass_folder(folder.name)
    if known is None:
        raise JobDamaged(f"{folder.name} is no name of a pass.")
    try:
        kind = PassKind(_value(table, "kind", str, where))
        removed = tuple(
            Removal(_value(item, "string", int, where), length_mm(_value(item, "amount", str, where)))
            for item in _tables(table, "removed", where)
        )
    except ValueError as error:  # BadValue is one
        raise JobDamaged(f"{where} was altered or damaged: {error}") from error
    return StoredPass(
        number=known[0],
        kind=kind,
        name=_value(table, "name", str, where),
        folder=folder,
        when=_time(table, "when", where),
        removed=removed,
        remarks=_text(table, "remarks", where),
        takes=_value(table, "takes", int, where),
        photos=tuple(sorted((folder / PHOTOS).iterdir())) if (folder / PHOTOS).is_dir() else (),
        made_with=_value(table, "made_with", str, where),
    )


def pass_folders(folder: Path) -> list[Path]:
    """Return the passes' folders of a job in order; other names under ``passes`` are none."""
    place = folder / PASSES
    found = [(n, p) for p in place.iterdir() if (n := parse_pass_folder(p.name))] if place.is_dir() else []
    return [path for _, path in sorted(found, key=lambda item: item[0])]


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
    except FileNotFoundError:
        return []
    except OSError as error:
        raise NoSuchJob(
            f"{jobs} cannot be read ({error.strerror or error}). Check it, or name another place with --jobs."
        ) from error
    return [jobs / name for name in names if (jobs / name / JOB).is_file()]


def find_job(jobs: Path, name: str) -> Path:
    """Return the folder of the job with that id, or of the only one whose id holds the name.

    Raises
    ------
    NoSuchJob
        If none does, or more than one.
    """
    wanted = name.strip().lower()
    ids = [path.name for path in job_folders(jobs)]
    exact = [known for known in ids if name.strip() == known or wanted == known.lower()]
    found = exact[:1] or [known for known in ids if wanted and wanted in known.lower()]
    if len(found) == 1:
        return jobs / found[0]
    if found:
        shown = ", ".join(found[:_SHOWN]) + (", ..." if len(found) > _SHOWN else "")
        raise NoSuchJob(f"{name!r} fits {len(found)} jobs: {shown}. Give more of the name.")
    raise NoSuchJob(
        f"No job in {jobs} is called {name!r}. See them all with: pitchcheck job list "
        "(another place: --jobs FOLDER)"
    )


def _line(folder: Path) -> JobLine:
    """Return one job for a list, from as few files as it takes."""
    passes = pass_folders(folder)
    try:
        table = read_table(folder / JOB)
        title, made = _value(table, "title", str, JOB), _time(table, "made", JOB)
    except PitchcheckError as error:
        return JobLine(folder.name, folder, "", None, len(passes), None, fault=str(error))
    kinds = [path.name.partition("-")[2] for path in passes]
    last = pass_name(kinds[-1], kinds.count(kinds[-1])) if kinds else None
    return JobLine(folder.name, folder, title, made, len(passes), last)


def _notes(folder: Path, faults: list[str]) -> tuple[Note, ...]:
    """Return the bench notes in order."""
    found = []
    for path in sorted((folder / NOTES).glob("*.md")):
        try:
            match = _NOTE.fullmatch(path.read_bytes().decode("utf-8"))
            if match is None:
                raise ValueError("it has no date in its first line")
            found.append(Note(int(path.stem), _moment(match[1]), match[2]))
        except (OSError, ValueError) as error:
            faults.append(f"{NOTES}/{path.name} was altered or damaged: {error}.")
    return tuple(found)


def note_text(when: datetime, words: str) -> str:
    """Return the file of a note."""
    return f"# {when.isoformat(timespec='seconds')}\n\n{words}\n"


def _steps(folder: Path, faults: list[str]) -> tuple[StepDone, ...]:
    """Return the lines of the checklist."""
    if not (folder / STEPS).exists():
        return ()
    try:
        return tuple(_step(folder, item) for item in _tables(read_table(folder / STEPS), "step", STEPS))
    except JobDamaged as error:
        faults.append(str(error))
        return ()


def _step(folder: Path, item: Table) -> StepDone:
    """Return one line of the checklist."""
    photo = _text(item, "photo", STEPS)
    return StepDone(
        step=_value(item, "name", str, STEPS),
        when=_time(item, "when", STEPS),
        done=_value(item, "done", bool, STEPS),
        note=_text(item, "note", STEPS),
        measured=_text(item, "measured", STEPS),
        photo=None if photo is None else folder / photo,
    )


def _fingerprint(folder: Path, faults: list[str]) -> str | None:
    """Return the fingerprint as stated."""
    try:
        return read_fingerprint(folder)
    except (OSError, ValueError) as error:
        faults.append(f"the fingerprint cannot be read ({error}).")
        return None


def _value(table: Table, key: str, kind: type[Kind], where: str) -> Kind:
    """Return a value of a kind."""
    value = table.get(key)
    if not isinstance(value, kind):
        raise JobDamaged(f"{where} was altered or damaged: {key} is {value!r}.")
    return value


def _tables(table: Table, key: str, where: str) -> list[Table]:
    """Return a list of tables, empty where there is none."""
    items = table.get(key, [])
    if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
        raise JobDamaged(f"{where} was altered or damaged: {key} is no list of tables.")
    return items


def _left_out(table: Table) -> tuple[str, ...]:
    """Return what a copy left out."""
    copy = table.get("copy", {})
    words = copy.get("left_out", []) if isinstance(copy, dict) else None
    if not isinstance(words, list):
        raise JobDamaged(f"{JOB} was altered or damaged: copy is {copy!r}.")
    return tuple(str(word) for word in words)


def _text(table: Table, key: str, where: str) -> str | None:
    """Return a text, or None where there is none."""
    return None if table.get(key) is None else _value(table, key, str, where)


def _time(table: Table, key: str, where: str) -> datetime:
    """Return a time with its offset from UTC."""
    when = _value(table, key, datetime, where)
    if when.tzinfo is None:
        raise JobDamaged(f"{where} was altered or damaged: {key} has no offset from UTC.")
    return when


def _moment(text: str) -> datetime:
    """Return a time with its offset from text."""
    when = datetime.fromisoformat(text)
    if when.tzinfo is None:
        raise ValueError(f"{text} has no offset from UTC")
    return when
