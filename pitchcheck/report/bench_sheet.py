"""From a measurement to the sheet that the terminal shows; pure, so that every word can be tested.

Conventions: cells are words ready to be shown; lengths in the unit of the settings.
"""

from __future__ import annotations

from pitchcheck.diagnosis import Finding
from pitchcheck.instrument import Nut
from pitchcheck.measurement import Measurement
from pitchcheck.report.page.steps import next_take_step
from pitchcheck.report.page.view import notes, open_questions
from pitchcheck.report.records import Section, Sheet
from pitchcheck.report.slots import slot_views
from pitchcheck.units import LengthUnit
from pitchcheck.words import cautions, doubts, evidence, phrases
from pitchcheck.words.faults import fault_lines
from pitchcheck.words.headline import headline, summary
from pitchcheck.words.lengths import length_steps
from pitchcheck.words.slots import slot_doubt
from pitchcheck.words.steps import bottom_steps, slot_steps
from pitchcheck.words.terms import terms_in

HEADS = ("String", "Slot\nheight", "90 % sure\nbetween", "Target", "Fret 1", "Verdict", "File off\nnow")


def bench_sheet(measurement: Measurement) -> Sheet:
    """Return the sheet of any measurement, also one in which nothing could be read."""
    plan, unit = measurement.plan, measurement.settings.unit
    upcoming = next_take_step(measurement)
    bottom = () if plan.nut_bottom is None else bottom_steps(plan.nut_bottom, unit=unit)
    sections: tuple[Section, ...] = (
        Section("Cut at the bottom of the nut", bottom),
        Section(
            "What to do" if not bottom else "Slot by slot instead: one or the other, never both",
            _steps(measurement),
        ),
        Section("Next take", () if upcoming is None else (f"{upcoming.title}. {upcoming.details[0]}",)),
        Section(
            "Worth measuring once",
            tuple(f"{title}. {' '.join(told)}" for title, told in length_steps(plan.lengths)),
        ),
        Section("Findings", tuple(line for f in measurement.findings for line in _finding(f, unit))),
        Section(
            "Doubts",
            _doubts(measurement),
        ),
        Section("Takes not used or doubted", _takes(measurement)),
        Section("Left out of the input", fault_lines(measurement.problems)),
        Section("Not known yet", open_questions(measurement)),
        Section("Notes", notes(measurement)),
        Section("Take care", _cautions(measurement)),
    )
    told = [line for section in sections for line in section.lines]
    sections = (*sections, Section("Words used here", terms_in(told)))
    return Sheet(
        title=f"Nut slots: {measurement.settings.instrument.kind}",
        headline=headline(measurement),
        summary=summary(measurement),
        heads=HEADS,
        rows=tuple(
            (s.name, s.height, s.between, s.target, s.first_fret, s.picture.word, s.off)
            for s in slot_views(measurement)
        ),
        sections=tuple(section for section in sections if section.lines),
    )


def _doubts(measurement: Measurement) -> tuple[str, ...]:
    """Return what the verdicts might suffer from; what several slots share is said once."""
    users: dict[str, list[int]] = {}
    for plan in measurement.plan.strings:
        for what in plan.doubts:
            users.setdefault(slot_doubt(what), []).append(plan.number)
    return tuple(f"{phrases.strings(members, capital=True)}: {text}" for text, members in users.items())


def _steps(measurement: Measurement) -> tuple[str, ...]:
    """Return what to do with the slots: first what several share, then string by string."""
    strings, instrument = measurement.plan.strings, measurement.settings.instrument
    steps_of = {
        string.number: slot_steps(
            string,
            instrument=instrument,
            next_take=measurement.plan.next_take,
            unit=measurement.settings.unit,
        )
        for string in strings
    }
    users: dict[str, list[int]] = {}
    for string in strings:
        for step in steps_of[string.number]:
            users.setdefault(step, []).append(string.number)
    shared: dict[tuple[int, ...], list[str]] = {}
    for step, numbers_of in users.items():
        if len(numbers_of) > 1:
            shared.setdefault(tuple(numbers_of), []).append(step)
    lines: list[str] = []
    for together, steps in shared.items():
        lines += [f"{phrases.strings(together, capital=True)}:", *(f"  {step}" for step in steps)]
    for string in strings:
        own = [step for step in steps_of[string.number] if len(users[step]) == 1]
        if own:
            lines += [f"String {string.number} ({string.note}):", *(f"  {step}" for step in own)]
    return tuple(lines)


def _finding(finding: Finding, unit: LengthUnit) -> tuple[str, ...]:
    """Return a finding and, indented, what shows it."""
    where = f"{phrases.place(finding)}, {phrases.size(finding, unit=unit)}"
    return (
        f"{phrases.CAUSE_TITLES[finding.cause]} ({where}). {phrases.CAUSE_MEANINGS[finding.cause]}",
        *(f"  {line}" for line in evidence.finding_lines(finding, unit=unit)),
    )


def _takes(measurement: Measurement) -> tuple[str, ...]:
    """Return the takes with a doubt; those in the list of faults are not told twice."""
    told = {fault.row for fault in measurement.problems if fault.file in ("takes.csv", "readings.csv")}
    return tuple(
        f"Row {take.row}, {take.position.words()}: {doubts.joined(take.doubts)}."
        for take in measurement.takes
        if take.doubts and take.row not in told
    )


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
