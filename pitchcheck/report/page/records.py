"""View records of the report page: every word that is printed and every value that is drawn.

Conventions: strings of text are ready to be shown; numbers are unrounded and only drawn. Lengths in mm,
intervals in cents. ``None`` where nothing was measured.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.fit.belief import Belief


@dataclass(frozen=True)
class SlotView:
    """One slot, for its row, its place in the nut and its side view.

    ``mark`` is the verdict as a short key (high, low, fine, unsure, unmeasured) for the style sheet.
    """

    number: int
    note: str
    mark: str
    word: str
    wound: bool
    gauge_mm: float | None
    height_mm: Belief | None
    target_mm: float
    floor_mm: float
    remove_mm: float
    raise_mm: float | None
    lines: tuple[tuple[str, str], ...]  # name and value, for the list beside the side view
    height: str
    height_thou: str
    between: str
    target: str
    target_thou: str
    action: str  # what to do now, in a few words
    evidence: tuple[str, ...]
    doubts: tuple[str, ...]


@dataclass(frozen=True)
class NutView:
    """All slots and the scale they share."""

    slots: tuple[SlotView, ...]
    scale_mm: float
    slotted: bool


@dataclass(frozen=True)
class NeckString:
    """One string over the neck; ``now`` and ``target`` hold frets 1 to 12. [cent]"""

    number: int
    note: str
    wound: bool
    gauge_mm: float | None
    now: tuple[float, ...] | None
    target: tuple[float, ...] | None
    label: str | None = None  # at fret 1, instead of the error there now


@dataclass(frozen=True)
class NeckView:
    """Errors of lightly fretted notes over the whole neck."""

    strings: tuple[NeckString, ...]
    scale_mm: float
    summary: str


@dataclass(frozen=True)
class Step:
    """One thing to do: details that hold for all of it, its parts, and how it ends."""

    title: str
    details: tuple[str, ...]
    parts: tuple[Step, ...] = ()
    end: tuple[str, ...] = ()


@dataclass(frozen=True)
class StepsView:
    """What to do, in order; with ``bottom`` the slot steps are the other way, never done as well."""

    first: tuple[Step, ...]
    bottom: tuple[Step, ...]
    slots: tuple[Step, ...]


@dataclass(frozen=True)
class FindingCase:
    """Where one finding acts, how large it is there, and what shows it."""

    where: str
    size: str
    evidence: tuple[str, ...]


@dataclass(frozen=True)
class FindingView:
    """All findings of one cause in plain words."""

    title: str
    meaning: str
    cases: tuple[FindingCase, ...]


@dataclass(frozen=True)
class Table:
    """A table of words: caption, heads of the columns, rows; the first cell of a row is its head."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class PageView:
    """The whole page, top to bottom."""

    title: str
    headline: str
    summary: tuple[str, ...]
    nut: NutView
    steps: StepsView
    next_take: Step | None
    next_note: str  # said where there is no next take
    neck: NeckView | None
    neck_table: Table | None
    chords: Table | None
    findings: tuple[FindingView, ...]
    refused: Table | None
    refused_note: str
    doubtful: Table | None
    gauges: Table | None
    residuals: Table | None
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
