"""A job as one archive, as it is or as a copy for others: without names and notes, or without the room.

Conventions: the copy is a job of its own with its own sums; ``[copy]`` in its ``job.toml`` holds the
fingerprint of the job it was made from and what was left out. Heights and readings are those of the job,
taken over as stored. Only what the program itself reads comes along; other files and comments do not.
"""

from __future__ import annotations

import csv
import tomllib
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory

from pitchcheck.errors import BadInput, BadValue, Problem
from pitchcheck.jobs.archive import check_target, export_job
from pitchcheck.jobs.change import Change, changing
from pitchcheck.jobs.errors import JobDamaged, NotStored
from pitchcheck.jobs.formats import lines_text, record_text, toml_text
from pitchcheck.jobs.layout import ASIDE, GAUGE, JOB, NOTES, PASS, PHOTOS, RESULT, STEPS, pass_file
from pitchcheck.jobs.names import check_line, job_id
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import CopiedFrom, Job, JobHead, PassHead, StepDone, StoredPass
from pitchcheck.jobs.sign import sign_archive
from pitchcheck.jobs.verify import verify_job
from pitchcheck.session.folder import Session, read_session
from pitchcheck.session.paths import inside
from pitchcheck.session.rows import READINGS, TAKES
from pitchcheck.session.settings import SETTINGS
from pitchcheck.takes import Position
from pitchcheck.units import length_mm
from pitchcheck.workflow.jobs.result_file import renamed_text, rows_heard
from pitchcheck.workflow.jobs.sounds import bare_copy, cut_to_note

NAMES, NOTES_LEFT, SOUND = "names", "notes", "sound around the notes"  # what a copy may leave out
_SETTINGS = ("schema", "instrument", "target", "strings", "meter", "before")
_UNNAMED = "A job without names"


@dataclass(frozen=True)
class Without:
    """What a copy leaves out."""

    names: bool = False
    room: bool = False

    @property
    def words(self) -> list[str]:
        """The same in words."""
        return ([NAMES, NOTES_LEFT] if self.names else []) + ([SOUND] if self.room else [])


@dataclass(frozen=True)
class Exported:
    """An archive that was written.

    ``left_out`` is what a copy leaves out, ``still_there`` the texts that a copy without names still holds,
    to be read before it is passed on.
    """

    archive: Path
    sha256: str
    left_out: tuple[str, ...]
    still_there: tuple[str, ...]
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
    still: tuple[str, ...] = ()
    if without.words:
        made, still = _export_copy(folder, target, without, check_line("title", title))
    else:
        made = export_job(folder, target)
    signature = None if key is None else sign_archive(target, key=key)
    return Exported(target, made, tuple(without.words), still, signature)


def _export_copy(
    folder: Path, target: Path, without: Without, title: str | None
) -> tuple[str, tuple[str, ...]]:
    """Write the archive of a copy that is made beside it; return its sum and the texts it still holds."""
    if not verify_job(folder).sound:
        raise JobDamaged(
            f"{folder.name} is not as it was written, so no copy is made of it. "
            f"See: pitchcheck job verify {folder.name}"
        )
    job = read_job(folder)
    if job.faults:
        raise BadValue(f"{job.id} has parts that cannot be read: {job.faults[0]} Run job verify first.")
    head = _copy_head(job, without, title)
    name = job_id(title or job.instrument or "job", made=job.made) if without.names else job.id
    try:
        with TemporaryDirectory(prefix=".pitchcheck-", dir=target.absolute().parent) as place:
            stage = Path(place) / name
            _lay_out_copy(job, stage, head, without)
            still = _texts(head, read_job(stage)) if without.names else ()
            _refuse_known_names(job, still)
            return export_job(stage, target), still
    except OSError as error:
        raise NotStored(
            f"{target} cannot be written ({error.strerror or error}). Make room or name another place."
        ) from error


def _copy_head(job: Job, without: Without, title: str | None) -> JobHead:
    """Return what stands in the copy's own file."""
    named = not without.names
    return JobHead(
        title=job.title if named else title or job.instrument or _UNNAMED,
        instrument=job.instrument,
        serial=job.serial if named else None,
        customer=job.customer if named else None,
        owner_words=job.owner_words if named else None,
        made=job.made,
        copy=CopiedFrom(of=job.fingerprint, left_out=tuple(dict.fromkeys([*job.left_out, *without.words]))),
    )


def _texts(head: JobHead, copy: Job) -> tuple[str, ...]:
    """Return the texts that are still in a copy without names, each once."""
    found = [head.title, head.instrument]
    for stored in copy.passes:
        instrument = read_session(stored.folder).settings.instrument
        found += [instrument.kind, *(spec.material for spec in instrument.strings)]
    return tuple(dict.fromkeys(text for text in found if text))


def _refuse_known_names(job: Job, texts: tuple[str, ...]) -> None:
    """Refuse a copy without names whose texts hold the customer or the serial number."""
    for what, known in (("the serial number", job.serial), ("the customer", job.customer)):
        for text in texts if known else ():
            if known and known.casefold() in text.casefold():
                raise BadValue(
                    f"{text!r} would stay in the copy and holds {what}. Give another title with --title; "
                    "words for the instrument that hold it cannot be passed on without names."
                )


