"""A comparison as lines for the terminal; pure, so that every word can be tested."""

from __future__ import annotations

from pitchcheck.compare import Comparison
from pitchcheck.compare.records import SlotChange
from pitchcheck.report.bench_sheet import BenchView, Section
from pitchcheck.report.job import words as job_words
from pitchcheck.report.job.summary import alarm, headline, summary_of
from pitchcheck.report.job.tables import change_row, repeats_line
from pitchcheck.words import cautions

HEADS = (
    "String",
    "Before",
    "Now",
    "Change,\n90 % sure\nbetween",
    "How sure",
    "Noted as\nfiled off",
    "Slot is\nnow",
)


def compare_view(comparison: Comparison, *, title: str, tolerance_mm: float = 0.10) -> BenchView:
    """Return what the terminal shows of a comparison.

    Parameters
    ----------
    comparison : Comparison
    title : str
        Which passes, of what.
    tolerance_mm : float
        Of the job's target: what "no change" means. [mm]

    Returns
    -------
    BenchView
        Its rows have the cells of HEADS.
    """
    sections = (
        Section("First of all", alarm(comparison.strings)),
        Section("How well the takes repeat", (repeats_line(comparison),)),
        Section("Taken to be the same", comparison.assumed),
        Section("Notes", comparison.notes),
        Section("Take care", cautions.ACCURACY),
    )
    return BenchView(
        title=title,
        headline=headline(comparison.strings),
        summary=summary_of(comparison),
        rows=tuple(_row(slot, tolerance_mm) for slot in comparison.strings),
        sections=tuple(section for section in sections if section.lines),
        heads=HEADS,
    )


def _row(slot: SlotChange, tolerance_mm: float) -> tuple[str, ...]:
    """Return one row of the table."""
    row = change_row(slot, tolerance_mm=tolerance_mm)
    _, word = job_words.state(slot)
    return (
        f"{slot.number} {slot.note}",
        _over(row.before),
        _over(row.now),
        f"{_over(row.change)}\n{row.change_between.removesuffix(' lower').removesuffix(' higher')}".strip(),
        row.sure,
        _over(row.told).replace(": ", "\n").replace("the sound ", "sound "),
        word,
    )


def _over(length: str) -> str:
    """Return a length in mm above thou."""
    return length.replace(" (", "\n").replace(")", "")
