"""``pitchcheck measure FOLDER``, or recordings of unnamed plucks."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pitchcheck.cli.job.options import (
    ON_PAPER,
    AnywayOption,
    ChangedOption,
    JobsOption,
    RemovedOption,
    file_into,
    filed_words,
)
from pitchcheck.cli.many import are_many, measure_all, refuse_of_one
from pitchcheck.cli.output import (
    UNUSABLE,
    AllOption,
    UnitOption,
    check_report_path,
    path_given,
    progress_bar,
    say,
    show_measurement,
    write_whole,
)
from pitchcheck.errors import BadValue, NothingMeasured, WrongCall

if TYPE_CHECKING:
    from pitchcheck.measurement import Measurement
    from pitchcheck.workflow.memo import MemoMeasured
    from pitchcheck.workflow.progress import Progress


FoldersArgument = Annotated[
    list[Path],
    typer.Argument(
        parser=path_given,
        metavar="FOLDER|FILE...",
        help="Session folder: session.toml with takes.csv and sound files, or readings.csv. Or recordings of "
        "unnamed plucks, in playing order, or a folder of them; then with --kind. Several session folders, "
        "or a folder around them: all are measured.",
    ),
]
InstrumentOption = Annotated[
    str | None,
    typer.Option(
        "--kind",
        metavar="KIND",
        help="Of a recording: the kind of instrument, as for `new`. With --job: before, after or final.",
    ),
]
ScaleOption = Annotated[
    str | None, typer.Option(metavar="LENGTH", help='Of a recording: the scale length, like "648 mm".')
]
TuningOption = Annotated[
    str | None,
    typer.Option(
        metavar="NOTES",
        help='Of a recording: another tuning, from the lowest string up, octaves not needed: "D A D G A D".',
    ),
]
CourseOption = Annotated[
    str | None,
    typer.Option(metavar="SORT", help="Of a recording that can be read in two ways: presses or frets."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the result as JSON, and nothing else.")]
ReportOption = Annotated[
    Path | None, typer.Option("--report", metavar="FILE", help="Also write one HTML page with pictures.")
]
ResultsOption = Annotated[
    Path | None,
    typer.Option(
        "--results",
        metavar="FILE",
        help="Of many folders: keep each result here as a line of JSON, and go on where it stopped.",
    ),
]
WorkersOption = Annotated[
    int | None, typer.Option(min=1, help="Of many folders: so many at once; by default one a core.")
]
JobOption = Annotated[
    str | None, typer.Option("--job", metavar="JOB", help="Also file the folder into this job as a pass.")
]


def measure(
    folders: FoldersArgument,
    as_json: JsonOption = False,
    report: ReportOption = None,
    everything: AllOption = False,
    unit: UnitOption = None,
    job: JobOption = None,
    kind: InstrumentOption = None,
    scale: ScaleOption = None,
    tuning: TuningOption = None,
    course: CourseOption = None,
    removed: RemovedOption = None,
    changed: ChangedOption = None,
    anyway: AnywayOption = False,
    jobs: JobsOption = None,
    results: ResultsOption = None,
    workers: WorkersOption = None,
) -> None:
    """Measure the nut slots of a recorded instrument.

    Example: pitchcheck measure bench/today --report today.html
    Example: pitchcheck measure memo.m4a --kind electric
    Example: pitchcheck measure bench --results bench.jsonl
    """
    if are_many(folders):
        refuse_of_one(
            report=report,
            all=everything,
            job=job,
            kind=kind,
            scale=scale,
            tuning=tuning,
            course=course,
            removed=removed,
            changed=changed,
            anyway=anyway,
            jobs=jobs,
        )
        measure_all(folders, as_json=as_json, results=results, unit=unit, workers=workers)
        return
    if results is not None or workers is not None:
        raise WrongCall("--results and --workers belong to many folders. Name several, or one around them.")
    from pitchcheck.report.json_out import refusal_json
    from pitchcheck.workflow import measure_folder
    from pitchcheck.workflow.memo_files import is_memo

    if report is not None:
        check_report_path(report)
    recorded = is_memo(folders)
    if job is None and (removed or changed or anyway or jobs or (kind and not recorded)):
        raise WrongCall(
            "--kind, --removed, --changed, --anyway and --jobs belong to --job. Name the job, or leave "
            "them out."
        )
    if (scale or tuning or course) and not recorded:
        raise WrongCall("--scale, --tuning and --course belong to a recording. Correct session.toml instead.")
    filed: list[str] | None = None
    try:
        with progress_bar() as progress:
            memo = _measure_memo(folders, kind, scale, tuning, course, progress) if recorded else None
            if job is not None:
                added = file_into(
                    job,
                    folders[0] if memo is None else _to_file(memo),
                    kind=None if recorded else kind,
                    removed=removed,
                    changed=changed,
                    anyway=anyway,
                    jobs=jobs,
                    progress=progress,
                )
                measurement, filed = added.measurement, filed_words(added)
            elif memo is not None:
                measurement = memo.measurement
            else:
                measurement = measure_folder(folders[0], progress=progress, workers=os.cpu_count() or 1)
    except NothingMeasured as error:
        if as_json:
            typer.echo(refusal_json(error.problems), nl=False)
        raise
    if unit is not None:
        measurement = measurement.shown_in(unit)
    _show(measurement, as_json=as_json, report=report, everything=everything, filed=filed)


def _show(
    measurement: Measurement, *, as_json: bool, report: Path | None, everything: bool, filed: list[str] | None
) -> None:
    """Write the report, print the result, and end with a status if nothing was measured.

    ``filed`` is what to say of the pass in a job; None where none was filed.
    """
    written = list(filed or ())
    if report is not None:
        from pitchcheck.report.render import render_page

        write_whole(report, render_page(measurement))
        written.append(f"Report written to {report}")
    if as_json:
        from pitchcheck.report.json_out import measurement_json
        from pitchcheck.words.faults import fault_lines

        typer.echo(measurement_json(measurement), nl=False)
        for line in (*fault_lines(measurement.problems), *measurement.notices, *written):
            say(line)
    else:
        more = None if filed is None else ON_PAPER
        show_measurement(measurement, everything=everything, said=written, more=more)
    if not measurement.anything_measured:
        if as_json:
            raise NothingMeasured("No string could be measured.")
        raise typer.Exit(UNUSABLE)  # the screen has said so


def _measure_memo(
    paths: list[Path],
    kind: str | None,
    scale: str | None,
    tuning: str | None,
    course: str | None,
    progress: Progress | None,
) -> MemoMeasured:
    """Measure recordings, and say what every sound was taken for."""
    from pitchcheck.units import length_mm
    from pitchcheck.workflow.memo import measure_memo

    scale_mm = None if scale is None else length_mm(scale)
    memo = measure_memo(
        paths,
        kind=kind,
        scale_mm=scale_mm,
        tuning=tuning,
        course=course,
        progress=progress,
        workers=os.cpu_count() or 1,
    )
    _say_memo(memo)
    return memo


def _to_file(memo: MemoMeasured) -> Path:
    """Return the folder that goes into a job."""
    if memo.folder is None:
        raise BadValue(
            "the place beside the recording cannot be written. Copy the recording elsewhere first."
        )
    return memo.folder


def _say_memo(memo: MemoMeasured) -> None:
    """Say what every sound was taken for, and where the list can be corrected."""
    from pitchcheck.words import memo as words

    found = [(one.file, one.label) for one in memo.found]
    for line in words.listing(found, course=memo.course, fretted_alike=memo.fretted_alike):
        say(line)
    if memo.folder is None:
        say("The place beside the recording cannot be written: no list was kept.")
    else:
        say(f'Wrong? Correct takes.csv in "{memo.folder}", then: pitchcheck measure "{memo.folder}"')
