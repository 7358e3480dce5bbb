"""Keeps a session at the microphone in its folder: every accepted take is on disk before the next prompt.

Conventions: the folder is an ordinary session folder at every moment (docs/formats.md). A take is written in
this order, each step whole and on the disk before the next: its sound file, ``takes.csv``, ``course.toml``. A
take that is taken back leaves ``takes.csv``, then ``course.toml``, and its file is moved to ``set-aside/``.
"""

from __future__ import annotations

import errno
from collections.abc import Sequence
from contextlib import suppress
from copy import deepcopy
from pathlib import Path
from types import TracebackType

from pitchcheck.clip import Clip
from pitchcheck.errors import BadInput, Problem
from pitchcheck.guide.take_list import PlannedTake
from pitchcheck.instrument import Instrument
from pitchcheck.recorder.course_file import COURSE, course_text
from pitchcheck.recorder.disk import copy_aside, encode, hold_folder, set_aside, take_name
from pitchcheck.recorder.reconcile import reconcile
from pitchcheck.session.rows import READINGS, TAKES
from pitchcheck.store.files import write_whole
from pitchcheck.takes import Position


class WriteFailed(Exception):
    """A take could not be written; its words say why and what to do. Handled where takes are stored."""


class Recorder:
    """The folder of one session, held against other writers until it is closed.

    Attributes
    ----------
    takes : TakeList
        What is to be played and what was, shared with the guide, who changes it before it is stored.
    notices : tuple of str
        What was found when the folder was opened.

    Parameters
    ----------
    folder : Path
        Holds ``session.toml``.
    instrument : Instrument
        As ``session.toml`` says.
    planned : sequence of Position
        The course of a folder that asks for nothing yet.
    replan : bool
        True lets ``planned`` take the place of a course of which nothing was played.

    Raises
    ------
    BadInput
        If another process listens into the folder, it cannot be written, or its list cannot be read.
    """

    def __init__(
        self, folder: Path, *, instrument: Instrument, planned: Sequence[Position], replan: bool = False
    ) -> None:
        if (folder / READINGS).exists():
            limit = f"{READINGS} is in the folder, so it holds readings and no recordings"
            raise BadInput(Problem(READINGS, None, None, None, limit, "Listen into another folder."))
        self._folder = folder
        self._lock = hold_folder(folder)
        try:
            found = reconcile(folder, instrument=instrument, planned=planned, replan=replan)
            self.takes, self._table, self._dropped = found.takes, found.table, found.dropped
            self.notices = tuple(found.notices)
            if found.table_changed:
                self._write_table()
            self._write_course()
        except OSError as error:
            self._lock.close()
            raise BadInput(Problem(str(folder), None, None, None, _limit(error), _action(error))) from error
        except BaseException:  # Ctrl-C or a fault of the program: the folder is given back, the error goes on
            self._lock.close()
            raise

    def store(self, index: int, clip: Clip, *, replaces: PlannedTake | None = None) -> Path:
        """Put the take that was just accepted at an index on disk; return the path of its sound file.

        Parameters
        ----------
        index : int
            Of an entry of ``takes`` that is taken and has no file yet.
        clip : Clip
        replaces : PlannedTake, optional
            The take that stood there before; its row gives way, its file stays until ``take_back``.

        Raises
        ------
        WriteFailed
            If it could not be written. Then it counts as not played, and nothing that was kept is touched.
        """
        entry, table = self.takes.entries[index], deepcopy(self._table)
        assert entry.number is not None
        path: Path | None = None
        try:
            content, ending = encode(clip)
            path = self._folder / take_name(entry.number, entry.position, ending=ending)
            write_whole(path, content)
            if replaces is not None and replaces.file is not None:
                self._table.remove_file(replaces.file)
            self._table.add(path.name, entry.position)
            self._write_table()
        except OSError as error:
            self._table = table
            if path is not None and path.exists():
                with suppress(OSError):
                    set_aside(path)
            raise WriteFailed(f"{_limit(error)}. {_action(error)}") from error
        self.takes.stored(index, path.name)
        self.save_course()  # sound and row are safe; the course is made good when the folder is opened
        return path

    def take_back(self, entry: PlannedTake) -> str | None:
        """Set the file of a take aside that no longer counts, and take out its row if it has one.

        Returns
        -------
        str or None
            What could not be written, in words; then it leaves the list when the next take is stored.
        """
        if entry.file is None:
            return None
        try:
            if entry.file in self._table.files:
                self._table.remove_file(entry.file)
                self._write_table()
            self._write_course()
            if (self._folder / entry.file).is_file():
                set_aside(self._folder / entry.file)
        except OSError as error:
            return f"{_limit(error)}. {_action(error)}"
        return None

    def save_course(self) -> None:
        """Write what is to be played and what was skipped; failing costs no more than being asked again."""
        with suppress(OSError):
            self._write_course()

    def close(self) -> None:
        """Give the folder back."""
        self._lock.close()

    def __enter__(self) -> Recorder:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _write_table(self) -> None:
        if self._dropped:  # rows of takes that are still to be played leave the list: keep it as it was
            copy_aside(self._folder / TAKES)
            self._dropped = False
        write_whole(self._folder / TAKES, self._table.text().encode("utf-8"))

    def _write_course(self) -> None:
        write_whole(self._folder / COURSE, course_text(self.takes).encode("utf-8"))


def _limit(error: OSError) -> str:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return "the disk is full"
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return f"the folder may not be written ({error.strerror})"
    return f"the folder cannot be written ({error.strerror or error})"


def _action(error: OSError) -> str:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return "Make room, then go on with key p; everything accepted so far is kept."
    return "Put that right, then go on with key p; everything accepted so far is kept."
