"""From a measurement to the sheet that the terminal shows; pure, so that every word can be tested.

Conventions: cells are words ready to be shown, a second line after ``\\n``; lengths in mm above thou.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.diagnosis import Finding
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import Nut
from pitchcheck.measurement import Measurement
from pitchcheck.plan import StringPlan
from pitchcheck.report.page.steps import next_take_step
from pitchcheck.report.page.summary import headline, summary
from pitchcheck.survey import first_fret_cents
from pitchcheck.words import cautions, doubts, evidence, numbers, phrases

HEADS = (
    "String",
    "Slot\nheight",
    "90 % sure\nbetween",
    "Target",
    "Fret 1\ncents",
    "Verdict",
    "File off\nnow",
)
BOTTOM_INSTEAD = "not here:\nsee below"
NOTHING = "nothing"


@dataclass(frozen=True)
class Section:
    """A title and its lines."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class BenchView:
    """The whole sheet, top to bottom. ``rows`` has one row per string, its cells under ``heads``."""

    title: str
    headline: str
    summary: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    sections: tuple[Section, ...]
    heads: tuple[str, ...] = HEADS


def bench_view(measurement: Measurement) -> BenchView:
    """Return the sheet of any measurement, also one in which nothing could be read."""
    plan = measurement.plan
    upcoming = next_take_step(measurement)
    bottom = () if plan.nut_bottom is None else plan.steps
    sections = (
        Section("Cut at the bottom of the nut", bottom),
        Section(
            "What to do" if not bottom else "Slot by slot instead: one or the other, never both",
            _steps(plan.strings),
        ),
        Section("Next take", () if upcoming is None else (f"{upcoming.title}. {upcoming.details[0]}",)),
        Section("Findings", tuple(line for f in measurement.findings for line in _finding(f))),
        Section("Doubts", tuple(f"String {s.number}: {doubt}" for s in plan.strings for doubt in s.doubts)),
        Section("Takes not used or doubted", _takes(measurement)),
        Section("Left out of the input", tuple(fault.sentence() for fault in measurement.problems)),
        Section("Notes", _notes(measurement)),
        Section("Take care", _cautions(measurement)),
    )
    return BenchView(
        title=f"Nut slots: {measurement.settings.instrument.kind}",
        headline=headline(measurement),
        summary=summary(measurement),
        rows=tuple(_row(string, measurement) for string in plan.strings),
        sections=tuple(section for section in sections if section.lines),
    )


def _row(string: StringPlan, measurement: Measurement) -> tuple[str, ...]:
    """Return one row of the table."""
    first = None if measurement.survey is None else first_fret_cents(measurement.survey, string.number)
    return (
        f"{string.number} {string.note}",
        _length(string.height_mm.median if string.height_mm else None, string),
        _between(string.height_mm, string),
        _length(string.target_mm, string),
        numbers.UNKNOWN if first is None else _first_fret(*first),
        phrases.verdict(string).replace(" ", "\n", 1),
        _file_off(string, bottom=measurement.plan.nut_bottom is not None),
    )


def _file_off(string: StringPlan, *, bottom: bool) -> str:
    """Return what may come off the slot now; nothing where the bottom of the nut is to be cut instead."""
    if string.remove_now_mm <= 0:
        return NOTHING
    if bottom:
        return BOTTOM_INSTEAD
    return numbers.removal(string.remove_now_mm).replace(" (", "\n").rstrip(")")


def _first_fret(value: float, sd: float) -> str:
    """Return the first-fret error above its uncertainty; the column's head shows the unit."""
    return numbers.cents_with_sd(value, sd).removesuffix(" cents").replace(" ± ", "\n± ")


def _limits(string: StringPlan) -> tuple[float, ...]:
    """Return the height that a slot is judged against."""
    return (string.target_mm,)


