"""The recorder when things go wrong: killed between any two steps on the disk, full, locked, read-only."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest

from helpers.recorder import (
    COURSE,
    listed,
    new_session,
    number_of,
    open_recorder,
    set_aside_names,
    states,
    store,
    take_back,
)
from pitchcheck.errors import BadInput
from pitchcheck.recorder import disk as course_disk
from pitchcheck.recorder.recorder import Recorder, WriteFailed
from pitchcheck.store import lock as course_lock

SHORT = COURSE[:6]  # one string


class KilledError(BaseException):
    """Stands for a kill: nothing in the program catches it."""


class Killer:
    """Ends the program before the n-th step that changes the disk."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *, before: int) -> None:
        self.count, self._before = 0, before
        monkeypatch.setattr(course_disk.os, "replace", self._step(os.replace))
        monkeypatch.setattr(course_disk.os, "fsync", self._step(lambda _: None))  # only power cuts need it

    def _step(self, real: Callable[..., Any]) -> Callable[..., Any]:
        def step(*args: Any) -> Any:
            self.count += 1
            if self.count >= self._before:
                raise KilledError
            return real(*args)

        return step


Told = dict[int, set[str]]  # place: names of which one must be listed


def play(recorder: Recorder, told: Told) -> None:
    """Accept two takes, play the second again, take one back, accept another; note what was told as kept."""
    told[0] = {store(recorder, 1, 0).name}
    told[1] = {store(recorder, 2, 1).name}
    told[1].add("003-string1-fret1.flac")  # from here on it may replace the old one
    told[1] = {store(recorder, 3, 1).name}
    take_back(recorder, 2)
    told[2] = {store(recorder, 4, 2).name}
    del told[2]
    take_back(recorder, 4)
    told[2] = {store(recorder, 5, 2).name}


