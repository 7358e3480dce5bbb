"""``pitchcheck job``: new, list, show, add, note, step, set-aside; its other commands are joined here."""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from pitchcheck.cli.job.compare import compare, report
from pitchcheck.cli.job.files import export, import_, tidy, verify
from pitchcheck.cli.job.options import (
    ON_PAPER,
    AnywayOption,
    ChangedOption,
    FinalOption,
    JobArgument,
    JobsOption,
    JsonOption,
    KindOption,
    PhotosOption,
    RemarksOption,
    RemovedOption,
    file_into,
    filed_words,
    find,
    now,
)
from pitchcheck.cli.output import progress_bar, say, show_measurement, tell, tell_json, wrapped
from pitchcheck.errors import WrongCall

job = typer.Typer(
    no_args_is_help=True,
    help="Keep an instrument's passes and papers; any later change shows.",
)


@job.command("new")
def new_(
    title: Annotated[str, typer.Argument(help="What to call the job, in your words.")],
    instrument: Annotated[str | None, typer.Option(help="The instrument in words.")] = None,
    serial: Annotated[str | None, typer.Option(help="The number on it.")] = None,
    customer: Annotated[str | None, typer.Option(help="Who brought it.")] = None,
    owner_words: Annotated[str | None, typer.Option(help="What the owner says is wrong.")] = None,
    jobs: JobsOption = None,
) -> None:
    """Make a job.

    Example: pitchcheck job new "Parlour guitar, sharp at the first fret"
    """
    from pitchcheck.jobs.layout import jobs_place
    from pitchcheck.jobs.write import new_job

    made = new_job(
        jobs_place(jobs),
        title=title,
        now=now(),
        instrument=instrument,
        serial=serial,
        customer=customer,
        owner_words=owner_words,
    )
    tell(f"Made {made.folder}")
    tell(f"Then: pitchcheck listen FOLDER --kind KIND --job {made.id}")
    tell(f"Or, with recordings in a folder: pitchcheck job add {made.id} FOLDER")


@job.command("list")
def list_(as_json: JsonOption = False, jobs: JobsOption = None) -> None:
    """List the jobs."""
    from pitchcheck.jobs.layout import jobs_place
    from pitchcheck.jobs.read import list_jobs, unfinished
    from pitchcheck.workflow.jobs.lines import list_lines

    place = jobs_place(jobs)
    found = list_jobs(place)
    if as_json:
        tell_json([{"id": one.id} | asdict(one) for one in found])
        return
    for line in list_lines(found):
        tell(line)
    if not found:
        say(f'No jobs in {place}. Make one with: pitchcheck job new "TITLE"')
    for name in unfinished(place) if place.is_dir() else ():
        say(f"Leftover of a job whose making was cut short: {place / name}")


@job.command()
def show(
    name: JobArgument,
    everything: Annotated[bool, typer.Option("--all", help="Every pass, step, note and reading.")] = False,
    as_json: JsonOption = False,
    jobs: JobsOption = None,
) -> None:
    """Show a job: passes, every slot as it stands, what may come off.

    Example: pitchcheck job show parlour
    """
    from pitchcheck.jobs.errors import JobDamaged
    from pitchcheck.jobs.read import read_job

    kept = read_job(find(name, jobs))
    if as_json:
        tell_json({"id": kept.id} | asdict(kept))
        return
    if everything:
        from pitchcheck.workflow.jobs.lines import show_lines

        lines = show_lines(kept)
    else:
        from pitchcheck.cli.job.screen import screen_lines
        from pitchcheck.workflow.jobs.now import job_now

        try:
            now = job_now(kept)
        except JobDamaged as error:
            now = None
            say(f"FAULT: {error}")
        lines = screen_lines(kept, now)
    for line in wrapped(lines):
        typer.echo(line)


