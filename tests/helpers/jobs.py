"""Jobs for tests, made through the public functions in a temporary place; everything in them is imaginary."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from helpers.folders import FIXTURES, READINGS, make_folder
from pitchcheck.jobs.records import Job, PassKind
from pitchcheck.jobs.verify import Checked, verify_job
from pitchcheck.jobs.write import add_note, new_job, record_step
from pitchcheck.workflow.jobs.add_pass import add_pass

NOW = datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
TITLE = "Parlour guitar of the lamp room"
OPENS = READINGS + "1,open,,0,329.6\n2,open,,0,246.9\n"  # nothing to compare: a pass that is filed in no time
SCHEMA_1 = FIXTURES / "jobs" / "schema-1" / "2026-11-25-lamp-room-parlour-guitar"
# Of SCHEMA_1, which is never made anew.
FINGERPRINT_1 = "ef12a11d698aaf3a3b94e941c0273757dd990b0cb00a800cc1b852ea3dba2868"
BOTH_HIGH = FIXTURES / "instruments" / "038-bass"  # its truth: strings 1 and 4 are far above target
PIXELS = bytes(range(256)) * 8  # stands for a picture; nothing looks into it


def make_job(place: Path, *, title: str = TITLE, customer: str | None = None) -> Job:
    """Return an empty job."""
    return new_job(place, title=title, now=NOW, customer=customer, owner_words="Sharp at the first fret.")


def quick_source(place: Path, *, extra: int = 0) -> Path:
    """Return a session folder that is measured at once, with some files that only come along."""
    folder = make_folder(place, readings=OPENS)
    for number in range(extra):
        (folder / f"aside-{number:02d}.wav").write_bytes(bytes([number]) * 3000)
    return folder


def outer_strings(place: Path, source: Path, *, last: str) -> Path:
    """Return a session folder with the readings of the first and the last string only."""
    lines = (source / "readings.csv").read_text().splitlines()
    rows = [line for line in lines if line.split(",")[0] in {"string", "1", last}]
    settings = (source / "session.toml").read_text()
    return make_folder(place, settings=settings, readings="\n".join(rows) + "\n")


def photo(place: Path) -> Path:
    """Return a picture."""
    path = place / "bench.jpg"
    path.write_bytes(PIXELS)
    return path


def full_job(place: Path) -> Job:
    """Return a job that holds one of everything: sound, readings, notes, steps, pictures, two passes."""
    job = make_job(place / "jobs", customer="The lamp keeper")
    picture = photo(place)
    first = quick_source(place / "first")
    for number in range(5):
        name = f"{number:03d}.flac"
        (first / name).write_bytes((FIXTURES / "session-sound" / name).read_bytes())
    add_pass(job.folder, first, now=NOW, photos=[picture], workers=1)
    add_note(job.folder, "Old nut is let in.\nTake care.", now=NOW)
    record_step(job.folder, "score", now=NOW, note="by hand", photo=picture)
    source = quick_source(place / "second")
    add_pass(job.folder, source, now=NOW, kind=PassKind.FINAL, remarks="handed back", anyway=True, workers=1)
    record_step(job.folder, "thickness", now=NOW, measured="5.9 mm")
    return job


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file of a job but the lock, by name."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != "lock"
    }


def sound(folder: Path) -> Checked:
    """Check a job and insist that it is as it was written."""
    checked = verify_job(folder)
    assert checked.sound, checked
    return checked
