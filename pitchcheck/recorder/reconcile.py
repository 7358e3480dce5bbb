"""Brings the parts of a session folder to agree when a session at the microphone opens it.

Conventions: ``takes.csv`` says what counts; a row without its sound file is a take still to be played. A
sound file of ours that is in no row was being accepted when the program was killed, and is adopted, if its
number was not yet given out in ``course.toml``; with a lower number it was taken back or taken out, and is
set aside. Nothing is deleted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pitchcheck.guide.take_list import PlannedTake, TakeList, TakeState
from pitchcheck.instrument import Board, Instrument
from pitchcheck.recorder.course_file import COURSE, parse_course
from pitchcheck.recorder.disk import SET_ASIDE, parse_name, set_aside
from pitchcheck.recorder.takes_file import TakesTable
from pitchcheck.session.notices import Inbox
from pitchcheck.session.paths import inside
from pitchcheck.session.rows import TAKES, TakeRow
from pitchcheck.session.textfile import read_text
from pitchcheck.store.files import UNFINISHED
from pitchcheck.takes import Position, Stop


@dataclass
class Reconciled:
    """A folder whose parts agree in memory.

    ``table_changed`` says that ``takes.csv`` has to be written for them to agree on disk too, ``dropped``
    that rows of takes still to be played were left out of it.
    """

    entries: list[PlannedTake]
    next_number: int
    table: TakesTable
    notices: list[str]
    table_changed: bool = False
    dropped: bool = False

    @property
    def takes(self) -> TakeList:
        """What is to be played and what was."""
        return TakeList(self.entries, next_number=self.next_number)


def reconcile(
    folder: Path, *, instrument: Instrument, planned: Sequence[Position], replan: bool = False
) -> Reconciled:
    """Read the parts of a folder and bring them to agree; unfinished and stray files are set aside.

    Parameters
    ----------
    folder : Path
    instrument : Instrument
    planned : sequence of Position
        The course of a folder that asks for nothing yet.
    replan : bool
        True lets ``planned`` take the place of a course of which nothing was played.

    Raises
    ------
    BadInput
        If ``takes.csv`` cannot be read.
    OSError
        If a file cannot be moved.
    """
    table = TakesTable.read(folder, instrument=instrument)
    notices = list(table.notices)
    _set_unfinished_aside(folder, notices)
    plan = _read_plan(folder, notices)
    found = Reconciled([], _fresh_number(folder, plan), table, notices)
    if plan is not None and not (folder / TAKES).exists():
        _rebuild_table(found, plan, folder)
    rows = [(row, _is_there(folder, row.file)) for row in table.takes]
    if plan is None:
        found.entries = [PlannedTake(row.position) for row, _ in rows]
        for place, (row, there) in enumerate(rows):
            if there:
                _count(found, place, row.file)
    else:
        found.entries = list(plan.entries)
        _match(found, rows)
    found.table.remove_rows({row.row for row, there in rows if not there})
    found.dropped = any(not there for _, there in rows)
    found.entries = [p for p in found.entries if p.taken or _can_be_played(p.position, instrument)]
    _place_strays(found, folder, plan, instrument)
    if not found.entries or (replan and all(p.state is TakeState.TO_PLAY for p in found.entries)):
        found.entries = [PlannedTake(position) for position in planned]
    return found


def _read_plan(folder: Path, notices: list[str]) -> TakeList | None:
    """Return the course on disk; one that cannot be read is set aside."""
    if not (folder / COURSE).exists():
        return None
    inbox = Inbox(COURSE)
    text = read_text(folder, COURSE, inbox, missing="")
    try:
        if text is None:
            raise ValueError(inbox.problems[0].limit)
        return parse_course(text)
    except ValueError as error:
        set_aside(folder / COURSE)
        notices.append(f"{COURSE} could not be read ({error}) and was set aside; {TAKES} says what is there.")
        return None


def _set_unfinished_aside(folder: Path, notices: list[str]) -> None:
    for path in sorted(folder.glob(f"{UNFINISHED}*")):
        kept = set_aside(path)
        notices.append(
            f"A file that was being written when the last session stopped is now {SET_ASIDE}/{kept.name}."
        )


def _rebuild_table(found: Reconciled, plan: TakeList, folder: Path) -> None:
    """Fill a list that is gone from the course, so that no take is lost with it."""
    taken = [(p.number or 0, p.file or "", p.position) for p in plan.entries if p.taken]
    rows: list[TakeRow] = []
    for _, file, position in sorted(taken, key=lambda take: take[0]):
        if _is_there(folder, file):
            found.table.add(file, position)
            rows.append(TakeRow(len(rows) + 1, file, position, None, None))
    found.table.takes = tuple(rows)
    if rows:
        found.table_changed = True
        found.notices.append(f"{TAKES} was missing and was made again from {COURSE}.")


def _match(found: Reconciled, rows: Sequence[tuple[TakeRow, bool]]) -> None:
    """Hold the course against the rows: what has no row is asked for again, what is new is added."""
    left = list(rows)
    for i, place in enumerate(found.entries):
        if not place.taken:
            continue
        own = next(
            (r for r in left if r[1] and (r[0].file, r[0].position) == (place.file, place.position)), None
        )
        if own is None:
            found.entries[i] = PlannedTake(place.position)
            found.notices.append(
                f"{place.file} stands no more in {TAKES} as {place.position.words()}: asked again."
            )
        else:
            left.remove(own)
    for row, there in left:
        if there:
            _count(found, _free_place(found, row.position), row.file)
    waiting = [p.position for p in found.entries if not p.taken]
    for row, there in left:
        if there:
            continue
        if row.position in waiting:
            waiting.remove(row.position)
        else:
            found.entries.append(PlannedTake(row.position))


def _free_place(found: Reconciled, position: Position) -> int:
    """Return the place that a take of this position fills: one to play, one left out, or a new one."""
    for state in (TakeState.TO_PLAY, TakeState.SKIPPED):
        for i, place in enumerate(found.entries):
            if place.state is state and place.position == position:
                return i
    found.entries.append(PlannedTake(position))
    return len(found.entries) - 1


def _count(found: Reconciled, place: int, file: str) -> None:
    """Count a sound file as the take of a place."""
    named = parse_name(file)
    used = {p.number for p in found.entries}
    number = named[0] if named is not None and named[0] not in used else found.next_number
    found.next_number = max(found.next_number, number + 1)
    position = found.entries[place].position
    found.entries[place] = PlannedTake(position, TakeState.TAKEN, number, file)


def _place_strays(found: Reconciled, folder: Path, plan: TakeList | None, instrument: Instrument) -> None:
    """Adopt or set aside the sound files of ours that are in no row."""
    in_rows = found.table.files
    strays = []
    for path in folder.iterdir():
        named = parse_name(path.name)
        if named is not None and path.name not in in_rows and path.is_file():
            strays.append((*named, path))
    for number, position, path in sorted(strays, key=lambda stray: stray[0]):
        newest = plan is not None and number >= plan.next_number
        if newest and _can_be_played(position, instrument) and _is_whole(path):
            _adopt(found, position, path, folder)
        else:
            kept = set_aside(path)
            found.notices.append(f"{path.name} is not in {TAKES} and is now {SET_ASIDE}/{kept.name}.")


def _adopt(found: Reconciled, position: Position, path: Path, folder: Path) -> None:
    """Count a take that was whole on disk when the program was killed, before its row was."""
    waiting = any(p.state is TakeState.TO_PLAY and p.position == position for p in found.entries)
    again = [i for i, p in enumerate(found.entries) if p.taken and p.position == position]
    if not waiting and again:  # it was being played again: it takes the place of the last one
        place = max(again, key=lambda i: found.entries[i].number or 0)
        old = found.entries[place].file
        found.entries[place] = replace(found.entries[place], state=TakeState.TO_PLAY)
        if old is not None:
            found.table.remove_file(old)
            set_aside(folder / old)
    _count(found, _free_place(found, position), path.name)
    found.table.add(path.name, position)
    found.table_changed = True
    found.notices.append(f"{path.name} had been accepted when the last session stopped, and counts.")


def _fresh_number(folder: Path, plan: TakeList | None) -> int:
    """Return a number above every one that was ever used."""
    names = [
        path.name for place in (folder, folder / SET_ASIDE) if place.is_dir() for path in place.iterdir()
    ]
    used = [named[0] for name in names if (named := parse_name(name)) is not None]
    return max([1, *(number + 1 for number in used), *([] if plan is None else [plan.next_number])])


def _can_be_played(position: Position, instrument: Instrument) -> bool:
    known = position.string in {spec.number for spec in instrument.strings}
    return known and not (position.stop is Stop.PRESS and instrument.board is Board.SCALLOPED)


def _is_there(folder: Path, name: str) -> bool:
    path = inside(folder, name)
    try:
        return path is not None and path.is_file()
    except OSError:  # a name that no disk can hold
        return False


def _is_whole(path: Path) -> bool:
    """Whether a sound file can be read to its end."""
    import soundfile

    try:
        with soundfile.SoundFile(path) as file:
            return bool(len(file.read(dtype="float32")) == file.frames > 0)
    except (OSError, RuntimeError):
        return False
