"""What takes long with jobs and reports, as functions for the worker process: measure, seal, compare, write.

Conventions: arguments and results can go to another process; pages and pieces of pages come back as HTML.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pitchcheck.bench.nut_view import draw_nut_so_far
from pitchcheck.bench.templating import render
from pitchcheck.instrument import Removal
from pitchcheck.jobs.read import read_job
from pitchcheck.workflow.recordings import MemoWish


@dataclass(frozen=True)
class Sealing:
    """How a session enters a job: as ``pitchcheck job add`` is told."""

    kind: str | None
    removed: tuple[Removal, ...]
    remarks: str | None
    photos: tuple[Path, ...]
    changed: str | None
    anyway: bool


@dataclass(frozen=True)
class Sealed:
    """A pass that was sealed, and what to know of it."""

    number: int
    name: str
    notices: tuple[str, ...]


def seal(job: Path, session: Path, said: Sealing, now: datetime) -> Sealed:
    """Copy a session into a job, measure it and seal it."""
    from pitchcheck.workflow.jobs.add_pass import add_pass, parse_kind

    added = add_pass(
        job,
        session,
        now=now,
        kind=parse_kind(said.kind),
        removed=said.removed,
        remarks=said.remarks,
        photos=said.photos,
        changed=said.changed,
        anyway=said.anyway,
        workers=1,
    )
    return Sealed(added.stored.number, added.stored.name, added.notices)


def job_now(folder: Path) -> str:
    """Return how the instrument of a job is now: nut, what to do, chords."""
    from pitchcheck.workflow.jobs.compared import measurement_of

    *before, last = read_job(folder).counted
    return render("nut.jinja", nut=draw_nut_so_far(measurement_of(last, before=before)))


def job_change(folder: Path, before: str | None, after: str | None) -> str:
    """Return two passes against one another: slots, side views, chords."""
    from pitchcheck.report.job.view import JobReportInput, job_view
    from pitchcheck.workflow.jobs.compared import compare_job, sound_job

    found = compare_job(sound_job(folder), before=before, after=after)
    given = JobReportInput(found.job.title, (), found.after, found.comparison)
    names = [f"pass {one.number} ({one.name})" for one in (found.passes[0], found.passes[-1])]
    return render("job_change.jinja", view=job_view(given), names=names, reader="tech")


@dataclass(frozen=True)
class ReportWanted:
    """How the report of a job is to be: as ``pitchcheck job report`` is told."""

    reader: str
    names: bool
    sound: bool
    workshop: str | None
    signature: bool
    before: str | None
    after: str | None


def job_report_page(folder: Path, wanted: ReportWanted, now: datetime) -> str:
    """Return the report of a job; of one with a single pass the intake page."""
    from pitchcheck.errors import BadValue
    from pitchcheck.jobs.names import check_line
    from pitchcheck.workflow.jobs.compared import compare_job, sound_job
    from pitchcheck.workflow.jobs.report import Extras, Reader, intake_report, job_report

    if wanted.reader not in set(Reader):
        raise BadValue("A report is for the tech or for the player. Choose one.")
    reader = Reader(wanted.reader)
    extras = Extras(check_line("workshop", wanted.workshop), wanted.signature)
    job = sound_job(folder)
    if len(job.counted) == 1 and wanted.before is None and wanted.after is None:
        return intake_report(job, now=now, reader=reader, names=wanted.names, extras=extras)
    found = compare_job(job, before=wanted.before, after=wanted.after)
    return job_report(found, now=now, reader=reader, names=wanted.names, clips=wanted.sound, extras=extras)


def session_report_page(folder: Path) -> str:
    """Return the report of a session as it stands."""
    from pitchcheck.report.render import render_page
    from pitchcheck.workflow.measure import measure_folder

    return render_page(measure_folder(folder))


def session_now(folder: Path) -> str:
    """Return what is known of the nut of a session, as a piece of a page."""
    from pitchcheck.workflow.measure import measure_folder

    return render("nut.jinja", nut=draw_nut_so_far(measure_folder(folder)))


def label_recordings(paths: Sequence[Path], said: MemoWish) -> Path:
    """Find out what was played in recordings, and measure; return the folder of the session."""
    from pitchcheck.workflow.recordings import measure_kept

    return measure_kept(paths, said)


def check_lines(folder: Path, fingerprint: str) -> tuple[str, ...]:
    """Compare every byte of a job with its sums; return what was found in words.

    A fingerprint, as on an earlier report, is looked for if it is not empty.
    """
    from pitchcheck.jobs.verify import find_fingerprint, verify_job
    from pitchcheck.workflow.jobs.lines import fingerprint_line, verify_lines

    known = [fingerprint_line(find_fingerprint(folder, fingerprint))] if fingerprint else []
    return (*known, *verify_lines(verify_job(folder)))


def tidy_lines(folder: Path) -> tuple[str, ...]:
    """Finish a write that was cut short; return what was done and what others left, in words."""
    from pitchcheck.jobs.change import finish_change
    from pitchcheck.jobs.leftovers import leftovers

    done = ["A write that was cut short after it counted was finished."] if finish_change(folder) else []
    found = leftovers(folder)
    for item in found:
        files = "1 file" if len(item.files) == 1 else f"{len(item.files)} files"
        size = f"{item.size_bytes / 1e6:.1f} MB"
        done.append(
            f"{item.path.name}: {files}, {size}, copies that never became part of the job. "
            "They are kept; look into that folder for takes you need."
        )
    return (*done, *([] if found else ["Nothing was left over."]))


def write_archive(folder: Path, target: Path, names: bool, room: bool, title: str | None) -> Sequence[str]:
    """Write a job into one archive; return what was left out of it and what is still there."""
    from pitchcheck.workflow.jobs.export import Without, export

    done = export(folder, target, without=Without(names=not names, room=not room), title=title)
    return (*done.left_out, *done.still_there)


def read_archive(jobs: Path, archive: Path) -> str:
    """Unpack an exported job; return its id."""
    from pitchcheck.jobs.archive import import_job

    return import_job(jobs, archive).id
