"""A job on one screen of 80 x 24: who and what, the passes, each slot as it stands, and last the amounts.

Conventions: ready lines; the table is that of the end of a measurement, with the pass that heard each string.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.records import Job, StoredPass
from pitchcheck.report.text_table import aligned, gauged
from pitchcheck.units import LengthUnit
from pitchcheck.words import lists, numbers
from pitchcheck.words.checklist import CHECKLIST
from pitchcheck.workflow.jobs.now import JobNow
from pitchcheck.workflow.jobs.result_file import read_result

MOST_PASSES = 4  # shown one by one
MOST_QUOTED = 70  # letters of the owner's words


def screen_lines(job: Job, now: JobNow | None) -> Iterator[str]:
    """Yield a job as it stands, for one screen: who and what, passes in a line each, slots, amounts last."""
    yield job.title
    said = (job.instrument, job.serial and f"serial {job.serial}", job.customer and f"of {job.customer}")
    if any(said):
        yield "  " + "; ".join(words for words in said if words)
    if job.owner_words:
        yield f'  "{" ".join(job.owner_words.split())[:MOST_QUOTED]}"'
    yield f"  {job.folder}"
    yield f"  fingerprint {job.fingerprint or 'none'}"
    if len(job.passes) > MOST_PASSES:
        yield f"{len(job.passes) - MOST_PASSES} earlier passes: --all"
    yield from (_pass_in_short(stored) for stored in job.passes[-MOST_PASSES:])
    yield from _work_in_short(job)
    for fault in job.faults:
        yield f"FAULT: {fault} Run: pitchcheck job verify {job.id}"
    for name in job.unfinished:
        yield f"Cut short: {name} (pitchcheck job tidy {job.id} says what it is)"
    if now is None:
        yield f"No pass yet. Listen: pitchcheck listen FOLDER --kind KIND --job {job.id}"
        return
    yield from _now_table(now)
    yield _amounts(now)


def _pass_in_short(stored: StoredPass) -> str:
    """Return one pass in a line: its name, what was heard, what had come off."""
    start = f"Pass {stored.number}, {stored.name}, {stored.when:%Y-%m-%d}"
    if stored.aside is not None:
        return f"{start}: SET ASIDE, does not count: {stored.aside.reason}"
    try:
        heard = [slot.number for slot in read_result(stored.folder).slots if slot.heard]
    except JobDamaged as error:
        return f"{start}: FAULT: {error}"
    told = lists.strings(heard) if heard else "nothing"
    parts = ", ".join(numbers.figure(r.amount_mm, unit=LengthUnit.MM) for r in stored.removed)
    off = f"{parts} mm off {lists.strings([r.string for r in stored.removed])}" if parts else ""
    changed = f"; changed: {stored.changed}" if stored.changed else ""
    return f"{start}: heard {told}{f'; filed before it: {off}' if off else ''}{changed}"


def _work_in_short(job: Job) -> Iterator[str]:
    """Yield one line of what else is kept, if anything is."""
    done = sum(line.done for line in job.last_steps().values())
    kept = [
        f"{done} of {len(CHECKLIST)} steps done" if done else "",
        f"{len(job.notes)} note{'s' if len(job.notes) > 1 else ''}" if job.notes else "",
        f"{len(job.gauge)} gauge reading{'s' if len(job.gauge) > 1 else ''}" if job.gauge else "",
    ]
    if any(kept):
        yield f"{', '.join(words for words in kept if words)}: --all"


def _now_table(now: JobNow) -> Iterator[str]:
    """Yield the table of slots, the gap over fret 1 as a leaf tells it, and the pass that heard each."""
    unit = now.unit
    heads = ["String", "now", "90 % sure", "stop at", "Slot is", "Off now", "heard in"]
    rows = []
    for stored, slot in now.slots:
        gap, between = numbers.UNKNOWN, numbers.UNKNOWN
        if slot.clearance_mm is not None:
            median, low, high = slot.clearance_mm
            gap = "none" if median <= 0 else numbers.figure(median, unit=unit)
            ends = (numbers.figure(max(mm, 0.0), unit=unit) for mm in (low, high))
            between = "on the fret" if median <= 0 else " to ".join(ends)
        off = numbers.removal(slot.remove_now_mm, unit=unit) if slot.remove_now_mm > 0 else "nothing"
        if slot.remove_now_mm > 0 and now.result.nut_bottom is not None:
            off = "see below"
        row = [
            f"{slot.number} {slot.note}",
            gap,
            between,
            numbers.figure(now.stop_at_mm[slot.number], unit=unit),
            "not measured" if slot.height_mm is None else slot.verdict,
            off,
            f"pass {stored.number}",
        ]
        rows.append(row)
    if now.gauged:
        heads.insert(3, "gauged")
        for (_, slot), row in zip(now.slots, rows, strict=True):
            reading = now.gauged.get(slot.number)
            row.insert(3, numbers.UNKNOWN if reading is None else gauged(reading, unit))
        heads[-1] = "pass"
        for row in rows:
            row[-1] = row[-1].removeprefix("pass ")
    yield f"{'':8}Gap over fret 1 with the string held at fret 3, in {unit}"
    yield from aligned((heads, *rows))


def _amounts(now: JobNow) -> str:
    """Return what may come off, as the last pass and later gauge readings say."""
    unit, bottom = now.unit, now.result.nut_bottom
    since = "" if not now.last.gauge else " and the gauge after it"
    if bottom is not None:
        ends = (numbers.removal(mm, unit=unit) for mm in (bottom.bass_mm, bottom.treble_mm))
        bass, treble = ends
        where = f"bass end {bass}, treble end {treble}"
        return f"By pass {now.last.number}{since}, off the bottom of the nut at most: {where}."
    groups: dict[str, list[int]] = {}
    for _, slot in now.slots:
        if slot.remove_now_mm > 0:
            groups.setdefault(numbers.removal(slot.remove_now_mm, unit=unit), []).append(slot.number)
    if not groups:
        return f"By pass {now.last.number}{since}: file nothing."
    parts = ", ".join(f"{lists.strings(few)}: {amount}" for amount, few in groups.items())
    return f"By pass {now.last.number}{since}, off the slot at most: {parts}."
