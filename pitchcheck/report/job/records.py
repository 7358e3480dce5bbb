"""What a job report is made from, and the view that its page shows.

Conventions: text is ready to be shown; numbers are unrounded and only drawn. Lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.compare import Comparison
from pitchcheck.instrument import Removal
from pitchcheck.measurement import Measurement
from pitchcheck.report.page.records import NeckView, Table


@dataclass(frozen=True)
class Snippet:
    """Sound of one string before and after, open string then first fret; FLAC as in a file."""

    number: int
    note: str
    before: bytes
    after: bytes


@dataclass(frozen=True)
class PassStory:
    """One pass as it is told. ``removed`` is what was told to have come off since the one before."""

    name: str
    when: str | None
    takes: int
    removed: tuple[Removal, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class JobStory:
    """Everything that a job report tells. ``before`` and ``after`` are the two passes compared."""

    title: str
    passes: tuple[PassStory, ...]
    before: Measurement
    after: Measurement
    comparison: Comparison
    owner: str | None = None
    owner_words: str | None = None
    notes: tuple[str, ...] = ()
    done: tuple[str, ...] = ()
    fingerprint: str | None = None
    made: str | None = None
    snippets: tuple[Snippet, ...] = ()


@dataclass(frozen=True)
class ChangeRow:
    """One slot in the table of changes; ``mark`` is the state now as a key for the style sheet."""

    number: int
    note: str
    before: str
    before_between: str
    now: str
    now_between: str
    change: str
    change_between: str
    sure: str
    told: str
    mark: str
    word: str


@dataclass(frozen=True)
class ChangePicture:
    """One slot in side view, before and now, with the words beside it."""

    number: int
    note: str
    title: str
    desc: str
    wound: bool
    before_mm: float | None
    after_mm: float | None
    target_mm: float
    floor_mm: float
    low_mm: float | None  # ends of the 90 % interval of the slot now
    high_mm: float | None
    lines: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Listen:
    """One string to be heard; the two sounds as data addresses."""

    title: str
    before: str
    after: str
    words: str


@dataclass(frozen=True)
class JobView:
    """The whole report, top to bottom."""

    title: str
    made: str
    headline: str
    alarm: tuple[str, ...]  # what must be put right; empty if nothing
    summary: tuple[str, ...]
    owner: tuple[tuple[str, str], ...]
    rows: tuple[ChangeRow, ...]
    pictures: tuple[ChangePicture, ...]
    scale_mm: float
    neck: NeckView | None
    tolerance: str  # what "no change" means
    work: tuple[tuple[str, tuple[str, ...]], ...]  # pass by pass: its name, and what was done
    done: tuple[str, ...]
    notes: tuple[str, ...]
    chords: Table | None
    chord_groups: Table | None
    chords_line: str
    listen: tuple[Listen, ...]
    takes: Table | None
    repeats: Table | None
    repeats_line: str
    assumed: tuple[str, ...]
    remarks: tuple[str, ...]
    fingerprint: str
