"""A job as lines of plain text: for a terminal of 80 columns, and one by one for the bench page."""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from datetime import datetime

from pitchcheck.errors import PitchcheckError
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import HEIGHT, GaugeReading, Job, JobLine, StoredPass
from pitchcheck.jobs.verify import Checked
from pitchcheck.words import numbers
from pitchcheck.words.checklist import CHECKLIST
from pitchcheck.workflow.jobs.result_file import Cut, StoredResult, StoredSlot, last_heard, read_result

NEWEST = 40  # jobs of a list whose slots are told; reading all would take long; our choice
DOES_NOT_PROVE = (
    "This shows whether anything differs from what was written. It does not show who changed it: whoever can "
    "write the folder can make new sums. Keep the fingerprint elsewhere, on paper or with the customer."
)


def list_lines(jobs: Sequence[JobLine]) -> Iterator[str]:
    """Yield one line for each job, numbered as a command takes it."""
    width, digits = max((len(job.id) for job in jobs), default=0), len(str(len(jobs)))
    for number, job in enumerate(jobs, 1):
        start = f"{number:{digits}} {job.id:{width}}"
        if job.fault is not None:
            yield f"{start}  CANNOT BE READ: {job.fault}"
            continue
        passes = f"{job.passes} pass{'' if job.passes == 1 else 'es'}"
        last = f", last: {job.last}" if job.last else ""
        yield f"{start}  {job.title}  ({passes}{last})"
        if number > len(jobs) - NEWEST and (told := _slots_in_short(job)):
            yield f"{'':{digits}}   {told}"


def _slots_in_short(job: JobLine) -> str:
    """Return how the slots of a job stand after its last pass: "high 1, 2, 5; fine 3, 4, 6"."""
    if job.last is None:
        return ""
    try:
        result = read_result(read_job(job.folder).counted[-1].folder)
    except (PitchcheckError, IndexError):
        return ""  # named by show and verify
    words: dict[str, list[str]] = {}
    for slot in result.slots:
        words.setdefault("not measured" if slot.height_mm is None else slot.verdict, []).append(
            str(slot.number)
        )
    return "strings: " + "; ".join(f"{word} {', '.join(few)}" for word, few in words.items())


def show_lines(job: Job) -> Iterator[str]:
    """Yield everything of a job."""
    yield job.title
    yield f"  id           {job.id}"
    yield f"  folder       {job.folder}"
    yield f"  made         {day(job.made)}"
    said = (("instrument", job.instrument), ("serial", job.serial), ("customer", job.customer))
    for label, words in said:
        if words:
            yield f"  {label:12} {words}"
    if job.owner_words:
        yield "  owner says"
        yield from (f"    {line}" for line in job.owner_words.splitlines())
    if job.left_out:
        yield f"  left out     {', '.join(job.left_out)}"
    yield f"  fingerprint  {job.fingerprint or 'none'}"
    for stored in job.passes:
        yield ""
        yield from pass_lines(stored)
    if len(job.counted) > 1:
        yield ""
        yield from now_lines(job)
    if job.gauge:
        yield ""
        yield "Gauge"
        yield from (f"  {gauge_line(reading)}" for reading in job.gauge)
    if job.steps:
        yield ""
        yield from step_lines(job)
    for note in job.notes:
        yield ""
        yield f"Note {note.number}, {day(note.when)}"
        yield from (f"  {line}" for line in note.words.splitlines())
    for fault in job.faults:
        yield f"FAULT: {fault} Run: pitchcheck job verify {job.id}"
    for name in job.unfinished:
        yield f"Cut short: {name} (pitchcheck job tidy {job.id} says what it is)"


def pass_lines(stored: StoredPass) -> Iterator[str]:
    """Yield one pass: what was done, and each slot."""
    yield f"Pass {stored.number}: {stored.name}, {day(stored.when)}, {stored.takes} takes"
    if stored.aside is not None:
        yield f"  SET ASIDE, does not count: {stored.aside.reason} ({day(stored.aside.when)})"
    if stored.removed:
        off = ", ".join(f"string {r.string} {numbers.length(r.amount_mm)}" for r in stored.removed)
        yield f"  removed since the pass before: {off}"
    if stored.changed:
        yield f"  changed since the pass before: {stored.changed}"
    if stored.remarks:
        yield from (f"  {line}" for line in stored.remarks.splitlines())
    if stored.photos:
        yield f"  photos: {', '.join(path.name for path in stored.photos)}"
    try:
        result = read_result(stored.folder)
    except JobDamaged as error:
        yield f"  FAULT: {error}"
        return
    yield from (f"  {slot_line(slot)}" for slot in result.slots if slot.height_mm is not None)
    missing = [str(slot.number) for slot in result.slots if slot.height_mm is None]
    if missing:
        yield f"  not measured: string {', '.join(missing)}"
    if result.faults:
        yield f"  faults in takes or settings: {result.faults} (errors in its measurement.json)"


