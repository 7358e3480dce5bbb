"""A take: one plucked note whose place on the neck is known, and the pitch that was read from it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pitchcheck.doubts import Doubt


class Stop(StrEnum):
    """How the string was stopped."""

    OPEN = "open"
    FRET = "fret"  # fretted normally, just behind the fret
    PRESS = "press"  # held down onto the board midway behind the fret, with a rounded rod
    LEAF = "leaf"  # nothing, while a feeler leaf lies on the fret: does the open string touch it?


@dataclass(frozen=True)
class Position:
    """Which note: string, stop, fret counted from the nut (None for open), capo (0 = none).

    ``leaf_mm`` is the thickness of the feeler leaf that lies on the fret; None but for leaf takes. [mm]
    """

    string: int
    stop: Stop
    fret: int | None = None
    capo: int = 0
    leaf_mm: float | None = None

    @property
    def semitones(self) -> int:
        """Semitones above the open string under the same capo; of a leaf take, if it touches the leaf."""
        return 0 if self.fret is None else self.fret - self.capo

    @property
    def stop_words(self) -> str:
        """How the string is stopped: "open", "press 1"."""
        return "open" if self.fret is None else f"{self.stop.value} {self.fret}"

    def words(self) -> str:
        """Return the place in plain words."""
        place = self.stop_words
        if self.leaf_mm is not None:
            place = f"open with a {self.leaf_mm:.2f} mm leaf on fret {self.fret}"
        capo = f", capo {self.capo}" if self.capo else ""
        return f"string {self.string} {place}{capo}"


@dataclass(frozen=True)
class Take:
    """A take as it was read.

    Attributes
    ----------
    row : int
        Number of its row in the list of takes, from 1.
    file : str or None
        Sound file it came from; None when the pitch was read elsewhere.
    position : Position
    hz : float or None
        Fundamental of the stiff-string law, f_k = k hz sqrt(1 + B k^2). None when it could not be read.
    sd_cents : float or None
        Standard uncertainty of the pitch.
    when : float
        Playing time for the bracket: seconds within one file, else the row number.
    inharmonicity, inharmonicity_sd : float or None
        Inharmonicity coefficient B of the string as it sounded, and its standard uncertainty. [-]
    doubts : tuple of Doubt
        Reasons to distrust the take.
    used : bool
        False when the take is kept in the list but left out of every comparison; a doubt says why.
    start_s, end_s : float or None
        Stretch of the file; None for its beginning, and for its end. [s]
    """

    row: int
    file: str | None
    position: Position
    hz: float | None
    sd_cents: float | None
    when: float
    inharmonicity: float | None = None
    inharmonicity_sd: float | None = None
    doubts: tuple[Doubt, ...] = ()
    used: bool = True
    start_s: float | None = None
    end_s: float | None = None


@dataclass(frozen=True)
class Narrowing:
    """What one more take would do for a slot that cannot be judged yet.

    ``half_width_mm`` is how far the slot's 90 % interval reaches now, ``share`` the part of its width that
    the take should take off, ``helps`` the other strings that are still open.
    """

    string: int
    half_width_mm: float
    share: float
    helps: tuple[int, ...] = ()


@dataclass(frozen=True)
class NextTake:
    """The take that would narrow the decision most, and why."""

    position: Position
    why: Narrowing
