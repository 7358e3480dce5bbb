"""A job as lines of plain text, for a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from shutil import get_terminal_size
from textwrap import wrap

from pitchcheck.jobs.checklist import HEIGHT, STEPS
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.records import BenchJob, JobLine, StepDone, StoredPass
from pitchcheck.jobs.result import Cut, StoredResult, read_result
from pitchcheck.jobs.verify import Checked
from pitchcheck.units import thou

NARROWEST = 40  # [columns] no terminal is treated as narrower
DOES_NOT_PROVE = (
    "This shows whether anything differs from what was written. It does not show who changed it: whoever can "
    "write the folder can make new sums. Keep the fingerprint elsewhere, on paper or with the customer."
)


def wrapped(lines: Iterable[str]) -> Iterator[str]:
    """Yield lines broken at the terminal's width, hanging under their start; paths and sums stay whole."""
    width = get_terminal_size().columns
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip(" ")) + 2)
        yield from wrap(
            line,
            max(width, NARROWEST),
            subsequent_indent=indent,
            break_long_words=False,
            break_on_hyphens=False,
            drop_whitespace=True,
        ) or [""]


def list_lines(jobs: Sequence[JobLine]) -> Iterator[str]:
    """Yield one line for each job."""
    width = max((len(job.id) for job in jobs), default=0)
    for job in jobs:
        if job.fault is not None:
            yield f"{job.id:{width}}  CANNOT BE READ: {job.fault}"
            continue
        passes = f"{job.passes} pass{'' if job.passes == 1 else 'es'}"
        last = f", last: {job.last}" if job.last else ""
        yield f"{job.id:{width}}  {job.title}  ({passes}{last})"


def show_lines(job: BenchJob) -> Iterator[str]:
    """Yield everything of a job."""
    yield job.title
    yield f"  id           {job.id}"
    yield f"  folder       {job.folder}"
    yield f"  made         {day(job.made)}"
    for label, words in (("instrument", job.instrument), ("customer", job.customer)):
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
    if job.steps:
        yield ""
        yield from step_lines(job, None)
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
    if stored.removed:
        off = ", ".join(f"string {r.string} {length(r.amount_mm)}" for r in stored.removed)
        yield f"  removed since the pass before: {off}"
    if stored.remarks:
        yield from (f"  {line}" for line in stored.remarks.splitlines())
    if stored.photos:
        yield f"  photos: {', '.join(path.name for path in stored.photos)}"
    try:
        result = read_result(stored.folder)
    except JobDamaged as error:
        yield f"  FAULT: {error}"
        return
    for slot in result.slots:
        height = "not measured"
        if slot.height_mm is not None and slot.low_mm is not None and slot.high_mm is not None:
            height = f"{length(slot.height_mm)}, 90 % within {slot.low_mm:.2f} to {slot.high_mm:.2f} mm"
        yield f"  string {slot.number} ({slot.note}): {height}; {slot.verdict}"
    if result.faults:
        yield f"  faults in takes or settings: {result.faults} (errors in its measurement.json)"


def step_lines(job: BenchJob, result: StoredResult | None) -> Iterator[str]:
    """Yield the checklist; with a result the height step tells the cut."""
    last: dict[str, StepDone] = {line.step: line for line in job.steps}
    yield "Checklist (common practice; what sound cannot hear)"
    for number, step in enumerate(STEPS, 1):
        line = last.get(step.name)
        mark = "x" if line is not None and line.done else " "
        yield f"  [{mark}] {number} {step.title} ({step.name})"
        if result is not None:
            yield f"        {step.look}"
            yield f"        Caution: {step.caution}"
        if line is not None:
            told = [line.measured, line.note, line.photo.name if line.photo else None]
            words = "; ".join(word for word in told if word)
            yield f"        {day(line.when)}{': ' if words else ''}{words}"
        if step.name == HEIGHT and result is not None:
            yield from (f"        {words}" for words in cut_lines(result))


def cut_lines(result: StoredResult | None) -> Iterator[str]:
    """Yield what the last pass says of a cut at the bottom of the nut."""
    heard = [] if result is None else [s for s in result.slots if s.height_mm is not None]
    if result is None or not heard:
        yield "Cut at the bottom: nothing measured yet. Record the first and the last string, then job add."
        return
    cut = result.nut_bottom or result.outer_cut
    if cut is not None:
        which = "all slots" if result.nut_bottom else "the two outer strings"
        yield f"Cut at the bottom, from {which} as last heard: {_ends(cut, result)}."
        yield "It is instead of filing these slots, not in addition. Cut a little less, listen again."
        return
    numbers = {slot.number for slot in result.slots}
    if {min(numbers), max(numbers)} <= {slot.number for slot in heard}:
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


def day(when: datetime) -> str:
    """Return a time to the minute, with its offset."""
    return f"{when:%Y-%m-%d %H:%M %z}"


def length(value_mm: float) -> str:
    """Return a length in both units."""
    return f"{value_mm:.2f} mm ({thou(value_mm):.1f} thou)"


def _ends(cut: Cut, result: StoredResult) -> str:
    """Return the two ends of a cut."""
    numbers = [slot.number for slot in result.slots]
    return f"{length(cut.treble_mm)} at string {min(numbers)}, {length(cut.bass_mm)} at string {max(numbers)}"
