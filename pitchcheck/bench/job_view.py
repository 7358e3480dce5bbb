"""A job as its page shows it at once: read from its folder, nothing is measured."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pitchcheck.bench.page_words import on_page
from pitchcheck.errors import PitchcheckError
from pitchcheck.instrument import StringSpec
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.layout import plain_file
from pitchcheck.jobs.records import Job
from pitchcheck.report.job.view import grouped
from pitchcheck.session.settings import read_settings
from pitchcheck.words.checklist import CHECKLIST, Step
from pitchcheck.workflow.jobs.lines import cut_lines, day, gauge_line, pass_lines
from pitchcheck.workflow.jobs.report import PHOTO_KINDS
from pitchcheck.workflow.jobs.result_file import StoredResult, read_result


@dataclass(frozen=True)
class PhotoLink:
    """A picture of a job by its place in ``photo_paths``; ``shown`` says that browsers can show it."""

    number: int
    name: str
    shown: bool


@dataclass(frozen=True)
class PassShown:
    """One pass: its heading, and everything that is told of it."""

    number: int
    name: str
    heading: str
    lines: tuple[str, ...]
    photos: tuple[PhotoLink, ...]
    aside: bool


@dataclass(frozen=True)
class StepShown:
    """One step of the checklist; ``said`` is its last line."""

    step: Step
    done: bool
    said: str
    cut: tuple[str, ...]
    photo: PhotoLink | None


@dataclass(frozen=True)
class JobShown:
    """Everything of a job that its page shows without measuring."""

    id: str
    title: str
    about: tuple[tuple[str, str], ...]
    owner_words: str
    fingerprint: str
    passes: tuple[PassShown, ...]
    counted: tuple[str, ...]  # names of the passes that count
    strings: tuple[StringSpec, ...]  # of the last one; empty before the first
    gauge: tuple[str, ...]
    steps: tuple[StepShown, ...]
    notes: tuple[tuple[str, str], ...]  # day and words
    faults: tuple[str, ...]
    unfinished: tuple[str, ...]


def job_shown(job: Job) -> JobShown:
    """Return a job as its page shows it."""
    paths = photo_paths(job)
    about = (("instrument", job.instrument), ("serial", job.serial), ("customer", job.customer))
    return JobShown(
        id=job.id,
        title=job.title,
        about=(*((label, words) for label, words in about if words), ("begun", day(job.made))),
        owner_words=job.owner_words or "",
        fingerprint=grouped(job.fingerprint),
        passes=tuple(_pass(job, number, paths) for number in range(len(job.passes))),
        counted=tuple(p.name for p in job.counted),
        strings=_strings(job),
        gauge=tuple(map(gauge_line, job.gauge)),
        steps=_steps(job, paths),
        notes=tuple((day(note.when), note.words) for note in job.notes),
        faults=tuple(map(on_page, job.faults)),
        unfinished=job.unfinished,
    )


def photo_paths(job: Job) -> list[Path]:
    """Return every picture of a job: those of the passes, then those of the steps."""
    named = [path for p in job.passes for path in p.photos]
    named += [job.folder / line.photo for line in job.steps if line.photo]
    return [path for path in named if plain_file(path.parent, path.name) is not None]


def photo_kind(path: Path) -> str:
    """Return the media type of a picture; empty for one that browsers do not show."""
    return PHOTO_KINDS.get(path.suffix.lower(), "")


def _link(path: Path, paths: list[Path]) -> PhotoLink | None:
    if path not in paths:
        return None
    return PhotoLink(paths.index(path), path.name, bool(photo_kind(path)))


def _pass(job: Job, index: int, paths: list[Path]) -> PassShown:
    stored = job.passes[index]
    heading, *lines = pass_lines(stored)
    links = (_link(path, paths) for path in stored.photos)
    return PassShown(
        number=stored.number,
        name=stored.name,
        heading=heading,
        lines=tuple(line.strip() for line in lines),
        photos=tuple(link for link in links if link is not None),
        aside=stored.aside is not None,
    )


def _strings(job: Job) -> tuple[StringSpec, ...]:
    if not job.counted:
        return ()
    try:
        instrument = read_settings(job.counted[-1].folder).settings.instrument
    except PitchcheckError:
        return ()  # told among the faults of the pass
    return tuple(sorted(instrument.strings, key=lambda spec: spec.number))


def _steps(job: Job, paths: list[Path]) -> tuple[StepShown, ...]:
    last, result = job.last_steps(), _last_result(job)
    shown = []
    for step in CHECKLIST:
        line = last.get(step.name)
        words = [] if line is None else [day(line.when), line.measured, line.note]
        shown.append(
            StepShown(
                step=step,
                done=line is not None and line.done,
                said="; ".join(word for word in words if word),
                cut=tuple(map(on_page, cut_lines(result))) if step.name == "height" else (),
                photo=_link(job.folder / line.photo, paths) if line and line.photo else None,
            )
        )
    return tuple(shown)


def _last_result(job: Job) -> StoredResult | None:
    try:
        return read_result(job.counted[-1].folder) if job.counted else None
    except JobDamaged:
        return None  # told with its pass
