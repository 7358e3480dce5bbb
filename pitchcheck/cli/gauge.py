"""``pitchcheck gauge``: what a gauge or a leaf said, kept beside the sound."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pitchcheck.cli.job.options import ON_PAPER, JobsOption, find, now
from pitchcheck.cli.output import show_measurement, tell

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
    """Write down what a gauge or a feeler leaf said.

    It is weighed together with the sound, at once and in every later pass; in a job it also stands beside the
    sound in every report. It tells of the slots as they are now, and goes into the last pass.

    Example: pitchcheck gauge parlour third 6 passes 0.010 in stops 0.012 in
    """
    from pitchcheck.session.gauge_entry import add_gauge, parse_gauge
    from pitchcheck.session.next_pass import last_pass
    from pitchcheck.session.settings import SETTINGS
    from pitchcheck.workflow.jobs.compared import last_measurement
    from pitchcheck.workflow.jobs.gauge import add_job_gauge
    from pitchcheck.workflow.measure import measure_folder, quickly_measured

    entry = parse_gauge(" ".join(reading))
    if jobs is None and (Path(name) / SETTINGS).is_file():
        folder = last_pass(Path(name))
        instead = " in place of the earlier reading" if add_gauge(folder, entry) else ""
        said = f"Written into {folder / SETTINGS}{instead}."
        if quickly_measured(folder):
            show_measurement(measure_folder(folder), said=[said])
        else:
            tell(f'{said} Measure again: pitchcheck measure "{folder}"')
        return
    place = find(name, jobs)
    kept = add_job_gauge(place, entry, now=now())
    said = f"Kept in the job, after pass {kept.after_pass}; sound and gauge together say:"
    show_measurement(last_measurement(place), said=[said], more=ON_PAPER)