def _lay_out_copy(job: Job, stage: Path, head: JobHead, without: Without) -> None:
    """Lay out the copy in an empty folder."""
    stage.mkdir(parents=True)
    with changing(stage) as change:
        change.write(JOB, record_text(head, JOB).encode())
        change.commit()
    for stored in job.passes:
        with changing(stage) as change:
            _copy_pass(change, stored, without)
            change.commit()
    with changing(stage) as change:
        _copy_papers(change, job, without)
        if change.new_sums:
            change.commit()


def _copy_papers(change: Change, job: Job, without: Without) -> None:
    """Copy checklist and gauge readings, and as far as they stay notes, pictures and passes set aside."""
    for place in (GAUGE, ASIDE) if without.names else (GAUGE, ASIDE, NOTES, PHOTOS):
        for path in sorted((job.folder / place).glob("*")):
            if place != ASIDE or not without.names:
                change.copy(path, f"{place}/{path.name}")
    if without.names:
        for stored in job.passes:
            if stored.aside is not None:
                bare = replace(stored.aside, reason="left out")
                change.write(f"{ASIDE}/{stored.number:04d}.toml", record_text(bare, ASIDE).encode())
    if job.steps:
        steps = [_bare_step(line) for line in job.steps] if without.names else job.steps
        change.write(STEPS, lines_text("step", steps, STEPS).encode())


def _bare_step(line: StepDone) -> StepDone:
    """Return a line of the checklist without words; a measurement stays if it is a length."""
    measured = None
    with suppress(BadValue):
        length_mm(line.measured or "")
        measured = line.measured
    return replace(line, note=None, photo=None, measured=measured)


def _copy_pass(change: Change, stored: StoredPass, without: Without) -> None:
    """Copy one pass: settings, list, sounds, result, and the file that says what it is."""
    folder, session = stored.folder.name, read_session(stored.folder)
    renamed = _copy_sounds(change, stored, session, without)
    settings = tomllib.loads((stored.folder / SETTINGS).read_bytes().decode("utf-8-sig"))
    settings = {key: value for key, value in settings.items() if key in _SETTINGS}
    change.write(pass_file(folder, SETTINGS), toml_text(settings).encode())
    if session.readings or (stored.folder / READINGS).exists():
        change.write(pass_file(folder, READINGS), _readings_text(session).encode())
    else:
        change.write(pass_file(folder, TAKES), _takes_text(session, renamed, cut=without.room).encode())
    head = PassHead(**{field.name: getattr(stored, field.name) for field in fields(PassHead)})
    if without.names:
        head = replace(head, remarks=None, changed=None if head.changed is None else "left out")
    else:
        for photo in stored.photos:
            change.copy(photo, pass_file(folder, f"{PHOTOS}/{photo.name}"))
    change.write(pass_file(folder, PASS), record_text(head, PASS).encode())
    text = renamed_text(stored.folder, dict(renamed.values()))
    change.write(pass_file(folder, RESULT), text.encode())


def _copy_sounds(
    change: Change, stored: StoredPass, session: Session, without: Without
) -> dict[int, tuple[str, str]]:
    """Copy the sounds; return old and new file name by row."""
    names: dict[int, tuple[str, str]] = {}
    whole: dict[str, str] = {}
    heard = rows_heard(stored.folder)
    for row in session.takes:
        source = inside(stored.folder, row.file)
        stem = f"{row.row:03d}"
        if not without.room and row.file in whole:
            names[row.row] = (row.file, whole[row.file])
            continue
        made: Path | None = None
        target = change.path(pass_file(stored.folder.name, stem))
        if source is not None and source.is_file():
            if without.room and row.row in heard:
                made = cut_to_note(source, target, start_s=row.start_s, end_s=row.end_s)
            elif not without.room:
                made = bare_copy(source, target)
        new = made.name if made is not None else f"{stem}.flac"
        names[row.row] = (row.file, new)
        whole[row.file] = new
        if made is not None:
            change.write(pass_file(stored.folder.name, new), made.read_bytes())
    return names


def _takes_text(session: Session, renamed: dict[int, tuple[str, str]], *, cut: bool) -> str:
    """Return the list of takes under the new names."""
    rows = [["file", "string", "stop", "fret", "capo", "start_s", "end_s", "leaf"]]
    for row in session.takes:
        times = ("", "") if cut else tuple("" if t is None else repr(t) for t in (row.start_s, row.end_s))
        rows.append([renamed[row.row][1], *_place(row.position), *times, _leaf(row.position)])
    return _csv(rows)


def _readings_text(session: Session) -> str:
    """Return the list of readings."""
    rows = [["string", "stop", "fret", "capo", "hz", "sd_cents", "time_s", "leaf"]]
    for row in session.readings:
        time = "" if row.time_s is None else repr(row.time_s)
        rows.append([*_place(row.position), repr(row.hz), repr(row.sd_cents), time, _leaf(row.position)])
    return _csv(rows)


def _place(place: Position) -> tuple[str, str, str, str]:
    """Return the cells that say where a take is."""
    fret = "" if place.fret is None else str(place.fret)
    return str(place.string), place.stop.value, fret, str(place.capo)


def _leaf(place: Position) -> str:
    return "" if place.leaf_mm is None else f"{place.leaf_mm!r} mm"


def _csv(rows: list[list[str]]) -> str:
    """Return rows as a list with commas; a last column in which nothing stands is left out."""
    if not any(row[-1] for row in rows[1:]):
        rows = [row[:-1] for row in rows]
    out = StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()
