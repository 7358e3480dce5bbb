"""The report of a job and its intake page, written out from what is kept of its passes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from typing import TYPE_CHECKING

from pitchcheck.errors import BadValue
from pitchcheck.instrument import MeterQuantity, MeterReading
from pitchcheck.jobs.layout import plain_file
from pitchcheck.jobs.records import GaugeReading, Job, StoredPass
from pitchcheck.session.folder import read_session
from pitchcheck.words.checklist import CHECKLIST
from pitchcheck.workflow.jobs.compared import Compared, measurement_of
from pitchcheck.workflow.jobs.result_file import last_heard

if TYPE_CHECKING:
    from pitchcheck.report.job.about import About, GaugeInput, Photo
    from pitchcheck.report.job.view import PassInput, Snippet

MOST_PHOTO_BYTES = 2_000_000  # of all pictures of a page together; our choice
PHOTO_KINDS = {".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png", ".webp": "image/webp"}
PLAYER_STRINGS = 3  # [-] strings to be heard on the player's page; our choice


class Reader(StrEnum):
    """For whom a report is written."""

    TECH = "tech"  # everything, two sheets of paper
    PLAYER = "player"  # one sheet: how it was, how it is, what was done


@dataclass(frozen=True)
class Extras:
    """What a page carries on request: a line of the workshop, a place for date and signature."""

    workshop: str | None = None
    signature: bool = False


def job_report(
    compared: Compared,
    *,
    now: datetime,
    reader: Reader = Reader.TECH,
    names: bool = True,
    clips: bool = True,
    extras: Extras | None = None,
) -> str:
    """Return the report of a job as one HTML page.

    Parameters
    ----------
    compared : Compared
    now : datetime
        Date of the report.
    reader : Reader
    names : bool
        False leaves out the title, the owner, the owner's words, all bench notes and the checklist with
        its notes; what the settings call the instrument takes the place of the title.
    clips : bool
        False leaves out the sound.
    extras : Extras, optional
    """
    from pitchcheck.report.job.view import JobReportInput
    from pitchcheck.report.render import render_job

    job = compared.job
    given = JobReportInput(
        title=job.title if names else compared.after.settings.instrument.kind,
        passes=tuple(_told(one, notes=names and reader is Reader.TECH) for one in compared.passes),
        after=compared.after,
        comparison=compared.comparison,
        about=_about(job, extras or Extras(), names=names),
        notes=tuple(f"{note.when:%Y-%m-%d}: {note.words}" for note in job.notes) if names else (),
        done=steps_done(job) if names else (),
        fingerprint=job.fingerprint,
        made=f"{now:%Y-%m-%d}",
        snippets=_snippets(compared, reader=reader) if clips else (),
    )
    return render_job(given, reader=reader.value)


def intake_report(
    job: Job,
    *,
    now: datetime,
    reader: Reader = Reader.TECH,
    names: bool = True,
    extras: Extras | None = None,
) -> str:
    """Return the page of a job with one pass: how the instrument came in, and what is proposed.

    Raises
    ------
    BadValue
        If it has no pass that counts.
    """
    from pitchcheck.report.render import render_intake

    if not job.counted:
        raise BadValue(
            f"{job.id} has no pass yet, so there is nothing to report. Listen: pitchcheck listen FOLDER "
            f"--job {job.id}"
        )
    measurement = measurement_of(job.counted[-1])
    return render_intake(
        measurement,
        title=job.title if names else measurement.settings.instrument.kind,
        made=f"{now:%Y-%m-%d}",
        about=_about(job, extras or Extras(), names=names),
        fingerprint=job.fingerprint,
        reader=reader.value,
    )


def _about(job: Job, extras: Extras, *, names: bool) -> About:
    """Return what is said beside the sound; without names only gauge readings and the workshop's line."""
    from pitchcheck.report.job.about import About

    gauge = gauge_readings(job)
    if not names:
        return About(gauge=gauge, workshop=extras.workshop, signature=extras.signature)
    return About(
        owner=job.customer,
        owner_words=job.owner_words,
        instrument=job.instrument,
        serial=job.serial,
        workshop=extras.workshop,
        photos=_photos(job),
        gauge=gauge,
        signature=extras.signature,
    )


