"""When a recording cannot honestly be labelled, and why: records; the words are made at the end."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from enum import StrEnum

from pitchcheck.memo.labels import LIKE_STRING, Label, Labelling
from pitchcheck.takes import Position

FEWEST_PLUCKS = 3  # an open string, something stopped, and an open string again
TORN_SHARE, FEWEST_TORN = 0.15, 3  # of the plucks: more of them doubtful, and the whole may be misread (ours)
STRANGE_SHARE, FEWEST_STRANGE = 0.25, 4  # of the plucks: more that fit nowhere, and it is another instrument


class Why(StrEnum):
    """Why a recording is not labelled."""

    NO_PLUCKS = "no plucks"
    TOO_FEW = "too few"
    ALIKE = "alike"  # two readings are alike
    STRANGE = "strange"  # many notes are no place of this instrument


@dataclass(frozen=True)
class Refusal:
    """Why a recording is not labelled.

    Attributes
    ----------
    why : Why
    plucks : int
        Sounds like a plucked string.
    concerned : int
        Of these, those that speak against it.
    first_s : float
        When the first of them sounds. [s]
    pair : tuple of Position, or None
        Two places that are most often alike.
    """

    why: Why
    plucks: int
    concerned: int
    first_s: float
    pair: tuple[Position, Position] | None = None


def find_refusal(labelling: Labelling) -> Refusal | None:
    """Return the reason to refuse a labelling, or None."""
    likely = [label for label in labelling.labels if label.likeness > LIKE_STRING]
    sure = [label for label in labelling.labels if label.sure]
    if not likely:
        return Refusal(Why.NO_PLUCKS, 0, 0, 0.0)
    torn = [label for label in labelling.labels if label.torn]
    if len(torn) >= max(FEWEST_TORN, TORN_SHARE * len(likely)):
        return Refusal(Why.ALIKE, len(likely), len(torn), torn[0].sound.onset_s, _pair(torn))
    strange = [label for label in labelling.labels if label.strange]
    if len(strange) >= max(FEWEST_STRANGE, STRANGE_SHARE * len(likely)):
        return Refusal(Why.STRANGE, len(likely), len(strange), strange[0].sound.onset_s)
    if len(sure) < FEWEST_PLUCKS:
        return Refusal(Why.TOO_FEW, len(likely), len(sure), likely[0].sound.onset_s)
    return None


def _pair(torn: list[Label]) -> tuple[Position, Position] | None:
    """Return the two places that are most often alike."""
    pairs = Counter(
        (label.position, label.other)
        for label in torn
        if label.position is not None and label.other is not None
    )
    if not pairs:
        return None
    return pairs.most_common(1)[0][0]
