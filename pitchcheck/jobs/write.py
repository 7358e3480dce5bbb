"""Writing to a job: a new one, a note, a line of the checklist.

Conventions: ``now`` is a time with its offset from UTC; it is written down and never decides an order. Every
function returns when what it wrote is safe on the disk.
"""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from pitchcheck.errors import BadInput, BadValue, Problem
from pitchcheck.jobs.change import Change, changing
from pitchcheck.jobs.errors import JobDamaged, NotStored
from pitchcheck.jobs.formats import lines_text, note_text, record_text
from pitchcheck.jobs.layout import ASIDE, GAUGE, JOB, NOTES, PHOTOS, STEPS, UNFINISHED, numbered
from pitchcheck.jobs.names import check_line, check_words, job_id
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import GaugeReading, Job, JobHead, SetAside, StepDone, find_step
from pitchcheck.store.files import remove_copies, sync_folder

MOST_AGAIN = 1000  # jobs of one name and day
PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif", ".tif", ".tiff")
LARGEST_PHOTO_BYTES = 50_000_000  # our choice; a raw photo of a camera is smaller


def new_job(
    jobs: Path,
    *,
    title: str,
    now: datetime,
    instrument: str | None = None,
    serial: str | None = None,
    customer: str | None = None,
    owner_words: str | None = None,
) -> Job:
    """Make an empty job in a folder of jobs, which is made if needed.

    Parameters
    ----------
    jobs : Path
    title : str
        A line: what to call the job. Its id is made of it and of the day.
    now : datetime
    instrument, serial, customer : str, optional
        A line each.
    owner_words : str, optional
        What the owner says is wrong.

    Raises
    ------
    BadValue
        If a text is too long or cannot be printed.
    NotStored
        If it cannot be written.
    """
    head = JobHead(
        title=check_line("title", title, required=True) or "",
        instrument=check_line("instrument", instrument),
        serial=check_line("serial", serial),
        customer=check_line("customer", customer),
        owner_words=check_words("owner's words", owner_words),
        made=check_now(now),
    )
    stage = jobs / f"{UNFINISHED}{os.getpid()}-{id(head):x}"
    try:
        stage.mkdir(parents=True)
        with changing(stage) as change:
            change.write(JOB, record_text(head, JOB).encode())
            change.commit()
        return read_job(put_in_place(stage, jobs, title=head.title, made=now))
    except OSError as error:
        raise NotStored(
            f"{jobs} cannot be written ({error.strerror or error}); no job was made. "
            "Make room, correct the permissions, or name another place with --jobs."
        ) from error
    finally:
        remove_copies(stage)


def put_in_place(stage: Path, jobs: Path, *, title: str, made: datetime) -> Path:
    """Move a finished job under the first id that is free; two processes never get the same one."""
    for again in range(1, MOST_AGAIN):
        folder = jobs / job_id(title, made=made, again=again)
        if folder.exists():
            continue
        try:
            os.rename(stage, folder)
        except (FileExistsError, OSError):
            if not folder.exists():
                raise
            continue
        sync_folder(jobs)
        return folder
    raise NotStored(f"{jobs} holds {MOST_AGAIN} jobs of this name and day. Choose another title.")


def add_note(folder: Path, words: str, *, now: datetime) -> int:
    """Add a bench note; return its number.

    Raises
    ------
    BadValue
        If the note is empty, too long, or cannot be printed.
    NotStored, JobBusy, JobDamaged
        If it could not be added.
    """
    kept = check_words("note", words)
    if kept is None:
        raise BadValue("the note is empty. Write what is to be kept.")
    read_job(folder)
    with changing(folder) as change:
        number = numbered(folder / NOTES)
        change.write(f"{NOTES}/{number}.md", note_text(check_now(now), kept).encode())
        change.commit()
    return int(number)


