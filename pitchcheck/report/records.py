"""View records that pages and terminal share: every word that is printed, every value that is drawn.

Conventions: text is ready to be shown; numbers are unrounded and only drawn. Lengths in mm, intervals in
cents. ``None`` where nothing was measured.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.fit.belief import Belief


@dataclass(frozen=True)
class SlotPicture:
    """What is drawn of one slot, in the nut and in side view.

    ``mark`` is the verdict as a key of the style sheet (high, low, fine, unsure, unmeasured), ``word`` the
    verdict as it is read. With ``before_mm`` the slot is drawn as it was, dashed, and as it is.
    """

    number: int
    note: str
    wound: bool
    gauge_mm: float | None
    mark: str
    word: str
    height_mm: Belief | None
    target_mm: float
    floor_mm: float
    desc: str  # what the drawing shows, for those who cannot see it
    before_mm: float | None = None
    remove_mm: float = 0.0
    raise_mm: float | None = None
    lines: tuple[tuple[str, str], ...] = ()  # name and value, for the list beside the side view


@dataclass(frozen=True)
class SlotView:
    """One slot of a measurement: its picture, and the cells that the terminal and the page show of it."""

    picture: SlotPicture
    name: str  # number and note
    height: str
    between: str
    target: str
    first_fret: str  # error in cents and its uncertainty
    off: str  # what may come off now
    action: str  # what to do now, in a few words
    evidence: tuple[str, ...]
    doubts: tuple[str, ...]


@dataclass(frozen=True)
class NeckString:
    """One string over the neck, frets 1 to 12: as it is, and what it is held against. [cent]"""

    number: int
    note: str
    now: tuple[float, ...] | None
    aim: tuple[float, ...] | None  # with the slot at target, or as it was before
    wound: bool
    label: str  # at fret 1


@dataclass(frozen=True)
class NeckView:
    """Errors of lightly fretted notes over the whole neck."""

    strings: tuple[NeckString, ...]
    scale_mm: float
    desc: str


@dataclass(frozen=True)
class Step:
    """One thing to do: details that hold for all of it, its parts, and how it ends."""

    title: str
    details: tuple[str, ...]
    parts: tuple[Step, ...] = ()
    end: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """A table of words: caption, heads of the columns, rows; the first cell of a row is its head."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Section:
    """A title and its lines."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """What a terminal shows, top to bottom. ``rows`` has one row per string, its cells under ``heads``."""

    title: str
    headline: str
    summary: tuple[str, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    sections: tuple[Section, ...] = ()
