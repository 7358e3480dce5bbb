"""A job's passes compared, and its report written out: from papers and session folders to one page.

Conventions: whoever keeps jobs fills ``JobPapers``; this module listens to what was not measured yet,
compares the first pass with the last (or the two named), and renders.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from pitchcheck.compare import Comparison
from pitchcheck.instrument import Removal
from pitchcheck.measurement import Measurement
from pitchcheck.workflow.progress import Progress


class Reader(StrEnum):
    """For whom a report is written."""

    TECH = "tech"  # everything, two sheets of paper
    PLAYER = "player"  # one sheet: how it was, how it is, what was done


@dataclass(frozen=True)
class JobPass:
    """One pass of a job, in the order in which they were made.

    Attributes
    ----------
    name : str
        As the job calls it: "before", "after pass 1", "final".
    folder : Path
        A session folder as ``measure_folder`` reads it; sounds are taken from it for the clips.
    when : str or None
        Date in words, as it is to be printed.
    removed : tuple of Removal
        What the tech says came off since the pass before.
    notes : tuple of str
        Bench notes of this pass.
    measurement : Measurement or None
        If it was measured already; else the folder is heard.
    """

    name: str
    folder: Path
    when: str | None = None
    removed: tuple[Removal, ...] = ()
    notes: tuple[str, ...] = ()
    measurement: Measurement | None = None


@dataclass(frozen=True)
class JobPapers:
    """Everything of a job that its report tells.

    Attributes
    ----------
    title : str
        Name of the job or instrument.
    passes : tuple of JobPass, at least one
    owner, owner_words : str or None
        Left out of a report without names.
    done : tuple of str
        Other work, one line each: steps of the checklist with their measurements.
    fingerprint : str or None
        Of the job as it stands.
    made : str or None
        Date of the report, as it is to be printed.
    """

    title: str
    passes: tuple[JobPass, ...]
    owner: str | None = None
    owner_words: str | None = None
    done: tuple[str, ...] = ()
    fingerprint: str | None = None
    made: str | None = None


def compare_job(
    papers: JobPapers,
    *,
    before: str | None = None,
    after: str | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Compare two passes of a job: the first and the last, or those named.

    Raises
    ------
    BadValue
        If there are not two passes, or no pass has that name.
    NothingMeasured
        If a pass cannot be read at all.
    """
    raise NotImplementedError  # signature first, so that others can wire it; body follows


def job_report(
    papers: JobPapers,
    *,
    reader: Reader = Reader.TECH,
    names: bool = True,
    clips: bool = True,
    progress: Progress | None = None,
) -> str:
    """Return the report as one HTML page.

    Parameters
    ----------
    papers : JobPapers
    reader : Reader
    names : bool
        False leaves out the owner, the owner's words and the bench notes.
    clips : bool
        False leaves out the sound.
    progress : Progress, optional
    """
    raise NotImplementedError


# report/compare_out.py: comparison_json(comparison) -> str, comparison_csv(comparison) -> str
# report/compare_view.py: compare_lines(comparison) -> tuple[str, ...], for a terminal
