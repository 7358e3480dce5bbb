"""A job, or a copy of it without names or without the room, as one archive, signed if wanted."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from pitchcheck.errors import BadInput, Problem
from pitchcheck.jobs.archive import check_target, export_job
from pitchcheck.jobs.errors import NotStored
from pitchcheck.jobs.names import check_line, job_id
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.sign import sign_archive
from pitchcheck.jobs.verify import verify_job
from pitchcheck.workflow.jobs.edition import Without, make_copy


@dataclass(frozen=True)
class Exported:
    """An archive that was written: its SHA-256, what it leaves out, its signature if there is one."""

    archive: Path
    sha256: str
    left_out: tuple[str, ...]
    signature: Path | None


def export(
    folder: Path,
    target: Path,
    *,
    without: Without | None = None,
    title: str | None = None,
    key: Path | None = None,
) -> Exported:
    """Write a job into one archive.

    Parameters
    ----------
    folder : Path
        The job's.
    target : Path
        Ends in ``.zip`` and does not exist.
    without : Without, optional
        What a copy leaves out; the job as it is by default.
    title : str, optional
        Of a copy without names, in place of the instrument's words.
    key : Path, optional
        Key to sign the archive with.

    Raises
    ------
    BadInput, BadValue, JobDamaged, NotStored, NotSigned
    """
    check_target(target)
    if key is not None and not key.is_file():
        raise BadInput(Problem(str(key), None, None, None, "the key is missing", "Name another with --sign."))
    without = without or Without()
    if without.words:
        made = _copy(folder, target, without, check_line("title", title))
    else:
        made = export_job(folder, target)
    signature = None if key is None else sign_archive(target, key=key)
    return Exported(target, made, tuple(without.words), signature)


def _copy(folder: Path, target: Path, without: Without, title: str | None) -> str:
    """Write the archive of a copy that is made beside it."""
    from pitchcheck.jobs.errors import JobDamaged

    if not verify_job(folder).sound:
        raise JobDamaged(
            f"{folder.name} is not as it was written, so no copy is made of it. "
            f"See: pitchcheck job verify {folder.name}"
        )
    job = read_job(folder)
    name = job.id
    if without.names:
        name = job_id(title or job.instrument or "job", made=job.made)
    try:
        with TemporaryDirectory(prefix=".pitchcheck-", dir=target.absolute().parent) as place:
            stage = Path(place) / name
            make_copy(job, stage, without=without, title=title)
            return export_job(stage, target)
    except OSError as error:
        raise NotStored(
            f"{target} cannot be written ({error.strerror or error}). Make room or name another place."
        ) from error