def record_step(
    folder: Path,
    name: str,
    *,
    now: datetime,
    done: bool = True,
    note: str | None = None,
    measured: str | None = None,
    photo: Path | None = None,
) -> StepDone:
    """Write a line of the checklist; earlier lines of the step stay.

    Parameters
    ----------
    folder : Path
    name : str
        One of ``records.STEPS``, or its number.
    now : datetime
    done : bool
        False takes the step back.
    note, measured : str, optional
        A line each.
    photo : Path, optional
        A picture; it is copied into the job.

    Raises
    ------
    BadValue
        If there is no such step, or a text cannot be kept.
    BadInput
        If the picture cannot be used.
    NotStored, JobBusy, JobDamaged
        If it could not be written.
    """
    name = find_step(name)
    note, measured = check_line("note", note), check_line("measured", measured)
    if photo is not None:
        check_photo(photo)
    read_job(folder)
    with changing(folder) as change:
        kept = read_job(folder)
        _refuse_damaged_steps(kept)
        line = StepDone(
            name=name,
            when=check_now(now),
            done=done,
            note=note,
            measured=measured,
            photo=None if photo is None else add_photo(change, photo, label=name),
        )
        change.write(STEPS, lines_text("step", (*kept.steps, line), STEPS).encode())
        change.commit()
    return line


def set_pass_aside(folder: Path, word: str, *, reason: str, now: datetime) -> SetAside:
    """Note that a pass was made by mistake: it stays as it is, and no longer counts.

    Parameters
    ----------
    folder : Path
    word : str
        Name or number of the pass.
    reason : str
    now : datetime

    Raises
    ------
    BadValue
        If there is no such pass, it is set aside already, or no reason is given.
    NotStored, JobBusy, JobDamaged
        If it could not be written.
    """
    said = check_line("reason", reason, required=True) or ""
    with changing(folder) as change:
        stored = read_job(folder).find_pass(word)
        if stored.aside is not None:
            raise BadValue(
                f"pass {stored.number} is set aside already ({stored.aside.reason}). To count it again, "
                "add its folder as a new pass."
            )
        line = SetAside(number=stored.number, when=check_now(now), reason=said)
        change.write(f"{ASIDE}/{stored.number:04d}.toml", record_text(line, ASIDE).encode())
        change.commit()
    return line


def add_gauge_reading(folder: Path, reading: GaugeReading) -> GaugeReading:
    """Keep what a gauge said beside the passes; the number of the last pass is put in.

    Raises
    ------
    NotStored, JobBusy, JobDamaged
        If it could not be written.
    """
    with changing(folder) as change:
        counted = read_job(folder).counted
        kept = replace(reading, after_pass=counted[-1].number if counted else 0)
        number = numbered(folder / GAUGE)
        change.write(f"{GAUGE}/{number}.toml", record_text(kept, GAUGE).encode())
        change.commit()
    return kept


def check_photo(photo: Path) -> None:
    """Raise BadInput unless a file is a picture that may enter a job."""
    if photo.suffix.lower() not in PHOTO_ENDINGS:
        limit = f"a photo must end in one of {', '.join(PHOTO_ENDINGS)}"
    elif not photo.is_file():
        limit = "the file is missing"
    elif photo.stat().st_size > LARGEST_PHOTO_BYTES:
        limit = f"a photo may have at most {LARGEST_PHOTO_BYTES // 1_000_000} MB"
    else:
        return
    raise BadInput(Problem(str(photo), None, None, None, limit, "Name another file."))


def add_photo(change: Change, photo: Path, *, label: str) -> str:
    """Lay out a copy of a picture among the job's photos; return its name in the job."""
    number = numbered(change.folder / PHOTOS)
    name = f"{PHOTOS}/{number}-{label}{photo.suffix.lower()}"
    change.copy(photo, name)
    return name


def check_now(now: datetime) -> datetime:
    """Return a time with its offset, to the second; raise BadValue if it has none."""
    if now.tzinfo is None:
        raise BadValue("the time has no offset from UTC. Give one that has.")
    return now.replace(microsecond=0)


def _refuse_damaged_steps(job: Job) -> None:
    """Refuse to write a checklist whose lines could not be read: they would be lost."""
    if any(fault.startswith((STEPS, f"{job.id}/{STEPS}")) for fault in job.faults):
        raise JobDamaged(f"{job.id}/{STEPS} cannot be read, so no line is added to it. Run job verify.")
