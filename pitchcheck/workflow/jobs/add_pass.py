"""A session folder into a job as a sealed pass, measured."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pitchcheck import __version__
from pitchcheck.errors import BadValue
from pitchcheck.instrument import Removal
from pitchcheck.jobs.change import changing
from pitchcheck.jobs.layout import PASS, RESULT
from pitchcheck.jobs.names import check_words
from pitchcheck.jobs.passes import (
    files_to_copy,
    lay_out,
    next_pass,
    pass_file,
    pass_text,
    photo_name,
    sounds_again,
)
from pitchcheck.jobs.read import read_job, read_pass
from pitchcheck.jobs.records import PassKind, StoredPass
from pitchcheck.jobs.settings_text import with_before, without_before
from pitchcheck.jobs.write import check_now, check_photo
from pitchcheck.measurement import Measurement
from pitchcheck.session.folder import Session, read_session
from pitchcheck.session.limits import REMOVED
from pitchcheck.session.settings import SETTINGS
from pitchcheck.units import length_mm
from pitchcheck.workflow.jobs.stored_measurement import measure_new, stored_text
from pitchcheck.workflow.progress import Progress


@dataclass(frozen=True)
class Added:
    """A pass that entered a job. ``notices`` say what was left out of it."""

    stored: StoredPass
    measurement: Measurement
    notices: tuple[str, ...]


def add_pass(
    folder: Path,
    source: Path,
    *,
    now: datetime,
    kind: PassKind | None = None,
    removed: Sequence[Removal] = (),
    remarks: str | None = None,
    photos: Sequence[Path] = (),
    progress: Progress | None = None,
    workers: int | None = None,
) -> Added:
    """Copy a session folder into a job, measure it, and seal it.

    Parameters
    ----------
    folder : Path
        The job's.
    source : Path
        A session folder with sounds or readings; it is only read.
    now : datetime
        With its offset from UTC.
    kind : PassKind, optional
        By default ``before`` for the first pass of a job and ``after`` for every other.
    removed : sequence of Removal
        What came off since the pass before; by default what the session's own ``[before]`` says.
    remarks : str, optional
    photos : sequence of Path
    progress : Progress, optional
    workers : int >= 1, optional

    Returns
    -------
    Added
        When it returns, every take is safe on the disk. A pass in which nothing could be measured is kept
        too.

    Raises
    ------
    NothingMeasured
        If the session's settings cannot be used; nothing was added.
    BadValue, BadInput
        If a removal, remark, photo or file cannot enter a job.
    NotStored, JobBusy, JobDamaged, NewerFormat
        If it could not be written; the job is as it was.
    """
    when, remarks = check_now(now), check_words("remarks", remarks)
    for photo in photos:
        check_photo(photo)
    session = read_session(Path(source))
    names = files_to_copy(session.folder, job=folder)
    read_job(folder)  # a job of a newer format is left alone
    with changing(folder) as change:
        passes = read_job(folder).passes
        last = passes[-1] if passes else None
        kind = kind or (PassKind.AFTER if passes else PassKind.BEFORE)
        removed = check_removed(removed, session=session, last=last)
        name, called = next_pass(folder, kind)
        lay_out(change, session.folder, names, to=name)
        again = sounds_again(change, name, passes)
        settings = (session.folder / SETTINGS).read_bytes().decode("utf-8-sig")
        change.write(pass_file(name, SETTINGS), without_before(settings).encode())
        staged, measurement = measure_new(
            change.path(pass_file(name, SETTINGS)).parent,
            before=last,
            removed=removed,
            workers=workers or os.cpu_count() or 1,
            progress=progress,
        )
        if last is not None:
            chained = with_before(settings, f"../{last.folder.name}", removed=removed)
            change.write(pass_file(name, SETTINGS), chained.encode())
        for number, photo in enumerate(photos, 1):
            change.copy(photo, pass_file(name, photo_name(number, photo)))
        text = pass_text(
            kind=kind,
            name=called,
            when=when,
            removed=removed,
            remarks=remarks,
            takes=len(staged.takes) or len(staged.readings),
            made_with=f"pitchcheck {__version__}",
        )
        change.write(pass_file(name, PASS), text.encode())
        change.write(pass_file(name, RESULT), stored_text(measurement).encode())
        change.commit()
    stored = read_pass(folder / pass_file(name, PASS).rpartition("/")[0])
    return Added(stored, measurement, _notices(session, last, when, again))


def check_removed(
    removed: Sequence[Removal], *, session: Session, last: StoredPass | None
) -> tuple[Removal, ...]:
    """Return removals that fit the instrument, the session's own if none are given; raise BadValue."""
    if last is None:
        if removed:
            raise BadValue("removed is given for the first pass; there is no pass before it. Leave it out.")
        return ()
    removed = tuple(removed) or session.settings.removed
    seen: set[int] = set()
    for item in removed:
        session.settings.instrument.string(item.string)
        if item.string in seen:
            raise BadValue(f"removed names string {item.string} twice. Add the amounts up.")
        if not REMOVED.low_mm <= item.amount_mm <= REMOVED.high_mm:
            raise BadValue(
                f"removed from string {item.string} is {item.amount_mm:g} mm; it must be "
                f"{REMOVED.low_mm:g} to {REMOVED.high_mm:g} mm. Check the number and its unit."
            )
        seen.add(item.string)
    return removed


def parse_kind(text: str | None) -> PassKind | None:
    """Return the kind of a pass by its word, None for none; raise BadValue for another word."""
    if text is None:
        return None
    word = text.strip().lower()
    if word not in {kind.value for kind in PassKind}:
        raise BadValue(f"kind is {text!r}; it must be {', '.join(PassKind)}. Write one of these.")
    return PassKind(word)


def parse_removed(text: str) -> Removal:
    """Return a removal written like ``6=0.20 mm``; raise BadValue if it is not.

    Examples
    --------
    >>> parse_removed("6=0.20 mm")
    Removal(string=6, amount_mm=0.2)
    """
    string, sign, amount = text.partition("=")
    if not sign or not string.strip().isascii() or not string.strip().isdigit():
        raise BadValue(f'removed is {text!r}; write the string, "=" and the amount, like "6=0.20 mm".')
    return Removal(int(string), length_mm(amount))


def _notices(session: Session, last: StoredPass | None, when: datetime, again: str | None) -> tuple[str, ...]:
    """Say what a reader of the job should know about how the pass came in."""
    words = [] if again is None else [again]
    if last is None and (session.before is not None or session.settings.removed):
        words.append("its [before] named a folder outside the job and was left out; add that pass first")
    if last is not None and when < last.when:
        words.append("the clock is behind that of the pass before; passes are ordered by their numbers")
    return tuple(words)