def kill_before(step: int, folder: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[bool, Told]:
    """Play until killed; return whether it came to the end, and what had been told as kept."""
    copytree(folder.parent / "new", folder)
    told: Told = {}
    with monkeypatch.context() as patch:
        Killer(patch, before=step)
        with suppress(KilledError), open_recorder(folder, SHORT) as recorder:
            play(recorder, told)
            return True, told
    return False, told


def test_killed_before_any_step_nothing_told_is_lost_and_the_session_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    new_session(tmp_path / "new")
    step, ended = 0, False
    while not ended:
        step += 1
        folder = tmp_path / str(step)
        ended, told = kill_before(step, folder, monkeypatch)
        with monkeypatch.context() as patch:
            Killer(patch, before=10_000)
            go_on(folder, told, step)
    assert step > 40  # five takes of at least six steps, and what was taken back


def go_on(folder: Path, told: Told, step: int) -> None:
    """Check what is there after a kill, then play what is left."""
    with open_recorder(folder, SHORT) as recorder:
        rows = listed(folder) if (folder / "takes.csv").exists() else []
        files = {name for name, _ in rows}
        assert len(files) == len(rows), step
        assert [names for names in told.values() if not names & files] == [], step
        assert {p.file for p in recorder.takes.entries if p.taken} == files, step
        assert all(number_of(folder / name) == int(name[:3]) for name in files), step
        loose = {p.name for p in folder.glob("*.flac")} | {p.name for p in folder.glob(".unfinished*")}
        assert loose == files, step
        for place, here in enumerate(recorder.takes.entries):
            if not here.taken:
                store(recorder, recorder.takes.next_number, place)
        assert states(recorder) == "t" * len(SHORT)
    assert sorted(str(p) for _, p in listed(folder)) == sorted(str(p) for p in SHORT)


def test_nothing_is_ever_deleted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every sound that was whole on the disk is still there after the next opening, listed or set aside."""
    new_session(tmp_path / "new")
    for step in range(3, 48, 2):
        folder = tmp_path / str(step)
        kill_before(step, folder, monkeypatch)
        before = {number_of(path) for path in folder.rglob("*.flac") if not path.name.startswith(".")}
        open_recorder(folder).close()
        after = {number_of(path) for path in folder.rglob("*.flac")}
        assert before <= after, step


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EIO, errno.EROFS])
def test_a_take_that_cannot_be_written_counts_as_not_played(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    new_session(tmp_path)
    with open_recorder(tmp_path) as recorder:
        store(recorder, 1, 0)
        for failing in range(1, 4):  # the sound file, the list, its folder entry
            count = [0]

            def fail(number: int, *, count: list[int] = count, failing: int = failing) -> None:
                count[0] += 1
                if count[0] >= failing:
                    raise OSError(code, os.strerror(code))

            with monkeypatch.context() as patch:
                patch.setattr(course_disk.os, "fsync", fail)
                if failing != 2:  # an fsync of a folder may fail: some drives know none
                    with pytest.raises(WriteFailed) as told:
                        store(recorder, 1 + failing, 1)
                    assert str(told.value).count(". ") == 1
                    assert states(recorder)[:2] == "t."
        assert listed(tmp_path) == [("001-string1-open.flac", COURSE[0])]
        store(recorder, 9, 1)
    assert [name for name, _ in listed(tmp_path)] == ["001-string1-open.flac", "009-string1-fret1.flac"]
    with open_recorder(tmp_path) as recorder:
        assert states(recorder)[:3] == "tt."
        assert recorder.notices == ()


def test_a_full_disk_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    new_session(tmp_path)
    with open_recorder(tmp_path) as recorder, monkeypatch.context() as patch:
        patch.setattr(course_disk.os, "fsync", lambda _: (_ for _ in ()).throw(OSError(errno.ENOSPC, "full")))
        with pytest.raises(WriteFailed, match="the disk is full"):
            store(recorder, 1, 0)
    assert not list(tmp_path.glob(".unfinished*"))


def test_an_undo_that_could_not_be_written_is_made_good_by_the_next_take(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    new_session(tmp_path)
    with open_recorder(tmp_path) as recorder:
        store(recorder, 1, 0)
        store(recorder, 2, 1)
        with monkeypatch.context() as patch:
            patch.setattr(
                course_disk.os, "replace", lambda *_: (_ for _ in ()).throw(OSError(errno.EIO, "no"))
            )
            assert "cannot be written" in str(take_back(recorder, 2))
        store(recorder, 3, 1)
        assert [name for name, _ in listed(tmp_path)] == ["001-string1-open.flac", "003-string1-fret1.flac"]
    with open_recorder(tmp_path):
        assert set_aside_names(tmp_path) == {"002-string1-fret1.flac"}


def test_a_folder_that_cannot_be_written_is_refused_at_the_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    new_session(tmp_path)
    if os.geteuid() == 0:  # root writes everywhere: let the system call say what it says to others
        real = os.open

        def refuse(path: Any, flags: int, *mode: int) -> int:
            if flags & os.O_CREAT:
                raise PermissionError(errno.EACCES, "Permission denied")
            return real(path, flags, *mode)

        monkeypatch.setattr(course_lock.os, "open", refuse)
    else:
        tmp_path.chmod(0o555)
    with pytest.raises(BadInput, match="nothing can be written there"):
        open_recorder(tmp_path)


def test_a_second_session_in_the_folder_is_refused(tmp_path: Path) -> None:
    new_session(tmp_path)
    with open_recorder(tmp_path) as first:
        with pytest.raises(BadInput, match=f"process {os.getpid()}"):
            open_recorder(tmp_path)
        store(first, 1, 0)
    open_recorder(tmp_path).close()


HOLD = """
import sys
from pathlib import Path
from pitchcheck.recorder.disk import hold_folder
lock = hold_folder(Path(sys.argv[1]))
print("held", flush=True)
sys.stdin.read()
"""


def test_another_process_holds_the_folder_until_it_is_killed(tmp_path: Path) -> None:
    new_session(tmp_path)
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        with pytest.raises(BadInput, match=f"process {other.pid}"):
            open_recorder(tmp_path)
        other.kill()
        other.wait()
        assert (tmp_path / "listen.lock").exists()  # left behind, and no hindrance
        open_recorder(tmp_path).close()
