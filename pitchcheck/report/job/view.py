"""From a job's story to the view of its report; pure, so that every word can be tested without HTML."""

from __future__ import annotations

import base64
from collections.abc import Sequence

from pitchcheck.chords import chord_table
from pitchcheck.compare.records import SlotChange
from pitchcheck.fit.result import StringFit
from pitchcheck.instrument import Removal
from pitchcheck.report.chord_words import chord_change_words, chord_group_words, chords_summary
from pitchcheck.report.job import tables as job_tables
from pitchcheck.report.job import words as job_words
from pitchcheck.report.job.records import ChangePicture, JobStory, JobView, Listen, PassStory, Snippet
from pitchcheck.report.job.summary import alarm, headline, summary
from pitchcheck.report.page.records import NeckString, NeckView
from pitchcheck.words import numbers

SOUND_TYPE = "audio/flac"


def job_view(story: JobStory) -> JobView:
    """Return everything that a job report shows.

    Parameters
    ----------
    story : JobStory
        Names and notes that are to be left out are not in it.
    """
    comparison = story.comparison
    instrument = story.after.settings.instrument
    pairs = (comparison.before, comparison.after)
    first, second = (() if fit is None else chord_table(instrument, fit) for fit in pairs)
    tolerance = story.after.settings.target.tolerance_mm
    return JobView(
        title=f"Nut work: {story.title}",
        made=story.made or "",
        headline=headline(comparison.strings),
        alarm=alarm(comparison.strings),
        summary=summary(story),
        owner=_owner(story),
        rows=tuple(job_tables.change_row(s, tolerance_mm=tolerance) for s in comparison.strings),
        pictures=tuple(_picture(s, story) for s in comparison.strings),
        scale_mm=instrument.scale_mm,
        neck=_neck(story),
        tolerance=numbers.mm(tolerance),
        work=tuple(_work(one, first=i == 0) for i, one in enumerate(story.passes)),
        done=story.done,
        notes=story.notes,
        chords=chord_change_words(first, second),
        chord_groups=chord_group_words(first, second),
        chords_line=chords_summary(first, second),
        listen=tuple(_listen(snippet, comparison.strings) for snippet in story.snippets),
        takes=job_tables.takes_table(comparison),
        repeats=job_tables.repeats_table(comparison),
        repeats_line=job_tables.repeats_line(comparison),
        assumed=comparison.assumed,
        remarks=comparison.notes,
        fingerprint=_grouped(story.fingerprint),
    )


def _owner(story: JobStory) -> tuple[tuple[str, str], ...]:
    """Return who brought the instrument, and what they said."""
    said = (("Brought by", story.owner), ("Said to be wrong", story.owner_words))
    return tuple((name, words) for name, words in said if words)


def _work(one: PassStory, *, first: bool) -> tuple[str, tuple[str, ...]]:
    """Return one pass: its name and date, and what was done before it."""
    name = f"{one.name[:1].upper()}{one.name[1:]}" + (f", {one.when}" if one.when else "")
    heard = "One take was heard." if one.takes == 1 else f"{one.takes} takes were heard."
    if one.removed:
        lines = [_filed(one.removed), heard]
    else:
        lines = [heard] if first else ["Nothing was noted as filed off.", heard]
    return name, (*lines, *one.notes)


def _filed(removed: Sequence[Removal]) -> str:
    """Return what was told to have come off."""
    parts = [f"string {r.string}: {numbers.length(r.amount_mm)}" for r in removed]
    return f"Filed off, as noted: {'; '.join(parts)}."


def _picture(slot: SlotChange, story: JobStory) -> ChangePicture:
    """Return one slot's side view."""
    spec = story.after.settings.instrument.string(slot.number)
    _, word = job_words.state(slot)
    known = [numbers.mm(h.median) for h in (slot.before_mm, slot.after_mm) if h is not None]
    name = "Before, now" if len(known) == 2 else "Now"
    lines = [(name, " → ".join(known) or numbers.UNKNOWN), ("Change", job_words.changed(slot))]
    lines.append(("Should be", numbers.mm(slot.target_mm)))
    return ChangePicture(
        number=slot.number,
        note=slot.note,
        title=f"String {slot.number} ({slot.note}), slot in side view before and now: {word}",
        desc=" ".join(f"{name}: {value}." for name, value in lines),
        wound=spec.wound,
        before_mm=None if slot.before_mm is None else slot.before_mm.median,
        after_mm=None if slot.after_mm is None else slot.after_mm.median,
        target_mm=slot.target_mm,
        floor_mm=slot.floor_mm,
        low_mm=None if slot.after_mm is None else slot.after_mm.low,
        high_mm=None if slot.after_mm is None else slot.after_mm.high,
        lines=tuple(lines),
    )


def _neck(story: JobStory) -> NeckView | None:
    """Return the notes over the neck now (solid) and before (dashed), or None without a comparison."""
    comparison = story.comparison
    if comparison.before is None or comparison.after is None:
        return None
    compared = {s.number for s in comparison.strings if s.change_mm is not None}
    was = {s.number: s for s in comparison.before.strings if s.number in compared}
    now = {s.number: s for s in comparison.after.strings if s.number in compared}
    instrument = story.after.settings.instrument
    strings = tuple(
        NeckString(
            number=spec.number,
            note=spec.note,
            wound=spec.wound,
            gauge_mm=spec.gauge_mm,
            now=_curve(now.get(spec.number)),
            target=_curve(was.get(spec.number)),
            label=_label(was.get(spec.number), now.get(spec.number)),
        )
        for spec in instrument.strings
    )
    sentences = [
        f"String {s.number}, fret 1: {numbers.cents(s.target[0])} before, {numbers.cents(s.now[0])} now."
        for s in strings
        if s.now is not None and s.target is not None
    ]
    return NeckView(strings=strings, scale_mm=instrument.scale_mm, summary=" ".join(sentences))


def _curve(fit: StringFit | None) -> tuple[float, ...] | None:
    return None if fit is None else tuple(float(value) for value in fit.neck_now_cents)


def _label(was: StringFit | None, now: StringFit | None) -> str | None:
    """Return the error at fret 1 before and now: ``"+14.2 → +6.1"``."""
    if was is None or now is None:
        return None
    ends = (float(fit.neck_now_cents[0]) for fit in (was, now))
    return " → ".join(numbers.rounded(x, decimals=numbers.CENT_DECIMALS, signed=True) for x in ends)


def _listen(snippet: Snippet, slots: Sequence[SlotChange]) -> Listen:
    """Return one string's two sounds."""
    slot = next(s for s in slots if s.number == snippet.number)
    before, after = (
        f"data:{SOUND_TYPE};base64,{base64.b64encode(sound).decode('ascii')}"
        for sound in (snippet.before, snippet.after)
    )
    return Listen(
        title=f"String {snippet.number} ({snippet.note})",
        before=before,
        after=after,
        words=f"Slot: {job_words.changed(slot)}.",
    )


def _grouped(fingerprint: str | None) -> str:
    """Return a fingerprint in groups of eight, as a person reads it."""
    if not fingerprint:
        return ""
    return " ".join(fingerprint[i : i + 8] for i in range(0, len(fingerprint), 8))
