"""Arguments and options that the ``job`` commands share."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from pitchcheck.measurement import Measurement
    from pitchcheck.workflow.jobs.add_pass import Added
    from pitchcheck.workflow.progress import Progress

ON_PAPER = "All of it, on paper: pitchcheck job report JOB --to FILE.html"

JobsOption = Annotated[
    Path | None,
    typer.Option(
        "--jobs",
        metavar="DIR",
        help="Folder that holds the jobs; else the variable PITCHCHECK_JOBS, else the usual place for data.",
    ),
]
JobArgument = Annotated[
    str,
    typer.Argument(
        metavar="JOB",
        help="Its title, id or serial number, enough words, its number in the list, or its folder.",
    ),
]
KindOption = Annotated[
    str | None,
    typer.Option(
        "--kind", metavar="KIND", help="before, after or final; the first pass is before, others after."
    ),
]
FinalOption = Annotated[bool, typer.Option("--final", help="File it as the pass at hand-over.")]
RemovedOption = Annotated[
    list[str] | None,
    typer.Option(
        "--removed",
        metavar="STRING=AMOUNT",
        help='What came off a slot since the pass before, like "6=0.20 mm". Repeat it for each string.',
    ),
]
RemarksOption = Annotated[str | None, typer.Option(help="Words about this pass.")]
ChangedOption = Annotated[
    str | None,
    typer.Option(metavar="WORDS", help="What was changed where strings or scale are others than before."),
]
AnywayOption = Annotated[
    bool, typer.Option("--anyway", help="Add recordings that are in the job already all the same.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print it as JSON.")]
PhotosOption = Annotated[
    list[Path] | None, typer.Option("--photo", metavar="FILE", help="A picture; repeat it for more.")
]


def find(name: str, jobs: Path | None) -> Path:
    """Return the folder of a job by name, or by the path of the folder itself."""
    from contextlib import suppress

    from pitchcheck.jobs.layout import JOB, jobs_place
    from pitchcheck.jobs.read import find_job

    with suppress(OSError, ValueError):  # a name that no file can have is none of a folder
        path = Path(name)
        if jobs is None and len(path.parts) > 1 and (path / JOB).is_file():
            return path.absolute()
    return find_job(jobs_place(jobs), name)


def now() -> datetime:
    """Return the time here, with its offset from UTC."""
    return datetime.now(UTC).astimezone()


def file_into(
    name: str,
    folder: Path,
    *,
    kind: str | None = None,
    removed: Sequence[str] | None = None,
    remarks: str | None = None,
    photos: Sequence[Path] | None = None,
    changed: str | None = None,
    anyway: bool = False,
    heard: Measurement | None = None,
    jobs: Path | None = None,
    progress: Progress | None = None,
) -> Added:
    """File a session folder into a job as a sealed pass; ``filed_words`` tells of it."""
    from pitchcheck.workflow.jobs.add_pass import add_pass, parse_kind, parse_removed

    return add_pass(
        find(name, jobs),
        folder,
        now=now(),
        kind=parse_kind(kind),
        removed=[parse_removed(text) for text in removed or ()],
        remarks=remarks,
        photos=photos or (),
        changed=changed,
        anyway=anyway,
        heard=heard,
        progress=progress,
    )


def filed_words(added: Added) -> list[str]:
    """Return where a pass lies, and what to know of it."""
    told = [f"Note: {notice.rstrip('?.')}{'?' if notice.endswith('?') else '.'}" for notice in added.notices]
    return [*told, f"Sealed as pass {added.stored.number}, {added.stored.name}: {added.stored.folder}"]
