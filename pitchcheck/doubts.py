"""Reasons to doubt a take, each a record with its numbers; ``words.doubts`` says them in English.

Conventions: pitches in Hz, distances in cents, + = sharp. ``as_data`` and ``from_data`` are the form in which
a stored pass keeps them; the name of a record is part of that format.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any, get_args

from pitchcheck.errors import BadValue


@dataclass(frozen=True)
class NotRead:
    """The sound gave no pitch; ``reason`` is what the error that refused it says."""

    reason: str


@dataclass(frozen=True)
class OtherNote:
    """Another pitch sounds than the one expected; ``octave``: the same note in another octave."""

    expected_hz: float
    heard_hz: float
    octave: bool


@dataclass(frozen=True)
class SecondString:
    """A second, softer note sounds along, as a neighbouring string does. It does not make this one wrong."""

    hz: float


@dataclass(frozen=True)
class VaguePitch:
    """The pitch is known too badly to be worth comparing; ``sd_cents`` is its standard uncertainty."""

    sd_cents: float


@dataclass(frozen=True)
class Faint:
    """The note hardly stands out of the noise."""


@dataclass(frozen=True)
class Overdriven:
    """Part of the sound is cut off at the top of its range."""


@dataclass(frozen=True)
class OvertonesOff:
    """The overtones lie further off the law of one even, stiff string than those of a sound string.

    ``scatter_cents`` is the typical deviation of a partial.
    """

    scatter_cents: float


@dataclass(frozen=True)
class OpenOffItsNote:
    """Set aside: an open take further from the note of its string than a mistuned string is."""

    off_cents: float
    note: str
    capo: int
    limit_cents: float


@dataclass(frozen=True)
class StoppedOffItsPlace:
    """Set aside: a stopped take too far from its place above the open string."""

    off_cents: float
    flat_cents: float  # believable below its place
    sharp_cents: float  # believable above it


@dataclass(frozen=True)
class LeafOffItsNotes:
    """Set aside: a leaf on a fret leaves only that fret's note or the open one, and it is neither."""

    off_cents: float  # from the fret's note
    fret: int


@dataclass(frozen=True)
class NoOpenTake:
    """Set aside: no usable open take of the same string and capo to compare it with."""


@dataclass(frozen=True)
class TunedBetween:
    """Set aside: between the open takes around it the string was tuned, or slipped."""

    change_cents: float
    limit_cents: float


@dataclass(frozen=True)
class CopyOf:
    """Set aside: the same place and the same pitch to the last digit as another row, as a copied row has."""

    row: int


@dataclass(frozen=True)
class PressTooFar:
    """So sharp a press is a very high slot, or was played one fret too far."""

    off_cents: float


class Side(StrEnum):
    """Before or after, in playing order."""

    BEFORE = "before"
    AFTER = "after"


@dataclass(frozen=True)
class NoOpenTakeOn:
    """The open take on one side is missing, so tuning drift is not removed."""

    side: Side


@dataclass(frozen=True)
class StatedDoubt:
    """A doubt that is only known in words: a stored pass of an earlier format said it."""

    text: str


Doubt = (
    NotRead
    | OtherNote
    | SecondString
    | VaguePitch
    | Faint
    | Overdriven
    | OvertonesOff
    | OpenOffItsNote
    | StoppedOffItsPlace
    | LeafOffItsNotes
    | NoOpenTake
    | TunedBetween
    | CopyOf
    | PressTooFar
    | NoOpenTakeOn
    | StatedDoubt
)

WRONG_NOTES = (
    OtherNote,
    OpenOffItsNote,
    StoppedOffItsPlace,
    LeafOffItsNotes,
)  # kinds that say: this is not the note listed

_KINDS: dict[str, Callable[..., Doubt]] = {kind.__name__: kind for kind in get_args(Doubt)}


def as_data(doubt: Doubt) -> dict[str, Any]:
    """Return a doubt as plain data: its kind and its numbers.

    Examples
    --------
    >>> as_data(SecondString(147.0))
    {'kind': 'SecondString', 'hz': 147.0}
    """
    return {"kind": type(doubt).__name__, **asdict(doubt)}


def from_data(data: Mapping[str, Any]) -> Doubt:
    """Return the doubt that `as_data` wrote.

    Raises
    ------
    BadValue
        If the kind or its numbers are not known here.
    """
    values = {key: value for key, value in data.items() if key != "kind"}
    try:
        kind = _KINDS[data["kind"]]
        if kind is NoOpenTakeOn:
            return NoOpenTakeOn(Side(values["side"]))
        return kind(**values)
    except (KeyError, TypeError, ValueError) as error:
        raise BadValue(
            f"the doubt {dict(data)!r} is not of a kind this program knows. Use the version that wrote it."
        ) from error
