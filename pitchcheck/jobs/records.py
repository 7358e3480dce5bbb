"""What a job holds, as read from its folder.

Conventions: passes are numbered from 1 in the order in which they were added; times carry their offset from
UTC and never decide an order. ``None`` is "not said". Lengths in mm, or text with a unit as a person gave it.
A record that is kept in a file has its keys as the names of its fields (``jobs.formats``).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from pitchcheck.errors import BadValue
from pitchcheck.instrument import MeterQuantity, Removal

STEPS = ("score", "out", "bed", "thickness", "bottom", "height", "ends", "glue", "strung")
HEIGHT = "height"  # the step for which the sound tells a cut


class PassKind(StrEnum):
    """What a pass is for."""

    BEFORE = "before"  # as the instrument came in
    AFTER = "after"  # between two rounds of work
    FINAL = "final"  # as it is handed back


@dataclass(frozen=True, kw_only=True)
class CopiedFrom:
    """What a copy was made from: the fingerprint of that job, and what was left out of it."""

    of: str | None = None
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class JobHead:
    """``job.toml``: what was said when the job was made.

    Attributes
    ----------
    title : str
    instrument, serial : str or None
        In words, and the number on it.
    customer, owner_words : str or None
        Who brought it, and what they said is wrong. An export without names has neither.
    made : datetime
    copy : CopiedFrom or None
        Only in a copy for others.
    """

    title: str
    instrument: str | None = None
    serial: str | None = None
    customer: str | None = None
    owner_words: str | None = None
    made: datetime
    copy: CopiedFrom | None = None


@dataclass(frozen=True, kw_only=True)
class PassHead:
    """``pass.toml``: what was said when the pass was added.

    Attributes
    ----------
    kind : PassKind
    name : str
        For people: "before", "after pass 1", "final"; each occurs once in a job.
    when : datetime
        When it was added.
    takes : int
        Rows of its list of takes or readings.
    remarks : str or None
    changed : str or None
        What the tech said of strings or scale that are not those of the pass before.
    made_with : str
        Program and version that measured it.
    removed : tuple of Removal
        What the tech says came off since the pass before.
    """

    kind: PassKind
    name: str
    when: datetime
    takes: int
    remarks: str | None = None
    changed: str | None = None
    made_with: str
    removed: tuple[Removal, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SetAside:
    """A pass that was made by mistake: it stays as it is, and does not count."""

    number: int
    when: datetime
    reason: str


@dataclass(frozen=True, kw_only=True)
class GaugeReading:
    """What a gauge said, beside the sound; lengths as written, with their unit.

    Attributes
    ----------
    when : datetime
    after_pass : int >= 0
        Number of the last pass when it was read; 0 before the first.
    what : MeterQuantity
    string : int or None
    value : str or None
    passes, stops : str or None
        A leaf that goes through, and one that does not: the gap lies between them.
    """

    when: datetime
    after_pass: int
    what: MeterQuantity
    string: int | None = None
    value: str | None = None
    passes: str | None = None
    stops: str | None = None


@dataclass(frozen=True, kw_only=True)
class StoredPass(PassHead):
    """One sealed pass: an ordinary session folder with its result and its sums.

    Attributes
    ----------
    number : int >= 1
    folder : Path
        As ``measure_folder`` reads it; ``[before]`` in it names the pass before.
    photos : tuple of Path
    aside : SetAside or None
    gauge : tuple of GaugeReading
        Of the job, read after this pass and before the next: of the slots as this pass heard them.
    """

    number: int
    folder: Path
    photos: tuple[Path, ...] = ()
    aside: SetAside | None = None
    gauge: tuple[GaugeReading, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Note:
    """One bench note; a correction is another note."""

    number: int
    when: datetime
    words: str


@dataclass(frozen=True, kw_only=True)
class StepDone:
    """One line of the checklist: the last one for a step counts, earlier ones stay.

    ``name`` is one of ``STEPS``; ``measured`` is a length or words as given; ``photo`` is a name in the job.
    """

    name: str
    when: datetime
    done: bool
    note: str | None = None
    measured: str | None = None
    photo: str | None = None


@dataclass(frozen=True, kw_only=True)
class Job(JobHead):
    """One instrument on the bench from first look to hand-over, as its folder tells it.

    Attributes
    ----------
    folder : Path
    passes : tuple of StoredPass
        In order, those that were set aside too; empty for a new job.
    notes : tuple of Note
    steps : tuple of StepDone
        In the order written.
    gauge : tuple of GaugeReading
        In the order written.
    fingerprint : str or None
        SHA-256 of the job's ``sums.txt`` as it stands, 64 hexadecimal digits; None if it has none.
    unfinished : tuple of str
        Leftovers of writes that were cut short, by name.
    faults : tuple of str
        Parts that could not be read and are missing here, in whole sentences.
    """

    folder: Path
    passes: tuple[StoredPass, ...] = ()
    notes: tuple[Note, ...] = ()
    steps: tuple[StepDone, ...] = ()
    gauge: tuple[GaugeReading, ...] = ()
    fingerprint: str | None = None
    unfinished: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """Name of the folder."""
        return self.folder.name

    @property
    def counted(self) -> tuple[StoredPass, ...]:
        """The passes that were not set aside."""
        return tuple(stored for stored in self.passes if stored.aside is None)

    @property
    def left_out(self) -> tuple[str, ...]:
        """What an export left out: "names", "notes", "sound around the notes"."""
        return () if self.copy is None else self.copy.left_out

    def find_pass(self, word: str) -> StoredPass:
        """Return a pass by its name, its number or its kind where only one is of it; raise BadValue."""
        wanted = " ".join(word.lower().split())
        exact = [p for p in self.passes if wanted in (p.name, str(p.number), p.folder.name)]
        found = exact or [p for p in self.passes if wanted == p.kind.value]
        if len(found) == 1:
            return found[0]
        known = ", ".join(f"{p.number} ({p.name})" for p in self.passes) or "none yet"
        raise BadValue(f"no pass is called {word!r}; there are {known}. Name one of these.")

    def last_steps(self) -> dict[str, StepDone]:
        """Return the line that counts for each step of the checklist that has one."""
        return {line.name: line for line in self.steps}


@dataclass(frozen=True, kw_only=True)
class JobLine:
    """One job in a list; ``fault`` says why it could not be read, and then only the id is sure."""

    folder: Path
    title: str = ""
    made: datetime | None = None
    passes: int
    last: str | None = None
    fault: str | None = None

    @property
    def id(self) -> str:
        """Name of the folder."""
        return self.folder.name


def find_step(name: str) -> str:
    """Return the step of that name, or of that number from 1; raise BadValue if there is none."""
    wanted = name.strip().lower()
    for number, step in enumerate(STEPS, 1):
        if wanted in (step, str(number)):
            return step
    raise BadValue(f"step is {name!r}; it must be one of {', '.join(STEPS)}, or its number. Correct it.")
