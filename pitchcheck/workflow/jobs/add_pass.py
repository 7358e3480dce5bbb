"""A session folder into a job as a sealed pass, measured."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from pitchcheck import __version__
from pitchcheck.errors import BadValue
from pitchcheck.instrument import Instrument, Removal, StringSpec
from pitchcheck.jobs.change import changing
from pitchcheck.jobs.errors import ConfirmFirst
from pitchcheck.jobs.formats import record_text, with_before
from pitchcheck.jobs.layout import PASS, RESULT, pass_file
from pitchcheck.jobs.names import check_line, check_words
from pitchcheck.jobs.passes import filed_before, files_to_copy, lay_out, next_pass, photo_name
from pitchcheck.jobs.read import read_job, read_pass
from pitchcheck.jobs.records import PassHead, PassKind, StoredPass
from pitchcheck.jobs.write import check_now, check_photo
from pitchcheck.measurement import Measurement
from pitchcheck.session.folder import Session, read_session
from pitchcheck.session.limits import REMOVED
from pitchcheck.session.settings import SETTINGS
from pitchcheck.units import length_mm
from pitchcheck.workflow.hear import Pass
from pitchcheck.workflow.jobs.result_file import earlier_passes, stored_text
from pitchcheck.workflow.measure import conclude, hear_pass
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
    changed: str | None = None,
    anyway: bool = False,
    heard: Measurement | None = None,
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
    changed : str, optional
        What was changed, where strings or scale are not those of the pass before; kept in the pass.
    anyway : bool
        True adds recordings that are, every one of them, in the job already.
    heard : Measurement, optional
        Of this very folder, if it was measured a moment ago: then nothing is heard again.
    progress : Progress, optional
    workers : int >= 1, optional

    Returns
    -------
    Added
        When it returns, every take is safe on the disk. A pass in which nothing could be measured is kept
        too.

    Raises
    ------
    ConfirmFirst
        If the instrument is not that of the pass before, or the recordings are in the job already.
    NothingMeasured
        If the session's settings cannot be used; nothing was added.
    BadValue, BadInput
        If a removal, remark, photo or file cannot enter a job.
    NotStored, JobBusy, JobDamaged, NewerFormat
        If it could not be written; the job is as it was.
    """
    when, remarks = check_now(now), check_words("remarks", remarks)
    changed = check_line("changed", changed)
    for photo in photos:
        check_photo(photo)
    session = read_session(Path(source))
    names = files_to_copy(session.folder, job=folder)
    read_job(folder)  # a job of a newer format is left alone
    with changing(folder) as change:
        job = read_job(folder)
        last = job.counted[-1] if job.counted else None
        kind = kind or (PassKind.AFTER if last else PassKind.BEFORE)
        told = check_removed(removed, session=session, last=last)
        if last is not None and changed is None:
            _check_same(read_session(last.folder).settings.instrument, session.settings.instrument)
        name, called = next_pass(folder, kind)
        lay_out(change, session.folder, names, to=name)
        again = filed_before(change, name, job.passes)
        if again is not None and again[2] and not anyway:
            raise ConfirmFirst(
                f"Every recording in {session.folder} is in the job already, in pass {again[0].number} "
                f"({again[0].name}).",
                "Name the right folder, or add it all the same with --anyway.",
            )
        settings = (session.folder / SETTINGS).read_bytes().decode("utf-8-sig")
        before = None if last is None or changed else f"../{last.folder.name}"
        change.write(pass_file(name, SETTINGS), with_before(settings, before, removed=told).encode())
        earlier = () if changed else job.counted
        measurement = _measured(session, earlier, told, heard, workers=workers, progress=progress)
        for number, photo in enumerate(photos, 1):
            change.copy(photo, pass_file(name, photo_name(number, photo)))
        head = PassHead(
            kind=kind,
            name=called,
            when=when,
            removed=told,
            remarks=remarks,
            changed=changed,
            takes=len(session.takes) or len(session.readings),
            made_with=f"pitchcheck {__version__}",
        )
        change.write(pass_file(name, PASS), record_text(head, PASS).encode())
        change.write(pass_file(name, RESULT), stored_text(measurement).encode())
        change.commit()
    return Added(read_pass(folder / pass_file(name, "")), measurement, _notices(session, last, when, again))


def _measured(
    session: Session,
    passes: Sequence[StoredPass],
    removed: tuple[Removal, ...],
    heard: Measurement | None,
    *,
    workers: int | None,
    progress: Progress | None,
) -> Measurement:
    """Return the measurement of a session that follows sealed passes, heard once."""
    before = passes[-1].folder.resolve() if passes else None
    same_story = session.before == before and removed == session.settings.removed
    if heard is not None and same_story:
        return heard
    problems = tuple(p for p in session.problems if not (p.field or "").startswith("before"))
    settings = replace(session.settings, removed=removed)
    session = replace(session, before=None, settings=settings, problems=problems)
    if heard is None or heard.survey is None:
        this = hear_pass(session, workers=workers or os.cpu_count() or 1, progress=progress)
    else:
        this = Pass(session, heard.takes, heard.survey, heard.problems)
    if progress is not None:
        progress(len(this.takes), len(this.takes), "fitting")
    return conclude(this, earlier_passes(passes), this.problems)


def _check_same(before: Instrument, now: Instrument) -> None:
    """Ask before an instrument that is not the one of the pass before is sealed into its job."""
    found = []
    if before.scale_mm != now.scale_mm:
        found.append(f"the scale was {before.scale_mm:g} mm and is {now.scale_mm:g} mm")
    was, is_now = ({s.number: s for s in i.strings} for i in (before, now))
    if was.keys() != is_now.keys():
        found.append(f"it had {len(was)} strings and has {len(is_now)}")
    for number in sorted(was.keys() & is_now.keys()):
        first, second = was[number], is_now[number]
        if _string_words(first) != _string_words(second):
            found.append(f"string {number} was {_string_words(first)} and is {_string_words(second)}")
    if found:
        raise ConfirmFirst(
            f"This is not the instrument of the pass before: {'; '.join(found)}.",
            "Name the right folder or correct its settings; if it was really changed, say how: "
            '--changed "new strings".',
        )


def _string_words(spec: StringSpec) -> str:
    gauge = "" if spec.gauge_mm is None else f", {spec.gauge_mm:.2f} mm"
    return f"{spec.note}{gauge}, {spec.material}"


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
    if not sign or not string.strip().isascii() or not string.strip().isdigit() or len(string) > 9:
        raise BadValue(f'removed is {text[:80]!r}; write the string, "=" and the amount, like "6=0.20 mm".')
    return Removal(int(string), length_mm(amount))


def _notices(
    session: Session, last: StoredPass | None, when: datetime, again: tuple[StoredPass, int, bool] | None
) -> tuple[str, ...]:
    """Say what a reader of the job should know about how the pass came in."""
    words = []
    if again is not None:
        words.append(
            f"{again[1]} of its files are, byte for byte, takes of pass {again[0].number} ({again[0].name}), "
            "so nothing new was heard there"
        )
    if last is None and (session.before is not None or session.settings.removed):
        words.append("its [before] named a folder outside the job and was left out; add that pass first")
    if last is not None and when < last.when:
        words.append("the clock is behind that of the pass before; passes are ordered by their numbers")
    return tuple(words)