def _photos(job: Job) -> tuple[Photo, ...]:
    """Return the pictures that a page can carry, those of the passes first; large ones stay in the job."""
    from pitchcheck.report.job.about import Photo

    named = [(f"{p.name}, {path.name}", path) for p in job.counted for path in p.photos]
    named += [(f"step {s.name}", job.folder / s.photo) for s in job.last_steps().values() if s.photo]
    found: list[Photo] = []
    left = MOST_PHOTO_BYTES
    for title, path in named:
        kind, file = PHOTO_KINDS.get(path.suffix.lower()), plain_file(path.parent, path.name)
        if kind is None or file is None or file.stat().st_size > left:
            continue
        left -= file.stat().st_size
        found.append(Photo(title[:1].upper() + title[1:], kind, file.read_bytes()))
    return tuple(found)


def gauge_readings(job: Job) -> tuple[GaugeInput, ...]:
    """Return every gauge reading of a job, those in the settings of its passes first, beside the sound."""
    from pitchcheck.report.job.about import GaugeInput

    names = {p.number: p.name for p in job.passes}
    found: list[tuple[int, GaugeReading]] = [
        (p.number, _as_told(reading, p)) for p in job.counted for reading in _meter(p)
    ]
    found += [(reading.after_pass, reading) for reading in job.gauge]
    return tuple(
        GaugeInput(
            what=reading.what,
            string=reading.string,
            value=reading.value,
            passes=reading.passes,
            stops=reading.stops,
            after=names.get(number, ""),
            heard_mm=_heard_gap_mm(job, number, reading),
        )
        for number, reading in found
    )


def _meter(stored: StoredPass) -> tuple[MeterReading, ...]:
    return read_session(stored.folder).settings.meter


def _as_told(reading: MeterReading, stored: StoredPass) -> GaugeReading:
    """Return a reading of a pass's settings like one of the job."""
    leaf = reading.passes_mm is not None or reading.stops_mm is not None
    return GaugeReading(
        when=stored.when,
        after_pass=stored.number,
        what=reading.what,
        string=reading.string,
        value=None if leaf else f"{reading.value_mm:.2f} mm",
        passes=None if reading.passes_mm is None else f"{reading.passes_mm:.2f} mm",
        stops=None if reading.stops_mm is None else f"{reading.stops_mm:.2f} mm",
    )


def _heard_gap_mm(job: Job, number: int, reading: GaugeReading) -> tuple[float, float, float] | None:
    """Return the gap over fret 1 that the sound told up to a pass, where that is what was gauged. [mm]"""
    if reading.what is not MeterQuantity.CLEARANCE_THIRD or reading.string is None:
        return None
    told = last_heard(replace(job, passes=tuple(p for p in job.passes if p.number <= number)))
    return told[reading.string][1].clearance_mm if reading.string in told else None


def steps_done(job: Job) -> tuple[str, ...]:
    """Return the steps of the checklist that are done, one line each, in the checklist's order."""
    last = job.last_steps()
    lines = []
    for step in CHECKLIST:
        line = last.get(step.name)
        if line is not None and line.done:
            told = "; ".join(words for words in (line.measured, line.note) if words)
            lines.append(f"{step.title}{': ' if told else ''}{told}")
    return tuple(lines)


def _told(one: StoredPass, *, notes: bool) -> PassInput:
    """Return a pass as it is told."""
    from pitchcheck.report.job.view import PassInput

    remarks = (one.remarks,) if notes and one.remarks else ()
    return PassInput(one.name, f"{one.when:%Y-%m-%d}", one.takes, one.removed, remarks)


def _snippets(compared: Compared, *, reader: Reader) -> tuple[Snippet, ...]:
    """Return the sounds: for the player of the strings that moved most, for the tech of all."""
    from pitchcheck.compare import Change
    from pitchcheck.workflow.jobs.snippets import cut_snippets

    slots = [s for s in compared.comparison.strings if s.change_mm is not None]
    order = sorted(slots, key=lambda s: -abs(s.change_mm.median if s.change_mm else 0.0))
    most = len(order)
    if reader is Reader.PLAYER:
        sure = [s for s in order if s.change in (Change.LOWER, Change.HIGHER)]
        order, most = (sure, PLAYER_STRINGS) if sure else (order, 1)
    return cut_snippets(
        [(s.number, s.note, *compared.heard_in[s.number]) for s in order if s.number in compared.heard_in],
        most=most,
    )
