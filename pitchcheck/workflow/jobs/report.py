"""A job's passes compared, and its report written out; nothing is heard again.

Conventions: the passes compared are the first and the last that count, or two that are named. Each string is
taken from the last pass up to either that heard it (before: the first after it, if none did), so that a pass
over one string does not hide what was heard of the others.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from pitchcheck.errors import BadValue
from pitchcheck.instrument import MeterQuantity, MeterReading
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.layout import plain_file
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import GaugeReading, Job, StoredPass
from pitchcheck.jobs.verify import verify_job
from pitchcheck.measurement import Measurement
from pitchcheck.session.folder import read_session
from pitchcheck.takes import Stop
from pitchcheck.words.checklist import CHECKLIST
from pitchcheck.workflow.jobs.result_file import earlier_passes, last_heard, stored_pass
from pitchcheck.workflow.measure import conclude

if TYPE_CHECKING:
    from pitchcheck.compare import Comparison
    from pitchcheck.compare.records import Repeats
    from pitchcheck.fit.result import Fit
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
class Compared:
    """Two passes of a job compared.

    Attributes
    ----------
    job : Job
    passes : tuple of StoredPass
        From the one to the other, those set aside left out.
    heard_in : dict of int to tuple of StoredPass
        The two passes that each string was compared in, by number; only strings heard in two.
    after : Measurement
        Of the last of the passes.
    comparison : Comparison
    """

    job: Job
    passes: tuple[StoredPass, ...]
    heard_in: dict[int, tuple[StoredPass, StoredPass]]
    after: Measurement
    comparison: Comparison


def sound_job(folder: Path) -> Job:
    """Return a job whose every byte is as it was written; raise JobDamaged for another.

    A report would vouch for it.
    """
    checked = verify_job(folder)
    if not checked.sound:
        raise JobDamaged(
            f"{folder.name} is not as it was written, so nothing is reported from it. "
            f"See what changed with: pitchcheck job verify {folder.name}"
        )
    return replace(read_job(folder), fingerprint=checked.fingerprint)


def measurement_of(stored: StoredPass, *, before: Sequence[StoredPass] = ()) -> Measurement:
    """Return the measurement of a sealed pass, from its stored readings.

    Parameters
    ----------
    stored : StoredPass
    before : sequence of StoredPass
        The passes before it in the job, in order; what ``[before]`` of the settings names is not followed.

    Raises
    ------
    JobDamaged
        If the stored result cannot be read.
    NothingMeasured
        If its settings cannot be used.
    """
    this = stored_pass(stored)
    return conclude(this, earlier_passes(() if stored.changed else before), this.problems)


def last_measurement(folder: Path) -> Measurement:
    """Return what all passes of a job and its gauge readings tell together; of a job with a pass."""
    counted = read_job(folder).counted
    return measurement_of(counted[-1], before=counted[:-1])


def compare_job(job: Job, *, before: str | None = None, after: str | None = None) -> Compared:
    """Compare two passes of a job: the first and the last, or those named.

    Parameters
    ----------
    job : Job
        With at least two passes that count. What was told to have come off is added up over all passes
        between the two.
    before, after : str, optional
        Names or numbers of passes.

    Raises
    ------
    BadValue
        If there are not two passes, no pass has that name, the two are in the wrong order, or they are not of
        one instrument.
    JobDamaged
        If a stored result cannot be read.
    """
    from pitchcheck.compare import compare_measurements
    from pitchcheck.compare.records import HeardIn

    passes = job.counted
    start, end = _chosen(job, before, after)
    heard = [{s.take.position.string for s in stored_pass(p).survey.stopped} for p in passes]

    @cache
    def measured(index: int) -> Measurement:
        return measurement_of(passes[index], before=passes[:index])

    @cache
    def compared(first: int, last: int) -> Comparison:
        told = [removal for one in passes[first + 1 : last + 1] for removal in one.removed]
        return compare_measurements(measured(first), measured(last), told=told)

    last_measured = measured(end)
    pairs: dict[int, tuple[int, int]] = {}
    for spec in last_measured.settings.instrument.strings:
        told_in = [i for i in range(end + 1) if spec.number in heard[i]]
        early = [i for i in told_in if i <= start] or [i for i in told_in[:1] if i < end]
        pairs[spec.number] = (early[-1] if early else start, told_in[-1] if told_in else end)
    pairs = {n: (first, last) if first < last else (start, end) for n, (first, last) in pairs.items()}
    usual = max(sorted(set(pairs.values())), key=list(pairs.values()).count)
    comparison = _joined(
        {n: compared(*pair) for n, pair in pairs.items()},
        compared(*usual),
        before=measured(start).fit,
        after=last_measured.fit,
    )
    heard_in = {
        n: (passes[first], passes[last])
        for n, (first, last) in pairs.items()
        if n in heard[first] and n in heard[last]
    }
    named = tuple(
        HeardIn(n, first.name, last.name)
        for n, (first, last) in heard_in.items()
        if (first, last) != (passes[start], passes[end])
    )
    comparison = replace(comparison, heard_in=named)
    return Compared(job, passes[start : end + 1], heard_in, last_measured, comparison)


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


def _chosen(job: Job, before: str | None, after: str | None) -> tuple[int, int]:
    """Return the places of the two passes among those that count."""
    passes = job.counted
    if len(passes) < 2:
        many = "no pass yet" if not passes else "one pass"
        add = "Add the pass after the work" if passes else f"Listen: pitchcheck listen FOLDER --job {job.id}"
        raise BadValue(f"{job.id} has {many}; two are needed to compare. {add}.")
    found = []
    for word, usual in ((before, passes[0]), (after, passes[-1])):
        stored = usual if word is None else job.find_pass(word)
        if stored.aside is not None:
            raise BadValue(f"pass {stored.name!r} was set aside ({stored.aside.reason}). Name another.")
        found.append(passes.index(stored))
    if found[0] >= found[1]:
        first, last = (passes[i].name for i in found)
        raise BadValue(f"pass {first!r} does not come before {last!r}. Name the earlier pass first.")
    return found[0], found[1]


def _joined(
    of_string: dict[int, Comparison], usual: Comparison, *, before: Fit | None, after: Fit | None
) -> Comparison:
    """Return one comparison with each string from its own.

    What is of no string is that of all together: the repeats of every comparison, the widest scatter, and in
    the fits what all passes up to either end tell of frets, nut and neck.
    """
    if all(one is usual for one in of_string.values()):
        return usual
    every = list({id(one): one for one in (usual, *of_string.values())}.values())
    return replace(
        usual,
        strings=tuple(next(s for s in one.strings if s.number == n) for n, one in of_string.items()),
        repeats=_joined_repeats([one.repeats for one in every]),
        scatter=max(one.scatter for one in every),
        assumptions=tuple(dict.fromkeys(what for one in every for what in one.assumptions)),
        weaknesses=tuple(dict.fromkeys(what for one in every for what in one.weaknesses)),
        before=_joined_fit({n: one.before for n, one in of_string.items()}, before),
        after=_joined_fit({n: one.after for n, one in of_string.items()}, after),
    )


def _joined_repeats(found: Sequence[tuple[Repeats, ...]]) -> tuple[Repeats, ...]:
    """Return the repeats of several comparisons together: pairs added up, scatters by their mean square."""
    from pitchcheck.compare.records import Repeats

    groups: dict[tuple[Stop, int], list[Repeats]] = {}
    for one in (repeats for few in found for repeats in few):
        groups.setdefault((one.stop, one.fret), []).append(one)
    together = []
    for (stop, fret), few in sorted(groups.items()):
        pairs = sum(one.pairs for one in few)
        sd, expected = (
            math.sqrt(sum(one.pairs * sd**2 for one, sd in zip(few, those, strict=True)) / pairs)
            for those in ([one.sd_cents for one in few], [one.expected_cents for one in few])
        )
        together.append(Repeats(stop, fret, pairs, sd, expected))
    return tuple(together)


def _joined_fit(of_string: dict[int, Fit | None], whole: Fit | None) -> Fit | None:
    """Return a fit of a whole pass whose strings are each from its own comparison, where there is one."""
    if whole is None:
        return None
    own = {n: s for n, fit in of_string.items() if fit is not None for s in fit.strings if s.number == n}
    return replace(whole, strings=tuple(own.get(s.number, s) for s in whole.strings))


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
