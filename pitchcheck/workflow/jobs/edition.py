"""A copy of a job for others: without names and notes, or with its recordings cut to the notes.

Conventions: the copy is a job of its own with its own sums; ``[copy]`` in its ``job.toml`` holds the
fingerprint of the job it was made from and what was left out. Heights and readings are those of the job,
taken over as stored. Only what the program itself reads comes along; other files and comments do not.
"""

from __future__ import annotations

import csv
import json
import tomllib
from contextlib import suppress
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

from pitchcheck.errors import BadValue
from pitchcheck.jobs.change import Change, changing
from pitchcheck.jobs.layout import JOB, PASS, RESULT, STEPS
from pitchcheck.jobs.migrate import read_table
from pitchcheck.jobs.passes import pass_file
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.records import BenchJob, StoredPass
from pitchcheck.jobs.toml_text import toml_text
from pitchcheck.jobs.write import JOB_HEAD, STEPS_HEAD
from pitchcheck.session.folder import Session, read_session
from pitchcheck.session.paths import inside
from pitchcheck.session.rows import READINGS, TAKES
from pitchcheck.session.settings import SETTINGS
from pitchcheck.units import length_mm
from pitchcheck.workflow.jobs.sounds import bare_copy, cut_to_note

NAMES, NOTES, SOUND = "names", "notes", "sound around the notes"
_SETTINGS = ("schema", "instrument", "target", "strings", "meter", "before")
_JOB = ("schema", "title", "instrument", "made")


@dataclass(frozen=True)
class Without:
    """What a copy leaves out."""

    names: bool = False
    room: bool = False

    @property
    def words(self) -> list[str]:
        """The same in words."""
        return ([NAMES, NOTES] if self.names else []) + ([SOUND] if self.room else [])


def make_copy(job: BenchJob, stage: Path, *, without: Without, title: str | None = None) -> BenchJob:
    """Lay out a copy of a job in an empty folder named like its id.

    Parameters
    ----------
    job : BenchJob
    stage : Path
        Is made.
    without : Without
    title : str, optional
        A title in place of the job's, for a copy without names.

    Raises
    ------
    BadValue
        If the job has faults: a copy would hide them.
    """
    if job.faults:
        raise BadValue(f"{job.id} has parts that cannot be read: {job.faults[0]} Run job verify first.")
    stage.mkdir(parents=True)
    with changing(stage) as change:
        change.write(JOB, _job_text(job, without, title).encode())
        change.commit()
    for stored in job.passes:
        with changing(stage) as change:
            _copy_pass(change, stored, without)
            change.commit()
    if job.steps or (job.notes and not without.names):
        with changing(stage) as change:
            _copy_papers(change, job, without)
            change.commit()
    return read_job(stage)


def _job_text(job: BenchJob, without: Without, title: str | None) -> str:
    """Return the copy's own file."""
    table = read_table(job.folder / JOB)
    if without.names:
        table = {key: value for key, value in table.items() if key in _JOB}
        table["title"] = title or job.instrument or "A job without names"
    table["copy"] = {"of": job.fingerprint, "left_out": [*dict.fromkeys([*job.left_out, *without.words])]}
    return toml_text(table, head=JOB_HEAD)


def _copy_papers(change: Change, job: BenchJob, without: Without) -> None:
    """Copy notes, checklist and pictures, as far as they stay."""
    if not without.names:
        for place in ("notes", "photos"):
            for path in sorted((job.folder / place).glob("*")):
                change.copy(path, f"{place}/{path.name}")
    if not job.steps:
        return
    table = read_table(job.folder / STEPS)
    if without.names:
        table["step"] = [_bare_step(item) for item in table["step"]]
    change.write(STEPS, toml_text(table, head=STEPS_HEAD).encode())


def _bare_step(item: dict[str, Any]) -> dict[str, Any]:
    """Return a line of the checklist without words; a measurement stays if it is a length."""
    kept: dict[str, Any] = {key: item[key] for key in ("name", "when", "done") if key in item}
    with suppress(BadValue):
        length_mm(item.get("measured", ""))
        kept["measured"] = item["measured"]
    return kept


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
    table = read_table(stored.folder / PASS)
    if without.names:
        table.pop("remarks", None)
    else:
        for photo in stored.photos:
            change.copy(photo, pass_file(folder, f"photos/{photo.name}"))
    change.write(pass_file(folder, PASS), toml_text(table).encode())
    change.write(pass_file(folder, RESULT), _result_text(stored.folder / RESULT, renamed).encode())


def _copy_sounds(
    change: Change, stored: StoredPass, session: Session, without: Without
) -> dict[int, tuple[str, str]]:
    """Copy the sounds; return old and new file name by row."""
    names: dict[int, tuple[str, str]] = {}
    whole: dict[str, str] = {}
    heard = _rows_heard(stored.folder / RESULT)
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
            content = made.read_bytes()
            change.write(pass_file(stored.folder.name, new), content)
    return names


def _rows_heard(path: Path) -> set[int]:
    """Rows in which a pitch was heard: of the others nothing is known to be a note."""
    return {item["row"] for item in json.loads(path.read_bytes())["readings"] if item["hz"] is not None}


def _takes_text(session: Session, renamed: dict[int, tuple[str, str]], *, cut: bool) -> str:
    """Return the list of takes under the new names."""
    out = StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(("file", "string", "stop", "fret", "capo", "start_s", "end_s"))
    for row in session.takes:
        place = row.position
        times = ("", "") if cut else tuple("" if t is None else repr(t) for t in (row.start_s, row.end_s))
        fret = "" if place.fret is None else place.fret
        rows.writerow((renamed[row.row][1], place.string, place.stop.value, fret, place.capo, *times))
    return out.getvalue()


def _readings_text(session: Session) -> str:
    """Return the list of readings."""
    out = StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(("string", "stop", "fret", "capo", "hz", "sd_cents", "time_s"))
    for row in session.readings:
        place = row.position
        fret, time = ("" if value is None else value for value in (place.fret, row.time_s))
        rows.writerow((place.string, place.stop.value, fret, place.capo, row.hz, row.sd_cents, time))
    return out.getvalue()


def _result_text(path: Path, renamed: dict[int, tuple[str, str]]) -> str:
    """Return the stored result under the new file names; faults lose the value they quote."""
    content: dict[str, Any] = json.loads(path.read_bytes())
    new_names = dict(renamed.values())
    for item in (*content["takes"], *content["readings"]):
        item["file"] = new_names.get(item["file"], item["file"] and "left out")
    for fault in content["errors"]:
        fault["value"] = None
    return json.dumps(content, indent=1, allow_nan=False) + "\n"
