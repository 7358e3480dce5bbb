"""What stays on the screen when a measurement ends: 80 columns, 24 lines, the amounts last.

Conventions: ready lines of text, none wider than the screen; lengths in the unit of the settings. What does
not fit is left out from the steps, and the line that names ``--all`` says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import wrap

from pitchcheck.instrument import MeterQuantity
from pitchcheck.measurement import Measurement
from pitchcheck.physics.gauges import third_fret_clearance_mm
from pitchcheck.plan import StringPlan
from pitchcheck.report.slots import BOTTOM_INSTEAD, NOTHING
from pitchcheck.units import LengthUnit
from pitchcheck.words import brief, numbers, phrases
from pitchcheck.words.faults import fault_lines
from pitchcheck.words.headline import first_fret_sentence, headline, standing

COLUMNS, LINES = 80, 24  # of the smallest screen (common practice, no source)
MOST_STEPS = 6  # lines
MOST_FOUND = 2  # lines
MOST_FAULTS = 2  # lines
MORE = "All findings, takes and cautions: --all. With pictures: --report FILE.html"


def end_screen(
    measurement: Measurement,
    *,
    columns: int = COLUMNS,
    lines: int = LINES,
    true_heights_mm: Mapping[int, float] | None = None,
) -> tuple[str, ...]:
    """Return the lines of the screen.

    Parameters
    ----------
    measurement : Measurement
        Any measurement, also one in which nothing could be read.
    columns, lines : int
        Size of the screen; the last line is left for the prompt.
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
    room = lines - 1 - len(fixed) - 1  # the prompt, and the line that names the rest
    steps = [line for step in brief.steps(measurement) for line in wrap(step, columns)]
    steps = steps[: min(MOST_STEPS, max(room, 0))]
    blanks = room - len(steps)
    more = [MORE] if true_heights_mm is None else [brief.truth(measurement, true_heights_mm)]
    parts: list[list[str]] = [faults, found, table, steps, [*more, caution], last]
    shown: list[str] = []
    for part in parts:
        if part and shown and blanks > 0:
            shown.append("")
            blanks -= 1
        shown += part
    return tuple(shown)


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
    gauged = {
        reading.string: reading.value_mm
        for reading in measurement.settings.meter
        if reading.what is MeterQuantity.CLEARANCE_THIRD and reading.string is not None
    }
    heads = ["String", "now", "90 % sure", "stop at", "Slot is", "Off now"]
    rows = [_cells(plan, measurement, unit) for plan in measurement.plan.strings]
    if gauged:
        heads.insert(3, "gauged")
        for plan, row in zip(measurement.plan.strings, rows, strict=True):
            read = gauged.get(plan.number)
            row.insert(3, numbers.UNKNOWN if read is None else numbers.figure(read, unit=unit))
    if true_heights_mm is not None:
        heads += ["in truth", "inside"]
        for plan, row in zip(measurement.plan.strings, rows, strict=True):
            true_mm = true_heights_mm[plan.number]
            inside = "yes" if brief.is_inside(plan, true_mm) else "no"
            row += [numbers.figure(third_fret_clearance_mm(true_mm), unit=unit), inside]
    widths = [max(len(line[i]) for line in (heads, *rows)) + 2 for i in range(len(heads))]
    above = " " * widths[0] + f"Gap over fret 1 with the string held at fret 3, in {unit}"
    lines = (
        "".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        for line in (heads, *rows)
    )
    return [above, *(line.rstrip() for line in lines)]


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
