"""Full disks, folders that may not be written, two writers at once, a clock that goes backwards."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from datetime import timedelta
from itertools import count
from pathlib import Path

import pytest

from helpers.jobs import NOW, contents, full_job, make_job, photo, quick_source, sound
from helpers.jobs_child import as_nobody, hold_lock, processes, write_notes
from pitchcheck.instrument import MeterQuantity
from pitchcheck.jobs import change
from pitchcheck.jobs.archive import export_job
from pitchcheck.jobs.change import finish_change, only_writer
from pitchcheck.jobs.errors import JobBusy, JobDamaged, NotStored
from pitchcheck.jobs.read import list_jobs, read_job
from pitchcheck.jobs.records import GaugeReading
from pitchcheck.jobs.verify import verify_job
from pitchcheck.jobs.write import add_gauge_reading, add_note, record_step
from pitchcheck.store import files
from pitchcheck.workflow.jobs.add_pass import add_pass

pytestmark = pytest.mark.filterwarnings(
    "ignore:.*fork.*:DeprecationWarning"
)  # a copy of this process is meant
READING = GaugeReading(when=NOW, after_pass=0, what=MeterQuantity.RELIEF, value="0.2 mm")
SMALL_MB = 1  # of the file system that is filled
SOON_S = 20.0  # [s] for another process to begin on a busy machine


def writes(job: Path, source: Path, picture: Path) -> list[Callable[[], object]]:
    """Return one write of each kind."""
    return [
        lambda: add_note(job, "a note", now=NOW),
        lambda: record_step(job, "bed", now=NOW, photo=picture),
        lambda: add_pass(job, source, now=NOW, anyway=True, workers=1),
        lambda: add_gauge_reading(job, READING),
    ]


@pytest.mark.parametrize("which", [0, 1, 2, 3], ids=["note", "step", "pass", "gauge"])
@pytest.mark.parametrize("place", ["_sync", "rename", "replace"])
def test_a_disk_that_fails_at_any_moment_leaves_the_job_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, which: int, place: str
) -> None:
    """A layer that refuses the n-th call, for every n until the write goes through."""
    job = make_job(tmp_path / "jobs").folder
    write = writes(job, quick_source(tmp_path / "source", extra=2), photo(tmp_path))[which]
    module, name = (files, "_sync") if place == "_sync" else (change.os, place)
    failed = 0
    while True:
        before = contents(job)
        with monkeypatch.context() as patch:
            patch.setattr(module, name, refusing_call(getattr(module, name), failed))
            refusal = refused(write)
        if refusal is None:
            break
        failed += 1
        checked = sound(job)
        assert read_job(job).faults == ()
        if "ready" in refusal:
            assert checked.cut_short or (job / "ready").is_dir()  # all moved, the folder not yet removed
            assert finish_change(job)
            assert sound(job).cut_short == ()
        else:
            assert contents(job) == before
    assert failed >= (4 if place == "_sync" else 1)
    sound(job)


def refusing_call(real: Callable[..., object], number: int) -> Callable[..., object]:
    """Return a function that refuses its n-th call, counted from 0, as a full disk does."""
    calls = count()

    def call(*arguments: object) -> object:
        if next(calls) == number:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(*arguments)

    return call


def refused(write: Callable[[], object]) -> str | None:
    """Return the words of a refusal, None if it was written."""
    try:
        write()
    except NotStored as error:
        return str(error)
    return None


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """Give a file system of one megabyte; only the administrator may make one."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0 or shutil.which("mount") is None:
        pytest.skip("only the administrator may mount a small file system")
    place = Path(tempfile.mkdtemp())
    size = f"size={SMALL_MB}m"
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", size, "tmpfs", place], capture_output=True, check=False
    )
    if done.returncode != 0:
        place.rmdir()
        pytest.skip("this machine does not let its administrator mount a file system")
    try:
        yield place
    finally:
        subprocess.run(["umount", place], check=True)
        place.rmdir()


