"""The report of a job: what it is made from, and the view that its page shows.

Conventions: text is ready to be shown; numbers are unrounded and only drawn. Lengths in mm, shown in the unit
of the settings.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.chords import chord_table
from pitchcheck.compare import Comparison
from pitchcheck.compare.records import SlotChange
from pitchcheck.instrument import Handedness, Removal
from pitchcheck.measurement import Measurement
from pitchcheck.report import chord_words
from pitchcheck.report.job import tables
from pitchcheck.report.job.about import NOTHING_ABOUT, About, AboutView, about_view, gauge_sentence
from pitchcheck.report.neck import neck_change_view
from pitchcheck.report.records import NeckView, SlotPicture, Table
from pitchcheck.report.slots import change_picture
from pitchcheck.units import LengthUnit
from pitchcheck.words import comparison as change_words
from pitchcheck.words import numbers, phrases, slot_change
from pitchcheck.words.assumptions import assumption, heard_in, weakness

SOUND_TYPE = "audio/flac"


@dataclass(frozen=True)
class Snippet:
    """Sound of one string before and after, open string then first fret; FLAC as in a file."""

    number: int
    note: str
    before: bytes
    after: bytes


@dataclass(frozen=True)
class PassInput:
    """One pass as it is told. ``removed`` is what was told to have come off since the one before."""

    name: str
    when: str | None
    takes: int
    removed: tuple[Removal, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class JobReportInput:
    """Everything that a job's report tells; names and notes that are to be left out are not in it.

    ``after`` is the later of the two passes compared.
    """

    title: str
    passes: tuple[PassInput, ...]
    after: Measurement
    comparison: Comparison
    about: About = NOTHING_ABOUT
    notes: tuple[str, ...] = ()
    done: tuple[str, ...] = ()
    fingerprint: str | None = None
    made: str | None = None
    snippets: tuple[Snippet, ...] = ()


@dataclass(frozen=True)
class Listen:
    """One string to be heard; the two sounds as data addresses."""

    title: str
    before: str
    after: str
    words: str


@dataclass(frozen=True)
class JobView:
    """The whole report, top to bottom."""

    title: str
    made: str
    headline: str
    alarm: tuple[str, ...]  # what must be put right; empty if nothing
    summary: tuple[str, ...]
    player_summary: tuple[str, ...]  # without what only the workshop can look at
    owner: tuple[tuple[str, str], ...]
    improved: Table | None
    rows: tuple[tables.ChangeRow, ...]
    pictures: tuple[SlotPicture, ...]
    scale_mm: float
    neck: NeckView | None
    tolerance: str  # what "no change" means
    work: tuple[tuple[str, tuple[str, ...]], ...]  # pass by pass: its name, and what was done
    done: tuple[str, ...]
    notes: tuple[str, ...]
    chords: Table | None
    chord_groups: Table | None
    chords_line: str
    listen: tuple[Listen, ...]
    takes: Table | None
    repeats: Table | None
    repeats_line: str
    assumed: tuple[str, ...]
    remarks: tuple[str, ...]
    fingerprint: str
    left_handed: bool
    about: AboutView
    gauge_beside: tuple[str, ...]  # readings that are not in the table of what changed


def job_view(given: JobReportInput) -> JobView:
    """Return everything that a job report shows."""
    comparison, settings = given.comparison, given.after.settings
    slots, unit = comparison.strings, settings.unit
    pairs = (comparison.before, comparison.after)
    first, second = (() if fit is None else chord_table(settings.instrument, fit) for fit in pairs)
    tolerance = settings.target.tolerance_mm
    about = about_view(given.about, unit=unit)
    return JobView(
        title=f"Nut work: {given.title}",
        made=given.made or "",
        headline=change_words.headline(slots),
        alarm=change_words.alarm(slots),
        summary=change_words.summary(comparison, unit=unit, amounts=False),
        player_summary=change_words.summary(comparison, unit=unit, amounts=False, checks=False),
        owner=about.pairs,
        improved=tables.improved_table(comparison, given.about.gauge, unit=unit),
        rows=tuple(tables.change_row(s, tolerance_mm=tolerance, unit=unit) for s in slots),
        pictures=tuple(change_picture(s, settings=settings) for s in slots),
        scale_mm=settings.instrument.scale_mm,
        neck=neck_change_view(comparison, instrument=settings.instrument),
        tolerance=numbers.length(tolerance, unit=unit),
        work=tuple(_work(one, first=i == 0, unit=unit) for i, one in enumerate(given.passes)),
        done=given.done,
        notes=given.notes,
        chords=chord_words.chord_change_words(first, second),
        chord_groups=chord_words.chord_group_words(first, second),
        chords_line=chord_words.chords_summary(first, second),
        listen=tuple(_listen(snippet, slots, unit) for snippet in given.snippets),
        takes=tables.takes_table(comparison),
        repeats=tables.repeats_table(comparison),
        repeats_line=tables.repeats_line(comparison),
        assumed=tuple(map(assumption, comparison.assumptions)),
        remarks=(*map(weakness, comparison.weaknesses), *map(heard_in, comparison.heard_in)),
        fingerprint=grouped(given.fingerprint),
        left_handed=settings.instrument.hand is Handedness.LEFT,
        about=about,
        gauge_beside=tuple(
            gauge_sentence(r, unit=unit) for r in given.about.gauge if not tables.in_improved(r, comparison)
        ),
    )


def _work(one: PassInput, *, first: bool, unit: LengthUnit) -> tuple[str, tuple[str, ...]]:
    """Return one pass: its name and date, and what was done before it."""
    name = phrases.sentence(one.name) + (f", {one.when}" if one.when else "")
    lines = ["One note was heard." if one.takes == 1 else f"{one.takes} notes were heard."]
    if one.removed:
        parts = [f"string {r.string}: {numbers.length(r.amount_mm, unit=unit)}" for r in one.removed]
        lines.insert(0, f"Filed off, as noted: {'; '.join(parts)}.")
    elif not first:
        lines.insert(0, "Nothing was noted as filed off.")
    return name, (*lines, *one.notes)


def _listen(snippet: Snippet, slots: Sequence[SlotChange], unit: LengthUnit) -> Listen:
    """Return one string's two sounds."""
    slot = next(s for s in slots if s.number == snippet.number)
    before, after = (
        f"data:{SOUND_TYPE};base64,{base64.b64encode(sound).decode('ascii')}"
        for sound in (snippet.before, snippet.after)
    )
    title = f"String {snippet.number} ({snippet.note})"
    return Listen(title, before, after, f"Slot: {slot_change.changed(slot, unit=unit)}.")


def grouped(fingerprint: str | None) -> str:
    """Return a fingerprint in groups of eight, as a person reads it."""
    whole = fingerprint or ""
    return " ".join(whole[i : i + 8] for i in range(0, len(whole), 8))
