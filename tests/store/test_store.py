"""Whole writes and locks where a disk refuses, knows no locks, cannot sync folders, or is read meanwhile."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from helpers.jobs import NOW, make_job, sound
from pitchcheck.jobs.archive import export_job
from pitchcheck.jobs.write import add_note
from pitchcheck.store import files
from pitchcheck.store import lock as store_lock
from pitchcheck.store.files import finished_name, place_new, unfinished_path, write_whole
from pitchcheck.store.lock import FileLock, Taken, is_lock_text


def refuse(code: int) -> object:
    """Return a call that the system refuses."""

    def call(*_: object, **__: object) -> None:
        raise OSError(code, os.strerror(code))

    return call


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_refused_write_leaves_the_older_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    path = tmp_path / "page.html"
    write_whole(path, b"older")
    with monkeypatch.context() as patch:
        patch.setattr(files.os, call, refuse(errno.ENOSPC))
        with pytest.raises(OSError, match="No space"):
            write_whole(path, b"newer")
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"page.html": b"older"}
    write_whole(path, b"newer")
    assert path.read_bytes() == b"newer"


def test_an_unfinished_file_tells_the_name_it_was_to_have() -> None:
    for name in ("takes.csv", "001-string1-open.flac", "a~7.txt", ".hidden"):
        assert finished_name(unfinished_path(Path(name)).name) == name
        assert finished_name(name) == name
    assert finished_name(".unfinished-takes.csv") == "takes.csv"  # as earlier versions named them


@pytest.mark.parametrize("links", [True, False], ids=["hard links", "no hard links"])
def test_a_new_name_is_given_to_a_whole_file_and_never_taken_from_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    if not links:
        monkeypatch.setattr(files.os, "link", refuse(errno.EPERM))
    beside, target = tmp_path / "beside", tmp_path / "target"
    beside.write_bytes(b"new")
    target.write_bytes(b"there before")
    with pytest.raises(FileExistsError):
        place_new(beside, target)
    assert (beside.read_bytes(), target.read_bytes()) == (b"new", b"there before")
    target.unlink()
    place_new(beside, target)
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [b"new"]


def test_an_export_killed_at_any_step_leaves_no_file_or_the_whole_one_under_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Regression: the name was held by an empty file for a moment."""
    job = make_job(tmp_path / "jobs").folder
    export_job(job, tmp_path / "whole.zip")
    whole = (tmp_path / "whole.zip").read_bytes()

    class KilledError(BaseException):
        """Nothing in the program catches it."""

    for step in range(1, 100):
        target, count = tmp_path / f"{step}.zip", [0]

        def killing(real: object, count: list[int] = count, step: int = step) -> object:
            def call(*arguments: object, **named: object) -> object:
                count[0] += 1
                if count[0] >= step:
                    raise KilledError
                return real(*arguments, **named)

            return call

        with monkeypatch.context() as patch:
            for name in ("link", "replace", "fsync", "open", "unlink"):
                patch.setattr(files.os, name, killing(getattr(os, name)))
            try:
                export_job(job, target)
            except KilledError:
                assert not target.exists() or target.read_bytes() == whole
                continue
        assert target.read_bytes() == whole
        break
    else:
        pytest.fail("it never came to the end")
    assert step > 4
    sound(job)


@pytest.mark.parametrize("code", [errno.EINVAL, errno.EOPNOTSUPP, errno.EACCES, errno.EBADF])
def test_a_job_is_made_where_folders_cannot_be_synced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    """Regression: some network drives refuse it."""
    real = os.fsync

    def refuse_folders(number: int) -> None:
        if os.path.isdir(f"/proc/self/fd/{number}"):
            raise OSError(code, os.strerror(code))
        real(number)

    monkeypatch.setattr(files.os, "fsync", refuse_folders)
    job = make_job(tmp_path / "jobs").folder
    add_note(job, "kept", now=NOW)
    sound(job)


@pytest.mark.skipif(os.name == "nt", reason="locks are on bytes there")
@pytest.mark.parametrize("code", [errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL])
def test_a_drive_without_locks_is_written_to_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    """Regression: notes and exports ended in a traceback."""
    monkeypatch.setattr(store_lock.fcntl, "flock", refuse(code))
    job = make_job(tmp_path / "jobs").folder
    add_note(job, "kept", now=NOW)
    export_job(job, tmp_path / "out.zip")
    sound(job)


def test_a_lock_is_held_by_one_waited_for_and_gone_afterwards(tmp_path: Path) -> None:
    path, waited = tmp_path / "lock", list[float]()
    with FileLock(path):
        assert path.read_text() == f"{os.getpid()}\n"
        with pytest.raises(Taken) as told:
            FileLock(path, wait_s=0.12, sleep=waited.append)
        assert told.value.process == os.getpid()
        assert sum(waited) == pytest.approx(0.12)
    assert not path.exists()
    path.write_text("anything a dead process left")
    with FileLock(path):
        assert is_lock_text(path.read_bytes())


def test_a_lock_that_is_a_link_is_not_followed(tmp_path: Path) -> None:
    """A job from elsewhere could name a file of this computer that would be emptied."""
    kept = tmp_path / "kept"
    kept.write_text("precious")
    (tmp_path / "lock").symlink_to(kept)
    with pytest.raises(OSError, match=r"."):
        FileLock(tmp_path / "lock")
    (tmp_path / "lock").unlink()
    (tmp_path / "lock").mkdir()
    with pytest.raises(OSError, match=r"."):
        FileLock(tmp_path / "lock")
    assert kept.read_text() == "precious"


def test_only_nothing_or_a_number_may_stand_in_a_lock() -> None:
    assert is_lock_text(b"")
    assert is_lock_text(b"4711\n")
    assert not any(is_lock_text(content) for content in (b"\n", b"4711", b"4711\nmore", b"words\n"))
