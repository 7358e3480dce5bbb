"""``pitchcheck gauge``: what a gauge or a leaf said, kept beside the sound."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pitchcheck.cli.job.options import JobsOption, find, now

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="A session folder, or a job.")]
WordsArgument = Annotated[
    list[str],
    typer.Argument(
        metavar="READING",
        help="WHAT [STRING] LENGTH, or WHAT [STRING] passes LENGTH stops LENGTH. WHAT is third (gap over "
        "fret 1, held behind fret 3), open, slot, fret, action or relief.",
    ),
]


def gauge(name: NameArgument, reading: WordsArgument, jobs: JobsOption = None) -> None:
    """Write down what a gauge said.

    In a session folder it enters the next measurement; in a job it stands beside the sound in every report.

    Example: pitchcheck gauge parlour third 6 passes 0.010 in stops 0.012 in
    """
    from pitchcheck.session.gauge_entry import add_gauge, parse_gauge
    from pitchcheck.session.settings import SETTINGS
    from pitchcheck.workflow.jobs.gauge import add_job_gauge

    entry = parse_gauge(" ".join(reading))
    if jobs is None and (Path(name) / SETTINGS).is_file():
        add_gauge(Path(name), entry)
        typer.echo(f"Written into {Path(name) / SETTINGS}. Measure again: pitchcheck measure {name!r}")
        return
    kept = add_job_gauge(find(name, jobs), entry, now=now())
    after = f"after pass {kept.after_pass}" if kept.after_pass else "before the first pass"
    typer.echo(f"Kept in the job, {after}. It is shown beside the sound: pitchcheck job show {name!r}")
