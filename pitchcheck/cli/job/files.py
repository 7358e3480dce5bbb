"""``pitchcheck job`` export, import, verify, tidy: a job as files that can be trusted and passed on."""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from pitchcheck.cli.job.options import JobArgument, JobsOption, JsonOption, find
from pitchcheck.cli.output import UNUSABLE, say, tell, tell_json, wrapped

DIFFERS = 1  # exit status of verify when anything is not as it was written
ROOM = (
    "The recordings hold the sound of the room, voices too. --trim cuts them to the notes; "
    "what sounds together with a note stays in it."
)


def export(
    name: JobArgument,
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="The archive; its name ends in .zip.")],
    without_names: Annotated[
        bool, typer.Option("--without-names", help="Leave out names, notes, remarks, photos, file tags.")
    ] = False,
    trim: Annotated[bool, typer.Option("--trim", help="Cut the recordings to the notes.")] = False,
    title: Annotated[str | None, typer.Option(help="Title of a copy without names.")] = None,
    sign: Annotated[
        Path | None, typer.Option("--sign", metavar="KEY", help="Sign it with this key (ssh-keygen -Y sign).")
    ] = None,
    jobs: JobsOption = None,
) -> None:
    """Write a job into one archive.

    Example: pitchcheck job export parlour --to parlour.zip --without-names --trim
    """
    from pitchcheck.workflow.jobs.export import Without
    from pitchcheck.workflow.jobs.export import export as write

    place = find(name, jobs)
    done = write(place, to, without=Without(without_names, trim), title=title, key=sign)
    tell(f"Wrote {done.archive}")
    tell(f"SHA-256 {done.sha256}")
    if done.signature is not None:
        tell(f"Signature {done.signature}")
    if done.left_out:
        say(f"Left out: {', '.join(done.left_out)}.")
    if done.still_there:
        say(f"Still in it, besides the days: {'; '.join(done.still_there)}. Read it before you pass it on.")
    if not trim:
        say(ROOM)


def import_(
    archive: Annotated[Path, typer.Argument(help="An archive that job export wrote.")],
    signers: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Public keys you trust, by name (ssh-keygen).")
    ] = None,
    signer: Annotated[str | None, typer.Option(help="Who must have signed it, as in that file.")] = None,
    jobs: JobsOption = None,
) -> None:
    """Unpack an exported job; nothing that is there is replaced."""
    from pitchcheck.errors import WrongCall
    from pitchcheck.jobs.archive import import_job
    from pitchcheck.jobs.layout import jobs_place
    from pitchcheck.jobs.sign import check_signature

    if (signers is None) != (signer is None):
        raise WrongCall("--signers and --signer belong together. Give both, or neither.")
    if signers is not None and signer is not None:
        check_signature(archive, signers=signers, signer=signer)
    made = import_job(jobs_place(jobs), archive)
    typer.echo(f"Made {made.folder}")
    typer.echo(f"Fingerprint {made.fingerprint}")


def verify(
    name: JobArgument,
    fingerprint: Annotated[
        str | None, typer.Option(metavar="SUM", help="Find this earlier fingerprint, as on a report.")
    ] = None,
    as_json: JsonOption = False,
    jobs: JobsOption = None,
) -> None:
    """Compare every byte with its sums, and say what that proves.

    Exit status 1 if anything is not as it was written.
    """
    from pitchcheck.jobs.verify import find_fingerprint, verify_job
    from pitchcheck.workflow.jobs.lines import fingerprint_line, verify_lines

    place = find(name, jobs)
    checked = verify_job(place)
    known = None if fingerprint is None else find_fingerprint(place, fingerprint)
    if as_json:
        asked = {} if fingerprint is None else {"changes_since_fingerprint": known}
        tell_json({"sound": checked.sound} | asdict(checked) | asked)
    else:
        for line in wrapped(verify_lines(checked)):
            typer.echo(line)
        if fingerprint is not None:
            typer.echo(fingerprint_line(known))
    if not checked.sound or (fingerprint is not None and known is None):
        raise typer.Exit(DIFFERS)


def tidy(
    name: JobArgument,
    remove: Annotated[bool, typer.Option("--remove", help="Remove leftovers for good; asks again.")] = False,
    jobs: JobsOption = None,
) -> None:
    """Finish a write that was cut short, show leftovers.

    They are removed only with --remove.
    """
    from pitchcheck.jobs.change import finish_change
    from pitchcheck.jobs.leftovers import leftovers, remove_leftovers

    place = find(name, jobs)
    if finish_change(place):
        typer.echo("A write that was cut short after it counted was finished.")
    found = leftovers(place)
    for item in found:
        size = f"{item.size_bytes / 1e6:.1f} MB"
        tell(f"{item.path}: {len(item.files)} files, {size}, copies that never became part of the job")
        for file in item.files:
            typer.echo(f"  {file}")
    if not found:
        typer.echo("No leftovers.")
    elif not remove:
        typer.echo("They are kept. Look for takes you need, then remove them with --remove.")
    elif not sys.stdin.isatty():
        say("Not removed: --remove asks once more, on a terminal.")
        raise typer.Exit(UNUSABLE)
    elif typer.confirm(f"Remove {len(found)} leftovers for good? This cannot be undone"):
        remove_leftovers(place, found)
        typer.echo("Removed.")
