"""What stays on the screen when a measurement ends: 80 columns, 24 lines, the amounts last.

Conventions: ready lines of text, none wider than the screen; lengths in the unit of the settings. What does
not fit is left out from the steps, and the line that names ``--all`` says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import wrap

from pitchcheck.compare import Comparison
from pitchcheck.compare.records import SlotChange
from pitchcheck.instrument import MeterQuantity
from pitchcheck.measurement import Measurement
from pitchcheck.physics.gauges import third_fret_clearance_mm
from pitchcheck.plan import StringPlan
from pitchcheck.report.slots import BOTTOM_INSTEAD, NOTHING
from pitchcheck.report.text_table import aligned, gauged
from pitchcheck.units import LengthUnit
from pitchcheck.words import brief, numbers, phrases, slot_change
from pitchcheck.words import comparison as change_words
from pitchcheck.words.faults import fault_lines
from pitchcheck.words.headline import first_fret_sentence, headline, standing

COLUMNS, LINES = 80, 24  # of the smallest screen (common practice, no source)
MOST_STEPS = 6  # lines
MOST_FOUND = 2  # lines
MOST_FAULTS = 2  # lines
MORE_COMPARED = "All of it: --all. On paper: pitchcheck job report JOB --to FILE.html"
MORE = "All findings, takes and cautions: --all. With pictures: --report FILE.html"


def end_screen(
    measurement: Measurement,
    *,
    columns: int = COLUMNS,
    lines: int = LINES,
    more: str | None = None,
    true_heights_mm: Mapping[int, float] | None = None,
) -> tuple[str, ...]:
    """Return the lines of the screen.

    Parameters
    ----------
    measurement : Measurement
        Any measurement, also one in which nothing could be read.
    columns, lines : int
        Size of the screen; the last line is left for the prompt.
    more : str, optional
        Where the rest stands; by default in what ``measure`` can be asked for.
    true_heights_mm : mapping, optional
        True slot heights by string number, of an imaginary instrument: two more columns. [mm]

    Returns
    -------
    tuple of str
        Faults of the settings; what was found; the table; what to do; one caution; the amounts.
    """
    faults = _faults(measurement, columns)
    found = _found(measurement, columns)
    table = _table(measurement, true_heights_mm)
    last = wrap(brief.amounts(measurement), columns)
    caution = brief.caution(measurement)
    fixed = [*faults, *found, *table, caution, *last]
    rest = wrap(more or MORE, columns, break_long_words=False, break_on_hyphens=False)
    if true_heights_mm is not None:
        rest = [brief.truth(measurement, true_heights_mm)]
    room = lines - 1 - len(fixed) - len(rest)  # the prompt, and what names the rest
    steps = [line for step in brief.steps(measurement) for line in wrap(step, columns)]
    steps = steps[: min(MOST_STEPS, max(room, 0))]
    blanks = room - len(steps)
    parts: list[list[str]] = [faults, found, table, steps, [*rest, caution], last]
    shown: list[str] = []
    for part in parts:
        if part and shown and blanks > 0:
            shown.append("")
            blanks -= 1
        shown += part
    return tuple(shown)


def comparison_screen(
    comparison: Comparison,
    *,
    title: str,
    unit: LengthUnit,
    columns: int = COLUMNS,
    lines: int = LINES,
) -> tuple[str, ...]:
    """Return what stays on the screen when two passes were compared.

    Parameters
    ----------
    comparison : Comparison
    title : str
        Which passes, of what.
    unit : LengthUnit
        What lengths are shown in.
    columns, lines : int
        Size of the screen; the last line is left for the prompt.

    Returns
    -------
    tuple of str
        Title; what must be put right; the table; what is to be known of it, as far as it fits; the answer.
    """
    slots = comparison.strings
    top = [title[:columns], *(line for told in change_words.alarm(slots) for line in wrap(told, columns))]
    heads = ("String", "before", "now", "change", "90 % sure", "noted", "slot is")
    table = [f"Slot heights, in {unit}", *aligned((heads, *(_change_cells(slot, unit) for slot in slots)))]
    answer = wrap(change_words.headline(slots), columns)
    room = lines - 1 - len(top) - len(table) - len(answer) - 1
    notes: list[str] = []
    for sentence in change_words.summary(comparison, unit=unit, amounts=False):
        told = wrap(sentence, columns)
        if len(notes) + len(told) <= room:
            notes += told
    return (*top, *table, *notes, MORE_COMPARED, *answer)


def _change_cells(slot: SlotChange, unit: LengthUnit) -> tuple[str, ...]:
    """Return one string's row of a comparison."""
    before, now = (
        numbers.UNKNOWN if height is None else numbers.figure(height.median, unit=unit)
        for height in (slot.before_mm, slot.after_mm)
    )
    change = slot_change.changed(slot, unit=unit)
    between = slot_change.between(slot, unit=unit, side=False) or numbers.UNKNOWN
    noted = numbers.UNKNOWN if not slot.told_mm else numbers.figure(slot.told_mm, unit=unit)
    return (f"{slot.number} {slot.note}", before, now, change, between, noted, slot_change.state(slot)[1])