def test_a_disk_that_is_really_full(
    small_disk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fill a real file system with notes and passes until it refuses, make room, go on."""
    monkeypatch.setattr("pitchcheck.jobs.passes.SPARE_BYTES", 0)
    job = make_job(small_disk / "jobs").folder
    source, picture = quick_source(tmp_path / "source", extra=10), photo(tmp_path)
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(300_000))
    accepted, refusals = 0, 0
    while refusals < 6:
        for write in writes(job, source, picture):
            if refused(write) is None:
                accepted += 1
            else:
                refusals += 1
            sound(job)
    assert accepted > 3
    ballast.unlink()
    finish_change(job)
    kept = read_job(job)
    assert (kept.faults, kept.unfinished) == ((), ())
    assert len(kept.notes) + len(kept.steps) + len(kept.passes) + len(kept.gauge) >= accepted
    add_note(job, "room again", now=NOW)
    sound(job)


def test_a_pass_that_cannot_fit_is_refused_before_it_is_copied(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pitchcheck.jobs.passes.SPARE_BYTES", 10**18)
    job = make_job(tmp_path / "jobs").folder
    before = contents(job)
    with pytest.raises(NotStored, match="MB left; the pass needs"):
        add_pass(job, quick_source(tmp_path / "source"), now=NOW)
    assert contents(job) == before


def test_a_folder_that_may_not_be_written_can_be_read_and_is_left_alone() -> None:
    """Tried by a user without rights, as permissions do not hold the administrator back."""
    place = Path(tempfile.mkdtemp())
    try:
        job = full_job(place).folder
        source = place / "second"
        (place / "out").mkdir()
        for folder, _, files in os.walk(place):
            for path in (Path(folder), *(Path(folder) / name for name in files)):
                path.chmod(0o555 if path.is_dir() else 0o444)
        (place / "out").chmod(0o777)
        before = contents(job)
        tries = [
            ("read", read_title, (job,)),
            ("list", count_jobs, (job.parent,)),
            ("verify", is_sound, (job,)),
            ("export", export_to, (job, place / "out")),
            ("note", note_now, (job,)),
            ("pass", pass_now, (job, source)),
            ("job", make_job, (job.parent,)),
        ]
        here, there = processes().Pipe(duplex=False)
        child = processes().Process(target=as_nobody, args=(there, tries), daemon=True)
        child.start()
        there.close()
        child.join(SOON_S)
        told = {name: (state, value) for name, state, value in (here.recv() for _ in tries)}
        assert told["read"] == ("done", read_job(job).title)
        assert told["list"] == ("done", 1)
        assert told["verify"] == ("done", True)
        assert told["export"] == ("done", True)
        for name in ("note", "pass", "job"):
            assert told[name][0] == "not-stored", told[name]
        assert contents(job) == before
    finally:
        for folder, _, _ in os.walk(place):
            Path(folder).chmod(0o755)
        shutil.rmtree(place)


def read_title(job: Path) -> str:
    return read_job(job).title


def count_jobs(jobs: Path) -> int:
    return len([line for line in list_jobs(jobs) if line.fault is None])


def is_sound(job: Path) -> bool:
    return verify_job(job).sound


def export_to(job: Path, place: Path) -> bool:
    export_job(job, place / "out.zip")
    return (place / "out.zip").is_file()


def note_now(job: Path) -> int:
    return add_note(job, "x", now=NOW)


def pass_now(job: Path, source: Path) -> str:
    return add_pass(job, source, now=NOW, anyway=True, workers=1).stored.name


def test_two_processes_at_once_lose_no_note(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs").folder
    pairs, many = [], 12
    for name in ("left", "right"):
        here, there = processes().Pipe(duplex=False)
        child = processes().Process(target=write_notes, args=(job, there, name, many), daemon=True)
        child.start()
        there.close()
        pairs.append((here, child))
    told = {}
    for here, child in pairs:
        told |= dict(here.recv() for _ in range(many))
        child.join(SOON_S)
        assert child.exitcode == 0
    assert sorted(told) == list(range(1, 2 * many + 1))  # no number was given twice
    assert {note.number: note.words for note in read_job(job).notes} == told
    sound(job)


def test_a_second_writer_is_refused_and_a_dead_one_holds_nothing_up(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs").folder
    here, there = processes().Pipe()
    child = processes().Process(target=hold_lock, args=(job, there), daemon=True)
    child.start()
    assert here.poll(SOON_S)
    assert here.recv() == "held"
    waited: list[float] = []
    with pytest.raises(JobBusy), only_writer(job, wait_s=0.2, sleep=waited.append):
        pass
    assert sum(waited) == pytest.approx(0.2)
    child.kill()
    child.join()
    assert add_note(job, "free again", now=NOW) == 1


def test_a_clock_that_goes_backwards_changes_no_order(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs").folder
    source = quick_source(tmp_path / "source")
    first = add_pass(job, source, now=NOW, anyway=True, workers=1)
    second = add_pass(job, source, now=NOW - timedelta(days=400), anyway=True, workers=1)
    third = add_pass(job, source, now=NOW - timedelta(days=800), anyway=True, workers=1)
    assert not any("clock" in words for words in first.notices)
    assert any("clock is behind" in words for words in second.notices)
    add_note(job, "one", now=NOW)
    add_note(job, "two", now=NOW - timedelta(days=1))
    kept = read_job(job)
    assert [stored.number for stored in kept.passes] == [1, 2, 3]
    assert [stored.name for stored in kept.passes] == ["before", "after pass 1", "after pass 2"]
    assert third.stored.when < second.stored.when < first.stored.when
    assert [note.words for note in kept.notes] == ["one", "two"]
    sound(job)
    again = make_job(job.parent)
    assert again.id == f"{job.name}-2"  # the same name on the same day


def test_what_waits_to_be_moved_replaces_nothing(tmp_path: Path) -> None:
    """A change that counts meets a file that somebody put in its way: both stay, and it is said."""
    job = make_job(tmp_path / "jobs").folder
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(change.os, "replace", refusing_call(os.replace, 0))
        with pytest.raises(NotStored):
            add_note(job, "waits", now=NOW)
    waits = (job / "ready/notes/0001.md").read_bytes()
    (job / "notes").mkdir(exist_ok=True)
    (job / "notes/0001.md").write_text("in the way")
    for write in (lambda: finish_change(job), lambda: add_note(job, "another", now=NOW)):
        with pytest.raises(JobDamaged, match="waits to be moved"):
            write()
        assert (job / "notes/0001.md").read_text() == "in the way"
        assert (job / "ready/notes/0001.md").read_bytes() == waits
    (job / "notes/0001.md").unlink()
    assert finish_change(job)
    assert [note.words for note in read_job(job).notes] == ["waits"]
    sound(job)
