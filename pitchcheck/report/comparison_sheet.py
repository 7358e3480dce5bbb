"""A comparison as the sheet that the terminal shows; pure, so that every word can be tested."""

from __future__ import annotations

from pitchcheck.compare import Comparison
from pitchcheck.compare.records import SlotChange
from pitchcheck.report.job.tables import change_row, repeats_line
from pitchcheck.report.records import Section, Sheet
from pitchcheck.units import LengthUnit
from pitchcheck.words import cautions
from pitchcheck.words import comparison as change_words
from pitchcheck.words.assumptions import assumption, heard_in, weakness

HEADS = (
    "String",
    "Before",
    "Now",
    "Change,\n90 % sure\nbetween",
    "How sure",
    "Noted as\nfiled off",
    "Slot is\nnow",
)


def comparison_sheet(
    comparison: Comparison,
    *,
    title: str,
    tolerance_mm: float = 0.10,
    unit: LengthUnit = LengthUnit.MM,
) -> Sheet:
    """Return what the terminal shows of a comparison.

    Parameters
    ----------
    comparison : Comparison
    title : str
        Which passes, of what.
    tolerance_mm : float
        Of the job's target: what "no change" means. [mm]
    unit : LengthUnit
        What lengths are shown in.

    Returns
    -------
    Sheet
        Its rows have the cells of HEADS.
    """
    sections = (
        Section("First of all", change_words.alarm(comparison.strings)),
        Section("How well the takes repeat", (repeats_line(comparison),)),
        Section("Taken to be the same", tuple(map(assumption, comparison.assumptions))),
        Section("Notes", (*map(weakness, comparison.weaknesses), *map(heard_in, comparison.heard_in))),
        Section("Take care", cautions.ACCURACY),
    )
    return Sheet(
        title=title,
        headline=change_words.headline(comparison.strings),
        summary=change_words.summary(comparison, unit=unit),
        heads=HEADS,
        rows=tuple(_row(slot, tolerance_mm, unit) for slot in comparison.strings),
        sections=tuple(section for section in sections if section.lines),
    )


def _row(slot: SlotChange, tolerance_mm: float, unit: LengthUnit) -> tuple[str, ...]:
    """Return one row of the table."""
    row = change_row(slot, tolerance_mm=tolerance_mm, unit=unit, side=False)
    return (
        f"{row.number} {row.note}",
        row.before,
        row.now,
        f"{row.change}\n{row.change_between}".strip(),
        row.sure,
        row.told,
        row.word,
    )