def _length(value_mm: float | None, string: StringPlan) -> str:
    """Return a length in mm above thou."""
    if value_mm is None:
        return numbers.UNKNOWN
    limits = _limits(string)
    return f"{numbers.mm(value_mm, limits_mm=limits)}\n{numbers.in_thou(value_mm, limits_mm=limits)}"


def _between(height_mm: Belief | None, string: StringPlan) -> str:
    """Return the interval in mm above thou."""
    if height_mm is None:
        return numbers.UNKNOWN
    limits = _limits(string)
    in_mm = numbers.interval(height_mm, limits_mm=limits).removesuffix(" mm")
    return f"{in_mm}\n{numbers.interval_thou(height_mm, limits_mm=limits).removesuffix(' thou')}"


def _steps(strings: Sequence[StringPlan]) -> tuple[str, ...]:
    """Return what to do with the slots: first what several share, then string by string."""
    users: dict[str, list[int]] = {}
    for string in strings:
        for step in string.steps:
            users.setdefault(step, []).append(string.number)
    shared: dict[tuple[int, ...], list[str]] = {}
    for step, numbers_of in users.items():
        if len(numbers_of) > 1:
            shared.setdefault(tuple(numbers_of), []).append(step)
    lines: list[str] = []
    for together, steps in shared.items():
        lines += [f"{phrases.strings(together, capital=True)}:", *(f"  {step}" for step in steps)]
    for string in strings:
        own = [step for step in string.steps if len(users[step]) == 1]
        if own:
            lines += [f"String {string.number} ({string.note}):", *(f"  {step}" for step in own)]
    return tuple(lines)


def _finding(finding: Finding) -> tuple[str, ...]:
    """Return a finding and, indented, what shows it."""
    where = []
    if finding.strings:
        where.append(phrases.strings(finding.strings))
    if finding.frets:
        word = "fret" if len(finding.frets) == 1 else "frets"
        where.append(f"{word} {phrases.listed([str(f) for f in sorted(finding.frets)])}")
    if finding.unit == "mm":
        size = numbers.length(finding.size)
    elif finding.unit.startswith("cent"):
        size = numbers.cents(finding.size)
    else:
        size = f"{finding.size:g} {finding.unit}"
    title = f"{phrases.CAUSE_TITLES[finding.cause]} ({', '.join([*where, size])})."
    return (
        f"{title} {phrases.CAUSE_MEANINGS[finding.cause]}",
        *(f"  {line}" for line in evidence.lines(finding)),
    )


def _takes(measurement: Measurement) -> tuple[str, ...]:
    """Return the takes with a doubt; those in the list of faults are not told twice."""
    told = {fault.row for fault in measurement.problems if fault.file in ("takes.csv", "readings.csv")}
    return tuple(
        f"Row {take.row}, {take.position.words()}: {doubts.joined(take.doubts)}."
        for take in measurement.takes
        if take.doubts and take.row not in told
    )


def _notes(measurement: Measurement) -> tuple[str, ...]:
    """Return what could not be told apart, remarks of the fit, and notices about the input."""
    fit = measurement.fit
    if fit is None:
        return measurement.notices
    apart = tuple(f"Could not be told apart: {text}" for text in fit.unseparated)
    return (*apart, *fit.notes, *measurement.notices)


def _cautions(measurement: Measurement) -> tuple[str, ...]:
    """Return the cautions that this sheet calls for; how accurate it is comes with every figure."""
    plan = measurement.plan
    slotted = measurement.settings.instrument.nut is Nut.SLOTTED
    filing = slotted and (plan.nut_bottom is not None or any(s.remove_now_mm > 0 for s in plan.strings))
    raising = any(s.raise_mm for s in plan.strings)
    if all(s.height_mm is None for s in plan.strings):
        return ()
    return (
        *(cautions.FIRST if filing or raising else ()),
        *(cautions.FILING if filing else ()),
        *(cautions.EYES if filing or raising else ()),
        *(cautions.FILLING if raising else ()),
        *cautions.ACCURACY,
    )
