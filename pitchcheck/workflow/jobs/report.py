"""A job's passes compared, and its report written out: from papers and session folders to one page.

Conventions: whoever keeps jobs fills ``JobPapers``; this module listens to what was not measured yet,
compares the first pass with the last (or the two named), and renders.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from pitchcheck.errors import BadValue
from pitchcheck.instrument import Removal
from pitchcheck.measurement import Measurement
from pitchcheck.workflow.measure import measure_folder
from pitchcheck.workflow.progress import Progress

if TYPE_CHECKING:
    from pitchcheck.compare import Comparison
    from pitchcheck.report.job.view import PassInput, Snippet

PLAYER_STRINGS = 3  # [-] strings to be heard on the player's page; our choice


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
    notes : tuple of str
        Bench notes of the whole job; left out of a report without names.
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
    notes: tuple[str, ...] = ()
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

    Parameters
    ----------
    papers : JobPapers
        At least two passes. What was told to have come off is added up over all passes between the two.
    before, after : str, optional
        Names of passes.
    progress : Progress, optional

    Raises
    ------
    BadValue
        If there are not two passes, no pass has that name, the two are in the wrong order, or they are not of
        one instrument.
    NothingMeasured
        If a pass cannot be read at all.
    """
    return _compared(papers, before, after, progress).comparison


def job_report(
    papers: JobPapers,
    *,
    reader: Reader = Reader.TECH,
    names: bool = True,
    clips: bool = True,
    before: str | None = None,
    after: str | None = None,
    progress: Progress | None = None,
) -> str:
    """Return the report as one HTML page.

    Parameters
    ----------
    papers : JobPapers
    reader : Reader
    names : bool
        False leaves out the title, the owner, the owner's words, all bench notes and the checklist with
        its notes; what the settings call the instrument takes the place of the title.
    clips : bool
        False leaves out the sound.
    before, after : str, optional
        Names of the passes compared; the first and the last by default.
    progress : Progress, optional

    Raises
    ------
    BadValue, NothingMeasured
        As `compare_job`.
    """
    from pitchcheck.report.job.view import JobReportInput
    from pitchcheck.report.render import render_job

    found = _compared(papers, before, after, progress)
    story = JobReportInput(
        title=papers.title if names else found.after.settings.instrument.kind,
        passes=tuple(_story(one, notes=names and reader is Reader.TECH) for one in found.passes),
        before=found.before,
        after=found.after,
        comparison=found.comparison,
        owner=papers.owner if names else None,
        owner_words=papers.owner_words if names else None,
        notes=papers.notes if names else (),
        done=papers.done if names else (),
        fingerprint=papers.fingerprint,
        made=papers.made,
        snippets=_snippets(found, reader=reader) if clips else (),
    )
    return render_job(story, reader=reader.value)


@dataclass(frozen=True)
class _Compared:
    """The passes from the one compared to the other, all measured where needed."""

    passes: tuple[JobPass, ...]
    before: Measurement
    after: Measurement
    comparison: Comparison


def _compared(
    papers: JobPapers, before: str | None, after: str | None, progress: Progress | None
) -> _Compared:
    """Choose, measure and compare."""
    from pitchcheck.compare import compare_measurements

    passes = _chosen(papers.passes, before, after)
    first, last = (_measured(one, progress) for one in (passes[0], passes[-1]))
    told = [removal for one in passes[1:] for removal in one.removed]
    comparison = compare_measurements(first, last, told=told)
    return _Compared(passes, first, last, comparison)


def _chosen(passes: tuple[JobPass, ...], before: str | None, after: str | None) -> tuple[JobPass, ...]:
    """Passes from the one named to the other."""
    if len(passes) < 2:
        many = "no pass" if not passes else "one pass"
        raise BadValue(f"the job has {many}; two are needed to compare. Add the pass after the work.")
    names = [one.name for one in passes]
    for name in (before, after):
        if name is not None and name not in names:
            raise BadValue(f"no pass is called {name!r}; there are {', '.join(names)}. Name one of these.")
    start = 0 if before is None else names.index(before)
    end = len(passes) - 1 if after is None else names.index(after)
    if start >= end:
        raise BadValue(
            f"pass {names[start]!r} does not come before {names[end]!r}. Name the earlier pass first."
        )
    return passes[start : end + 1]


def _measured(one: JobPass, progress: Progress | None) -> Measurement:
    return one.measurement or measure_folder(one.folder, progress=progress, workers=os.cpu_count() or 1)


def _story(one: JobPass, *, notes: bool) -> PassInput:
    """Return a pass as it is told."""
    from pitchcheck.report.job.view import PassInput
    from pitchcheck.session.folder import read_session

    takes = len(one.measurement.takes) if one.measurement is not None else None
    if takes is None:
        session = read_session(one.folder)
        takes = len(session.takes) or len(session.readings)
    return PassInput(one.name, one.when, takes, one.removed, one.notes if notes else ())


def _snippets(found: _Compared, *, reader: Reader) -> tuple[Snippet, ...]:
    """Return the sounds: for the player of the strings that moved most, for the tech of all."""
    from pitchcheck.compare import Change
    from pitchcheck.workflow.jobs.snippets import cut_snippets

    slots = [s for s in found.comparison.strings if s.change_mm is not None]
    order = sorted(slots, key=lambda s: -abs(s.change_mm.median if s.change_mm else 0.0))
    most = len(order)
    if reader is Reader.PLAYER:
        sure = [s for s in order if s.change in (Change.LOWER, Change.HIGHER)]
        order, most = (sure, PLAYER_STRINGS) if sure else (order, 1)
    strings = [found.after.settings.instrument.string(s.number) for s in order]
    return cut_snippets(
        strings,
        most=most,
        before=(found.passes[0].folder, found.before),
        after=(found.passes[-1].folder, found.after),
    )