@job.command()
def add(
    name: JobArgument,
    folder: Annotated[Path, typer.Argument(help="Session folder with recordings or readings.")],
    kind: KindOption = None,
    removed: RemovedOption = None,
    remarks: RemarksOption = None,
    photo: PhotosOption = None,
    changed: ChangedOption = None,
    anyway: AnywayOption = False,
    final: FinalOption = False,
    jobs: JobsOption = None,
) -> None:
    """Copy a session folder into a job, measure it and seal it.

    Example: pitchcheck job add parlour bench/today --removed "6=0.20 mm" --removed "5=0.15 mm"
    """
    if final and kind not in (None, "final"):
        raise WrongCall(f"--final and --kind {kind} are both given. Choose one.")
    with progress_bar() as progress:
        added = file_into(
            name,
            folder,
            kind="final" if final else kind,
            removed=removed,
            remarks=remarks,
            photos=photo,
            changed=changed,
            anyway=anyway,
            jobs=jobs,
            progress=progress,
        )
    show_measurement(added.measurement, said=filed_words(added), more=ON_PAPER)


@job.command()
def note(
    name: JobArgument,
    words: Annotated[list[str], typer.Argument(help="The note; - reads it from standard input.")],
    jobs: JobsOption = None,
) -> None:
    """Add a bench note. A correction is another note."""
    from pitchcheck.jobs.write import add_note

    place = find(name, jobs)
    number = add_note(place, sys.stdin.read() if words == ["-"] else " ".join(words), now=now())
    tell(f"Note {number} added to {place.name}")


@job.command()
def step(
    name: JobArgument,
    which: Annotated[str | None, typer.Argument(metavar="STEP", help="Its name or number.")] = None,
    remark: Annotated[str | None, typer.Option("--note", help="Words about it.")] = None,
    measured: Annotated[str | None, typer.Option(help='A length or words, like "5.9 mm".')] = None,
    photo: Annotated[Path | None, typer.Option(metavar="FILE", help="A picture of it.")] = None,
    done: Annotated[bool, typer.Option("--done", help="Mark it as done, as a note does.")] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Mark it as not done.")] = False,
    everything: Annotated[bool, typer.Option("--all", help="Every step with its caution.")] = False,
    as_json: JsonOption = False,
    jobs: JobsOption = None,
) -> None:
    """Show the checklist, or one step of it; mark a step.

    It is of work that sound cannot hear.

    Example: pitchcheck job step parlour score --done
    """
    from pitchcheck.jobs.read import read_job
    from pitchcheck.jobs.records import STEPS, find_step
    from pitchcheck.jobs.write import record_step
    from pitchcheck.workflow.jobs.lines import first_open, step_lines
    from pitchcheck.workflow.jobs.result_file import read_result

    marks = done or undo or remark or measured or photo
    if which is None and marks:
        raise WrongCall(
            "A mark was given, and no step to put it on. Name the step, like: job step JOB score --done"
        )
    if done and undo:
        raise WrongCall("--done and --undo are both given. Choose one.")
    place = find(name, jobs)
    shown = None if which is None else find_step(which)
    if shown is not None and marks:
        record_step(place, shown, now=now(), done=not undo, note=remark, measured=measured, photo=photo)
    kept = read_job(place)
    if as_json:
        told = kept.last_steps()
        rows = [
            {"number": number, "name": one} | (asdict(told[one]) if one in told else {"done": False})
            for number, one in enumerate(STEPS, 1)
        ]
        tell_json([row for row in rows if shown in (None, row["name"])])
        return
    last = read_result(kept.counted[-1].folder) if kept.counted else None
    details = STEPS if everything else [shown or first_open(kept) or ""]
    for line in wrapped(step_lines(kept, last, only=shown, details=details)):
        typer.echo(line)
    if shown is None and not everything:
        tell(f"Another step with its caution: pitchcheck job step {name} NUMBER. All of them: --all")


@job.command("set-aside")
def set_aside(
    name: JobArgument,
    which: Annotated[str, typer.Argument(metavar="PASS", help="Its number or its name.")],
    reason: Annotated[str, typer.Option(help="Why it does not count.")],
    jobs: JobsOption = None,
) -> None:
    """Let a pass that was made by mistake no longer count. It stays in the job as it is.

    Example: pitchcheck job set-aside parlour 2 --reason "the wrong folder"
    """
    from pitchcheck.jobs.write import set_pass_aside

    line = set_pass_aside(find(name, jobs), which, reason=reason, now=now())
    tell(f"Pass {line.number} no longer counts: {line.reason}. Nothing was removed.")


job.command()(compare)
job.command()(report)
job.command()(export)
job.command("import")(import_)
job.command()(verify)
job.command()(tidy)
