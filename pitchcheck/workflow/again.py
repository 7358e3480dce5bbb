"""Going on with an instrument that was measured: where the next pass is played, and what is played in it.

Conventions: the next pass of a session folder lies beside it (``today-2`` after ``today``); that of a job is
played in ``sessions/`` beside the jobs' folder and filed from there. Its settings are those of the pass
before, which is named in them, so that both are one measurement.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from pitchcheck.course import Thoroughness
from pitchcheck.errors import BadValue
from pitchcheck.instrument import Removal
from pitchcheck.jobs.formats import amount_text
from pitchcheck.jobs.read import read_job
from pitchcheck.recorder.course_file import COURSE, parse_course
from pitchcheck.session.folder import read_session
from pitchcheck.session.next_pass import last_pass, next_pass
from pitchcheck.session.paths import inside
from pitchcheck.session.settings import SETTINGS
from pitchcheck.workflow.listen.start import Start, start_session

SESSIONS = "sessions"  # beside the folder of jobs


@dataclass(frozen=True)
class Again:
    """The next pass: its folder, the folder of the pass before, and what is to be played.

    ``made`` says that the folder is new; else a sitting that was begun goes on.
    """

    folder: Path
    before: Path
    made: bool
    start: Start


def again_with_folder(
    folder: Path, *, strings: Sequence[int] | None, removed: Sequence[Removal], thoroughness: Thoroughness
) -> Again:
    """Prepare the pass after the last one of a session folder.

    Parameters
    ----------
    folder : Path
        Of any of its passes.
    strings : sequence of int, optional
        Strings to be played; all by default.
    removed : sequence of Removal
        What came off since the last pass.
    thoroughness : Thoroughness

    Raises
    ------
    BadValue
        If a string is not there, or removals are told for a sitting that was begun.
    BadInput, NothingMeasured
        If the new folder cannot be written, or the settings cannot be used.
    """
    last = last_pass(folder)
    if last != folder and not _holds_takes(last):
        return _go_on(last, folder, strings=strings, removed=removed, thoroughness=thoroughness)
    if not _holds_takes(last):
        raise BadValue(f"{last} holds no takes yet, so there is nothing to go on from. Listen into it first.")
    made = _made(last, None, strings=strings, removed=removed, thoroughness=thoroughness)
    left = _unplayed(last)
    if not left:
        return made
    word = f'{last.name} had {left} takes left to play. To go on with them: pitchcheck listen "{last}"'
    return replace(made, start=replace(made.start, words=(*made.start.words, word)))


def again_with_job(
    job_folder: Path,
    *,
    strings: Sequence[int] | None,
    removed: Sequence[Removal],
    thoroughness: Thoroughness,
) -> Again:
    """Prepare the pass after the last one of a job; the same parameters and faults."""
    job = read_job(job_folder)
    if not job.counted:
        raise BadValue(
            f"{job.id} has no pass yet, so there is nothing to go on from. Listen first: "
            f"pitchcheck listen FOLDER --job {job.id}"
        )
    last = job.counted[-1].folder
    folder = job_folder.resolve().parent.parent / SESSIONS / f"{job.id}-{len(job.passes) + 1:02d}"
    if (folder / SETTINGS).is_file():
        return _go_on(folder, last, strings=strings, removed=removed, thoroughness=thoroughness)
    return _made(last, folder, strings=strings, removed=removed, thoroughness=thoroughness)


def _made(
    last: Path,
    to: Path | None,
    *,
    strings: Sequence[int] | None,
    removed: Sequence[Removal],
    thoroughness: Thoroughness,
) -> Again:
    """Make the folder of the next pass."""
    start_session(last, thoroughness=thoroughness, strings=strings)  # refused before anything is made
    amounts = {item.string: amount_text(item) for item in removed if item.amount_mm > 0}
    folder = next_pass(last, removed=amounts, to=to)
    start = start_session(folder, thoroughness=thoroughness, strings=strings)
    return Again(folder, last, True, start)


def _go_on(
    folder: Path,
    last: Path,
    *,
    strings: Sequence[int] | None,
    removed: Sequence[Removal],
    thoroughness: Thoroughness,
) -> Again:
    """Go on with a pass that was begun."""
    if removed:
        raise BadValue(
            f"{folder} was begun already, and what came off before it stands in its {SETTINGS}. Leave "
            "--removed out, or correct it there."
        )
    return Again(folder, last, False, start_session(folder, thoroughness=thoroughness, strings=strings))


def _unplayed(folder: Path) -> int:
    """How many takes of the sitting in a folder were neither played nor skipped."""
    with suppress(OSError, ValueError):  # no sitting at the microphone, or one that `listen` will tell of
        return parse_course((folder / COURSE).read_text(encoding="utf-8")).left
    return 0


def _holds_takes(folder: Path) -> bool:
    """Whether anything was recorded or read in a folder."""
    session = read_session(folder)
    paths = (inside(folder, row.file) for row in session.takes)
    return bool(session.readings) or any(path is not None and path.is_file() for path in paths)
