"""``pitchcheck job`` compare and report: what changed between two passes, on the terminal and on paper."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from pitchcheck.cli.job.options import JobArgument, JobsOption, find, now
from pitchcheck.cli.output import check_report_path, progress_bar, say, write_whole
from pitchcheck.errors import BadValue

BeforeOption = Annotated[
    str | None, typer.Option(metavar="PASS", help='Name of the earlier pass, like "before"; else the first.')
]
AfterOption = Annotated[
    str | None, typer.Option(metavar="PASS", help='Name of the later pass, like "final"; else the last.')
]
READERS = ("tech", "player")


def compare(
    name: JobArgument,
    before: BeforeOption = None,
    after: AfterOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, and nothing else.")] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print CSV, and nothing else.")] = False,
    jobs: JobsOption = None,
) -> None:
    """Compare two passes of a job: how far every slot moved, and how sure that is."""
    from pitchcheck.report.comparison_files import comparison_csv, comparison_json
    from pitchcheck.workflow.jobs.report import compare_job
    from pitchcheck.workflow.jobs.report_input import papers_of

    if as_json and as_csv:
        raise BadValue("--json and --csv are both given. Choose one.")
    papers = papers_of(find(name, jobs), now=now(), before=before, after=after)
    comparison = compare_job(papers, before=before, after=after)
    last = next(p.measurement for p in reversed(papers.passes) if p.measurement) if papers.passes else None
    if as_json:
        instrument = None if last is None else last.settings.instrument
        typer.echo(comparison_json(comparison, instrument=instrument), nl=False)
    elif as_csv:
        typer.echo(comparison_csv(comparison), nl=False)
    elif last is not None:
        from rich.console import Console

        from pitchcheck.report.comparison_sheet import comparison_sheet
        from pitchcheck.report.terminal import print_sheet

        first, second = before or papers.passes[0].name, after or papers.passes[-1].name
        view = comparison_sheet(
            comparison,
            title=f"{papers.title}: {first} against {second}",
            tolerance_mm=last.settings.target.tolerance_mm,
        )
        print_sheet(view, Console(file=sys.stdout, highlight=False))


def report(
    name: JobArgument,
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="The page; its name ends in .html.")],
    reader: Annotated[str, typer.Option("--for", metavar="READER", help="tech or player.")] = "tech",
    without_names: Annotated[
        bool, typer.Option("--without-names", help="Leave out the owner, the owner's words and all notes.")
    ] = False,
    without_sound: Annotated[bool, typer.Option("--without-sound", help="Leave out the clips.")] = False,
    before: BeforeOption = None,
    after: AfterOption = None,
    jobs: JobsOption = None,
) -> None:
    """Write the report of a job: one page with pictures and sound that needs nothing from elsewhere.

    Example: pitchcheck job report parlour --to parlour.html --for player
    """
    from pitchcheck.workflow.jobs.report import Reader, job_report
    from pitchcheck.workflow.jobs.report_input import papers_of

    if reader not in READERS:
        raise BadValue(f"--for is {reader!r}; it must be {' or '.join(READERS)}. Write one of these.")
    check_report_path(to)
    papers = papers_of(find(name, jobs), now=now(), before=before, after=after)
    with progress_bar() as progress:
        page = job_report(
            papers,
            reader=Reader(reader),
            names=not without_names,
            clips=not without_sound,
            before=before,
            after=after,
            progress=progress,
        )
    write_whole(to, page)
    say(f"Report written to {to}")
