"""``pitchcheck job`` compare and report: what changed between two passes, on the terminal and on paper."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pitchcheck.cli.job.options import JobArgument, JobsOption, find, now
from pitchcheck.cli.output import AllOption, UnitOption, check_report_path, say, tell, write_whole
from pitchcheck.errors import BadValue, WrongCall

if TYPE_CHECKING:
    from pitchcheck.compare import Comparison
    from pitchcheck.instrument import SessionSettings
    from pitchcheck.units import LengthUnit

BeforeOption = Annotated[
    str | None, typer.Option(metavar="PASS", help='Name of the earlier pass, like "before"; else the first.')
]
AfterOption = Annotated[
    str | None, typer.Option(metavar="PASS", help='Name of the later pass, like "final"; else the last.')
]


def compare(
    name: JobArgument,
    before: BeforeOption = None,
    after: AfterOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, and nothing else.")] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print CSV, and nothing else.")] = False,
    everything: AllOption = False,
    unit: UnitOption = None,
    jobs: JobsOption = None,
) -> None:
    """Compare two passes: how far every slot moved, how sure that is."""
    from pitchcheck.report.comparison_files import comparison_csv, comparison_json
    from pitchcheck.workflow.jobs.compared import compare_job, sound_job

    if as_json and as_csv:
        raise WrongCall("--json and --csv are both given. Choose one.")
    found = compare_job(sound_job(find(name, jobs)), before=before, after=after)
    if as_json:
        text = comparison_json(found.comparison, instrument=found.after.settings.instrument)
        typer.echo(text, nl=False)
    elif as_csv:
        typer.echo(comparison_csv(found.comparison), nl=False)
    else:
        title = f"{found.job.title}: {found.passes[0].name} against {found.passes[-1].name}"
        settings = found.after.settings
        _show(found.comparison, settings, title=title, unit=unit or settings.unit, everything=everything)


def _show(
    comparison: Comparison, settings: SessionSettings, *, title: str, unit: LengthUnit, everything: bool
) -> None:
    """Print a comparison: one screen, or all of it."""
    from rich.console import Console

    from pitchcheck.report.comparison_sheet import comparison_sheet
    from pitchcheck.report.end_screen import comparison_screen
    from pitchcheck.report.terminal import print_sheet

    if everything:
        tolerance_mm = settings.target.tolerance_mm
        sheet = comparison_sheet(comparison, title=title, tolerance_mm=tolerance_mm, unit=unit)
        print_sheet(sheet, Console(file=sys.stdout, highlight=False))
        return
    for line in comparison_screen(comparison, title=title, unit=unit):
        tell(line)


def report(
    name: JobArgument,
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="The page; its name ends in .html.")],
    reader: Annotated[str, typer.Option("--for", metavar="READER", help="tech or player.")] = "tech",
    without_names: Annotated[
        bool, typer.Option("--without-names", help="Leave out the owner, the owner's words and all notes.")
    ] = False,
    without_sound: Annotated[bool, typer.Option("--without-sound", help="Leave out the clips.")] = False,
    workshop: Annotated[str | None, typer.Option(metavar="WORDS", help="A line of your workshop.")] = None,
    signature: Annotated[bool, typer.Option("--signature", help="Leave a place to sign.")] = False,
    before: BeforeOption = None,
    after: AfterOption = None,
    jobs: JobsOption = None,
) -> None:
    """Write the report: one page with pictures and sound.

    It needs nothing from elsewhere. Of a job with one pass it is an intake page: how the instrument came in,
    and what is proposed.

    Example: pitchcheck job report parlour --to parlour.html --for player
    """
    from pitchcheck.jobs.names import check_line
    from pitchcheck.workflow.jobs.compared import compare_job, sound_job
    from pitchcheck.workflow.jobs.report import Extras, Reader, intake_report, job_report

    if reader not in list(Reader):
        raise BadValue(f"--for is {reader!r}; it must be {' or '.join(Reader)}. Write one of these.")
    check_report_path(to)
    job = sound_job(find(name, jobs))
    names, extras = not without_names, Extras(check_line("workshop", workshop), signature)
    if len(job.counted) < 2 and before is None and after is None:
        page = intake_report(job, now=now(), reader=Reader(reader), names=names, extras=extras)
    else:
        found = compare_job(job, before=before, after=after)
        page = job_report(
            found, now=now(), reader=Reader(reader), names=names, clips=not without_sound, extras=extras
        )
    write_whole(to, page)
    say(f"Report written to {to}")
