"""Keeps a session at the microphone in its folder: every accepted take is on disk before the next prompt.

Conventions: the folder is an ordinary session folder at every moment (docs/formats.md). A take is written in
this order, each step whole and on the disk before the next: its sound file, ``takes.csv``, ``course.toml``. A
take that is taken back leaves ``takes.csv``, then ``course.toml``, and its file is moved to ``set-aside/``.
"""

from __future__ import annotations

import errno
from collections.abc import Iterable, Sequence
from contextlib import suppress
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from types import TracebackType

from pitchcheck.clip import Clip
from pitchcheck.errors import BadInput, Problem
from pitchcheck.instrument import Instrument
from pitchcheck.recorder.course_file import COURSE, CoursePlace, CoursePlan, State, course_text, to_play
from pitchcheck.recorder.disk import copy_aside, encode, set_aside
from pitchcheck.recorder.file_names import take_name
from pitchcheck.recorder.lock import hold_folder
from pitchcheck.recorder.reconcile import settle
from pitchcheck.session.rows import READINGS, TAKES
from pitchcheck.store.files import write_whole
from pitchcheck.takes import Position


class NotKept(Exception):
    """A take could not be written; its words say why and what to do. Handled where takes are stored."""


class Recorder:
    """The folder of one session, held against other writers until it is closed.

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
            found = settle(folder, instrument=instrument, planned=planned, replan=replan)
            self._places, self._table = found.places, found.table
            self._next, self._dropped = found.next_number, found.dropped
            self._replaced: dict[int, str] = {}
            self.notices = tuple(found.notices)
            if found.table_changed:
                self._write_table()
            self._write_course()
        except OSError as error:
            self._lock.close()
            raise BadInput(Problem(str(folder), None, None, None, _limit(error), _action(error))) from error
        except BaseException:
            self._lock.close()
            raise

    @property
    def places(self) -> tuple[CoursePlace, ...]:
        """The course as it stands."""
        return tuple(self._places)

    @property
    def next_number(self) -> int:
        """Number for the next accepted take."""
        return self._next

    def store(
        self,
        number: int,
        *,
        place: int,
        position: Position,
        clip: Clip,
        hz: float | None = None,
        inharmonicity: float | None = None,
    ) -> Path:
        """Put an accepted take on disk and into the list; it takes the place of an earlier take there.

        Parameters
        ----------
        number : int >= 1
            Not used before.
        place : int
            Index in the course.
        position : Position
        clip : Clip
        hz, stiffness : float, optional
            As they were heard; kept in ``course.toml``.

        Returns
        -------
        Path
            Of the sound file.

        Raises
        ------
        NotKept
            If it could not be written. Then it counts as not played, and nothing that was kept is touched.
        """
        table, before = deepcopy(self._table), self._places[place]
        path: Path | None = None
        try:
            content, ending = encode(clip)
            path = self._folder / take_name(number, position, ending=ending)
            write_whole(path, content)
            if before.file is not None:
                self._table.remove_file(before.file)
            self._table.add(path.name, position)
            self._write_table()
        except OSError as error:
            self._table = table
            if path is not None and path.exists():
                with suppress(OSError):
                    set_aside(path)
            raise NotKept(f"{_limit(error)}. {_action(error)}") from error
        if before.number is not None and before.file is not None:
            self._replaced[before.number] = before.file
        self._places[place] = CoursePlace(position, State.TAKEN, number, path.name, hz, inharmonicity)
        self._next = max(self._next, number + 1)
        with suppress(OSError):  # sound and row are safe; the course is made good when the folder is opened
            self._write_course()
        return path

    def take_back(self, number: int) -> str | None:
        """Take an accepted take out of the list and set its file aside.

        Returns
        -------
        str or None
            What could not be written, in words; then it leaves the list when the next take is stored.
        """
        file = self._replaced.pop(number, None)
        for i, place in enumerate(self._places):
            if place.number == number:
                file = place.file
                self._places[i] = CoursePlace(place.position)
        if file is None:
            return None
        try:
            if file in self._table.files:
                self._table.remove_file(file)
                self._write_table()
            self._write_course()
            if (self._folder / file).is_file():
                set_aside(self._folder / file)
        except OSError as error:
            return f"{_limit(error)}. {_action(error)}"
        return None

    def mark_skipped(self, places: Iterable[int]) -> None:
        """Note which places are left out; all other places that are not taken are to be played."""
        skipped = set(places)
        wanted = [
            place if place.taken else replace(place, state=State.SKIPPED if i in skipped else State.TO_PLAY)
            for i, place in enumerate(self._places)
        ]
        if wanted != self._places:
            self._places = wanted
            with suppress(OSError):  # worth no more than being asked again
                self._write_course()

    def extend(self, positions: Sequence[Position]) -> None:
        """Add places at the end of the course."""
        self._places += to_play(positions)
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
        text = course_text(CoursePlan(tuple(self._places), self._next))
        write_whole(self._folder / COURSE, text.encode("utf-8"))


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
