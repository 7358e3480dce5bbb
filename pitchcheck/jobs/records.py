"""What a job holds, as read from its folder.

Conventions: a *job* is one instrument on the bench from first look to hand-over; ``instrument.Job`` is the
settings of one session folder and something else. Passes are numbered from 1 in the order in which they were
added; times carry their offset from UTC and never decide an order. ``None`` is "not said". Lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from pitchcheck.instrument import Removal


class PassKind(StrEnum):
    """What a pass is for."""

    BEFORE = "before"  # as the instrument came in
    AFTER = "after"  # between two rounds of work
    FINAL = "final"  # as it is handed back


@dataclass(frozen=True)
class StoredPass:
    """One sealed pass: an ordinary session folder with its result and its sums.

    Attributes
    ----------
    number : int >= 1
    kind : PassKind
    name : str
        For people: "before", "after pass 1", "final"; each occurs once in a job.
    folder : Path
        A session folder as ``measure_folder`` reads it; ``[before]`` in it names the pass before.
    when : datetime
        When it was added.
    removed : tuple of Removal
        What the tech says came off since the pass before.
    remarks : str or None
    takes : int
        Rows of its list of takes or readings.
    photos : tuple of Path
    made_with : str
        Program and version that measured it.
    """

    number: int
    kind: PassKind
    name: str
    folder: Path
    when: datetime
    removed: tuple[Removal, ...]
    remarks: str | None
    takes: int
    photos: tuple[Path, ...]
    made_with: str


@dataclass(frozen=True)
class Note:
    """One bench note; a correction is another note."""

    number: int
    when: datetime
    words: str


@dataclass(frozen=True)
class StepDone:
    """One line of the checklist: the last one for a step counts, earlier ones stay.

    ``step`` is a key of ``jobs.checklist.STEPS``; ``measured`` is a length or words as given; ``photo`` lies
    in the job.
    """

    step: str
    when: datetime
    done: bool
    note: str | None
    measured: str | None
    photo: Path | None


@dataclass(frozen=True)
class BenchJob:
    """A job as its folder tells it.

    Attributes
    ----------
    folder : Path
    id : str
        Name of the folder.
    title : str
    instrument : str or None
        In words.
    customer, owner_words : str or None
        Who brought it, and what they said is wrong. An export without names has neither.
    made : datetime
    passes : tuple of StoredPass
        In order; empty for a new job.
    notes : tuple of Note
    steps : tuple of StepDone
        In the order written.
    fingerprint : str or None
        SHA-256 of the job's ``sums.txt`` as it stands, 64 hexadecimal digits; None if it has none.
    unfinished : tuple of str
        Leftovers of writes that were cut short, by name.
    left_out : tuple of str
        What an export left out: "names", "notes", "sound around the notes".
    faults : tuple of str
        Parts that could not be read and are missing here, in whole sentences.
    """

    folder: Path
    id: str
    title: str
    instrument: str | None
    customer: str | None
    owner_words: str | None
    made: datetime
    passes: tuple[StoredPass, ...]
    notes: tuple[Note, ...]
    steps: tuple[StepDone, ...]
    fingerprint: str | None
    unfinished: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()


@dataclass(frozen=True)
class JobLine:
    """One job in a list; ``fault`` says why it could not be read, and then only the id is sure."""

    id: str
    folder: Path
    title: str
    made: datetime | None
    passes: int
    last: str | None
    fault: str | None = None