def _faults(measurement: Measurement, columns: int) -> list[str]:
    """Return the first fault of the input in full, and how many more there are."""
    told = fault_lines(measurement.problems)
    if not told:
        return []
    first = wrap(told[0], columns, max_lines=MOST_FAULTS, placeholder=" ...")
    more = len(told) - 1
    return first if not more else [*first, f"and {more} more in the input; --all lists them."]


def _found(measurement: Measurement, columns: int) -> list[str]:
    """Return what was found, in two lines: the answer, then as much of the rest as fits."""
    told = wrap(headline(measurement), columns, max_lines=MOST_FOUND, placeholder=" ...")
    for sentence in (first_fret_sentence(measurement), standing(measurement)):
        joined = f"{told[-1]} {sentence}" if len(told) > 1 else sentence
        if len(told) < MOST_FOUND and sentence:
            told += wrap(sentence, columns, max_lines=1, placeholder=" ...")
        elif sentence and len(joined) <= columns:
            told[-1] = joined
    return told


def _table(measurement: Measurement, true_heights_mm: Mapping[int, float] | None) -> list[str]:
    """Return the table of slots: the gap that a leaf would find, where to stop, verdict and amount."""
    unit = measurement.settings.unit
    read = {
        reading.string: gauged(reading, unit)
        for reading in measurement.settings.meter
        if reading.what is MeterQuantity.CLEARANCE_THIRD and reading.string is not None
    }
    heads = ["String", "now", "90 % sure", "stop at", "Slot is", "Off now"]
    rows = [_cells(plan, measurement, unit) for plan in measurement.plan.strings]
    if read:
        heads.insert(3, "gauged")
        for plan, row in zip(measurement.plan.strings, rows, strict=True):
            row.insert(3, read.get(plan.number, numbers.UNKNOWN))
    if true_heights_mm is not None:
        heads += ["in truth", "inside"]
        for plan, row in zip(measurement.plan.strings, rows, strict=True):
            true_mm = true_heights_mm[plan.number]
            inside = "yes" if brief.is_inside(plan, true_mm) else "no"
            row += [numbers.figure(third_fret_clearance_mm(true_mm), unit=unit), inside]
    above = " " * (len(heads[0]) + 2) + f"Gap over fret 1 with the string held at fret 3, in {unit}"
    return [above, *aligned((heads, *rows))]


def _cells(plan: StringPlan, measurement: Measurement, unit: LengthUnit) -> list[str]:
    """Return one string's row; "stop at" is the gap at the slot's target."""
    gap = plan.clearance_third_mm
    target = third_fret_clearance_mm(plan.target_mm)
    bottom = measurement.plan.nut_bottom is not None
    off = NOTHING if plan.remove_now_mm <= 0 else BOTTOM_INSTEAD
    if plan.remove_now_mm > 0 and not bottom:
        off = numbers.removal(plan.remove_now_mm, unit=unit)
    if gap is None:
        now, between = numbers.UNKNOWN, numbers.UNKNOWN
    elif gap.median <= 0:
        now, between = "none", "on the fret"
    else:
        now = numbers.figure(gap.median, unit=unit, limits_mm=(target,))
        between = f"{numbers.figure(max(gap.low, 0.0), unit=unit)} to {numbers.figure(gap.high, unit=unit)}"
    return [
        f"{plan.number} {plan.note}",
        now,
        between,
        numbers.figure(target, unit=unit),
        phrases.verdict(plan),
        off,
    ]
