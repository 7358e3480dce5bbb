"""A kept job as the papers that its comparison and its report are made from."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from pitchcheck.jobs.checklist import STEPS
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import BenchJob, StepDone, StoredPass
from pitchcheck.jobs.verify import verify_job
from pitchcheck.workflow.jobs.report import JobPapers, JobPass
from pitchcheck.workflow.jobs.stored_measurement import measurement_of


def papers_of(
    folder: Path, *, now: datetime, before: str | None = None, after: str | None = None
) -> JobPapers:
    """Return everything that a job's report tells; nothing is heard again.

    Parameters
    ----------
    folder : Path
        The job's.
    now : datetime
        Date of the report.
    before, after : str, optional
        Names of the passes to be compared; the first and the last by default. These carry their measurement.

    Raises
    ------
    JobDamaged
        If the job is not as it was written: a report would vouch for it.
    """
    checked = verify_job(folder)
    if not checked.sound:
        raise JobDamaged(
            f"{folder.name} is not as it was written, so nothing is reported from it. "
            f"See what changed with: pitchcheck job verify {folder.name}"
        )
    job = read_job(folder)
    names = [stored.name for stored in job.passes]
    wanted = {before or names[0], after or names[-1]} if names else set()
    return JobPapers(
        title=job.title,
        passes=tuple(_paper(stored, measured=stored.name in wanted) for stored in job.passes),
        owner=job.customer,
        owner_words=job.owner_words,
        done=steps_done(job),
        notes=tuple(f"{note.when:%Y-%m-%d}: {note.words}" for note in job.notes),
        fingerprint=checked.fingerprint,
        made=f"{now:%Y-%m-%d}",
    )


def steps_done(job: BenchJob) -> tuple[str, ...]:
    """Return the steps of the checklist that are done, one line each, in the checklist's order."""
    last: dict[str, StepDone] = {line.step: line for line in job.steps}
    lines = []
    for step in STEPS:
        line = last.get(step.name)
        if line is not None and line.done:
            told = "; ".join(words for words in (line.measured, line.note) if words)
            lines.append(f"{step.title}{': ' if told else ''}{told}")
    return tuple(lines)


def _paper(stored: StoredPass, *, measured: bool) -> JobPass:
    """Return one pass."""
    return JobPass(
        name=stored.name,
        folder=stored.folder,
        when=f"{stored.when:%Y-%m-%d}",
        removed=stored.removed,
        notes=() if stored.remarks is None else (stored.remarks,),
        measurement=measurement_of(stored) if measured else None,
    )