def now_lines(job: Job) -> Iterator[str]:
    """Yield each slot as the last pass that heard its string told it."""
    try:
        latest = last_heard(job)
    except JobDamaged:
        return  # named with its pass
    yield "Each slot as last heard"
    for _, (stored, slot) in sorted(latest.items()):
        yield f"  {slot_line(slot)} ({stored.name})"


def slot_line(slot: StoredSlot) -> str:
    """Return one slot."""
    height = "not measured"
    if slot.height_mm is not None and slot.low_mm is not None and slot.high_mm is not None:
        between = f"{slot.low_mm:.2f} to {slot.high_mm:.2f} mm"
        height = f"{numbers.length(slot.height_mm)}, 90 % within {between}"
    return f"string {slot.number} ({slot.note}): {height}; {slot.verdict}"


def gauge_line(reading: GaugeReading) -> str:
    """Return what a gauge said."""
    where = "" if reading.string is None else f" of string {reading.string}"
    told = [
        reading.value,
        reading.passes and f"a leaf of {reading.passes} passes",
        reading.stops and f"a leaf of {reading.stops} stops",
    ]
    after = f"after pass {reading.after_pass}" if reading.after_pass else "before the first pass"
    said = ", ".join(words for words in told if words)
    return f"{reading.what.value.replace('_', ' ')}{where}: {said} ({after}, {day(reading.when)})"


def step_lines(
    job: Job,
    result: StoredResult | None = None,
    *,
    only: str | None = None,
    details: Container[str] = (),
) -> Iterator[str]:
    """Yield the checklist, or one step of it; of the steps in ``details`` what to look at, and the caution.

    The height step tells the cut.
    """
    last = job.last_steps()
    yield "Checklist (common practice; what sound cannot hear)"
    for number, step in enumerate(CHECKLIST, 1):
        if only not in (None, step.name):
            continue
        line = last.get(step.name)
        mark = "x" if line is not None and line.done else " "
        yield f"  [{mark}] {number} {step.title} ({step.name})"
        if step.name in details:
            yield f"        {step.look}"
            yield f"        Caution: {step.caution}"
        if line is not None:
            told = [line.measured, line.note, line.photo and line.photo.rpartition("/")[2]]
            words = "; ".join(word for word in told if word)
            yield f"        {day(line.when)}{': ' if words else ''}{words}"
        if step.name == HEIGHT and step.name in details:
            yield from (f"        {words}" for words in cut_lines(result))


def first_open(job: Job) -> str | None:
    """Return the name of the first step that is not done, None when all are."""
    last = job.last_steps()
    return next((s.name for s in CHECKLIST if s.name not in last or not last[s.name].done), None)


def cut_lines(result: StoredResult | None) -> Iterator[str]:
    """Yield what the last pass says of a cut at the bottom of the nut."""
    heard = [] if result is None else [s for s in result.slots if s.height_mm is not None]
    if result is None or not heard:
        yield "Cut at the bottom: nothing measured yet. Record the first and the last string, then job add."
        return
    cut = result.nut_bottom or result.outer_cut
    if cut is not None:
        which = "the two outer strings" if result.outer_cut else "all slots"
        yield f"Cut at the bottom, from {which} as last heard: {_ends(cut, result)}."
        yield "It is instead of filing these slots, not in addition. Cut a little less, listen again."
        return
    strings = {slot.number for slot in result.slots}
    if {min(strings), max(strings)} <= {slot.number for slot in heard}:
        yield "Cut at the bottom: none; by the last pass not every slot that was heard can surely spare one."
    else:
        yield "Cut at the bottom: the first and the last string must both be heard for it."


def verify_lines(checked: Checked) -> Iterator[str]:
    """Yield what a check found, and what it means."""
    for label, names in (
        ("CHANGED", checked.changed),
        ("MISSING", checked.missing),
        ("NEW, in no list", checked.new),
        ("CHAIN", checked.broken),
    ):
        yield from (f"{label}: {name}" for name in names)
    for name in checked.cut_short:
        yield f"A write was cut short after it counted; waits to be moved: {name}"
    for name in checked.unfinished:
        yield f"Leftover of a write that does not count: {name}"
    state = "every byte is as it was written" if checked.sound else "the job is NOT as it was written"
    yield f"{checked.files} files compared: {state}."
    yield f"Fingerprint: {checked.fingerprint or 'none'}"
    yield DOES_NOT_PROVE


def fingerprint_line(changes_ago: int | None) -> str:
    """Return when a fingerprint was the job's."""
    if changes_ago is None:
        return "That fingerprint is not of this job, now or at any time that its history holds."
    if changes_ago == 0:
        return "That is the job as it is now."
    times = "1 change" if changes_ago == 1 else f"{changes_ago} changes"
    return f"That is the job as it was {times} ago."


def day(when: datetime) -> str:
    """Return a time to the minute, with its offset."""
    return f"{when:%Y-%m-%d %H:%M %z}"


def _ends(cut: Cut, result: StoredResult) -> str:
    """Return the two ends of a cut."""
    strings = [slot.number for slot in result.slots]
    treble, bass = numbers.length(cut.treble_mm), numbers.length(cut.bass_mm)
    return f"{treble} at string {min(strings)}, {bass} at string {max(strings)}"
