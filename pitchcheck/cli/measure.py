"""``pitchcheck measure FOLDER``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pitchcheck.cli.job.options import (
    AnywayOption,
    ChangedOption,
    JobsOption,
    KindOption,
    RemovedOption,
    file_into,
    say_filed,
)
from pitchcheck.cli.output import (
    AllOption,
    UnitOption,
    check_report_path,
    progress_bar,
    say,
    show_measurement,
    write_whole,
)
from pitchcheck.errors import BadValue, NothingMeasured

NOTHING = 2  # exit status

FolderArgument = Annotated[
    Path, typer.Argument(help="Session folder: session.toml with takes.csv and sound files, or readings.csv.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the result as JSON, and nothing else.")]
ReportOption = Annotated[
    Path | None, typer.Option("--report", metavar="FILE", help="Also write one HTML page with pictures.")
]
JobOption = Annotated[
    str | None, typer.Option("--job", metavar="JOB", help="Also file the folder into this job as a pass.")
]


def measure(
    folder: FolderArgument,
    as_json: JsonOption = False,
    report: ReportOption = None,
    everything: AllOption = False,
    unit: UnitOption = None,
    job: JobOption = None,
    kind: KindOption = None,
    removed: RemovedOption = None,
    changed: ChangedOption = None,
    anyway: AnywayOption = False,
    jobs: JobsOption = None,
) -> None:
    """Measure the nut slots of a recorded instrument.

    Example: pitchcheck measure bench/today --report today.html
    """
    from pitchcheck.report.json_out import measurement_json, refusal_json
    from pitchcheck.words.faults import fault_lines
    from pitchcheck.workflow import measure_folder

    if report is not None:
        check_report_path(report)
    if job is None and (kind or removed or changed or anyway or jobs):
        raise BadValue(
            "--kind, --removed, --changed, --anyway and --jobs belong to --job. Name the job, or leave "
            "them out."
        )
    try:
        with progress_bar() as progress:
            added = None
            if job is None:
                measurement = measure_folder(folder, progress=progress)
            else:
                added = file_into(
                    job,
                    folder,
                    kind=kind,
                    removed=removed,
                    changed=changed,
                    anyway=anyway,
                    jobs=jobs,
                    progress=progress,
                )
                measurement = added.measurement
    except NothingMeasured as error:
        if as_json:
            typer.echo(refusal_json(error.problems), nl=False)
        raise
    if unit is not None:
        measurement = measurement.shown_in(unit)
    if added is not None:
        say_filed(added)
    written: list[str] = []
    if report is not None:
        from pitchcheck.report.render import render_page

        write_whole(report, render_page(measurement))
        written.append(f"Report written to {report}")
    if as_json:
        typer.echo(measurement_json(measurement), nl=False)
        for line in (*fault_lines(measurement.problems), *measurement.notices, *written):
            say(line)
    else:
        show_measurement(measurement, everything=everything, said=written)
    if not measurement.anything_measured:
        if as_json:
            raise NothingMeasured("No string could be measured.")
        raise typer.Exit(NOTHING)  # the screen has said so
