"""What each sound of a recording was taken for, and how sure that is.

Conventions: beliefs are 0 to 1; a sound that is no pluck of the course has no position.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pitchcheck.memo.grammar import Order
from pitchcheck.memo.place_likelihood import Strings
from pitchcheck.memo.sounds import Sound
from pitchcheck.takes import Position

SURE = 0.93  # belief from which a pluck is labelled
LIKE_STRING = 1.0  # log odds from which a sound is taken for a string: one in forty others lies above (ours)


@dataclass(frozen=True)
class Label:
    """What a sound was taken for.

    Attributes
    ----------
    sound : Sound
    position : Position or None
        None for no pluck of the course.
    hz : float
        Pitch of the note that was taken; 0 without one. [Hz]
    belief : float
        0 to 1, of the position or of there being none.
    other : Position or None
        The next likely place.
    other_belief : float
    likeness : float
        Log odds of a plucked string by its sound alone.
    alone : bool
        Whether its string was never heard open: then it may as well be another string tuned otherwise.
    """

    sound: Sound
    position: Position | None
    hz: float
    belief: float
    other: Position | None
    other_belief: float
    likeness: float
    alone: bool = False

    @property
    def sure(self) -> bool:
        """Whether it is a pluck of a place, and which is beyond doubt."""
        placed = self.position is not None and self.belief >= SURE and not self.alone
        return placed and self.likeness > LIKE_STRING

    @property
    def torn(self) -> bool:
        """Whether it sounds like a plucked string and cannot be placed for sure."""
        return self.likeness > LIKE_STRING and (self.belief < SURE or self.alone)

    @property
    def strange(self) -> bool:
        """Whether it sounds like a plucked string and is surely no place of any course."""
        return self.likeness > LIKE_STRING and self.position is None and self.belief >= SURE


@dataclass(frozen=True)
class Labelling:
    """What a recording was taken for.

    Attributes
    ----------
    labels : tuple of Label
        One for each sound, in order.
    offset_cents : float
        By how much all strings are off their notes. [cent]
    shifts : dict of int to int
        Strings tuned apart from the others, and by how much. [semitones]
    course : str
    order : Order
    strings : Strings
    """

    labels: tuple[Label, ...]
    offset_cents: float
    shifts: Mapping[int, int]
    course: str
    order: Order
    strings: Strings
