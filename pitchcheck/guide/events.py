"""What goes into a guided session and what comes out of it: records, no sentences.

Conventions: time is counted in samples that were heard, never by a clock; levels are dB below full scale;
pitches are in cents from where the take should lie. Whoever drives the session feeds events in the order in
which they happened and acts on the outcomes before feeding the next.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from pitchcheck.clip import Clip
from pitchcheck.doubts import Doubt
from pitchcheck.guide.take_list import PlannedTake
from pitchcheck.pitch.reading import Reading
from pitchcheck.takes import Position
from pitchcheck.types import FloatArray


class Command(StrEnum):
    """What the player can ask for at any time."""

    SKIP = "skip"  # leave this take out
    REDO = "redo"  # play the last accepted take again
    PAUSE = "pause"  # stop hearing, or go on
    UNDO = "undo"  # take back the last thing done: a take, or a skip
    FINISH = "finish"  # end early with what there is


@dataclass(frozen=True)
class Sound:
    """The next piece of sound, one channel, any length. Shape (n,), full scale 1."""

    samples: FloatArray


@dataclass(frozen=True)
class Stored:
    """The accepted take of that number is safe on disk: the next prompt may come."""

    number: int


@dataclass(frozen=True)
class NotStored:
    """The accepted take of that number could not be written; it counts as not played."""

    number: int
    words: str


@dataclass(frozen=True)
class InputLost:
    """The sound stopped coming; what was sounding is given up. ``words`` say why and what to do."""

    words: str


@dataclass(frozen=True)
class InputBack:
    """Sound comes again, perhaps at another rate. [Hz]"""

    rate_hz: float


Event = Sound | Command | Stored | NotStored | InputLost | InputBack


class Reason(StrEnum):
    """Why a take was refused."""

    TOO_QUIET = "too_quiet"
    TOO_LOUD = "too_loud"  # clipped
    TOO_SHORT = "too_short"
    NO_NOTE = "no_note"  # a tap, talking, noise
    WRONG_STRING = "wrong_string"
    WRONG_FRET = "wrong_fret"
    WRONG_NOTE = "wrong_note"  # neither another string's nor another fret's place
    OUT_OF_TUNE = "out_of_tune"  # an open string to be tuned first
    TWO_STRINGS = "two_strings"
    STILL_MOVING = "still_moving"  # the pitch does not settle: the finger or rod moved
    UNSURE = "unsure"  # a pitch too uncertain to compare


@dataclass(frozen=True)
class Refused:
    """A note that is not taken, and why; the same take is asked for again.

    Attributes
    ----------
    position : Position
        What was asked for.
    reason : Reason
    heard : Position or None
        What was played instead, for WRONG_STRING and WRONG_FRET.
    other_string : int or None
        The string that rings along, for TWO_STRINGS; None when it is none of the open ones.
    hz : float or None
        Pitch of what was heard, or of the string that rings along. [Hz]
    cents : float or None
        How far it lies from its place, how far it moved, or how uncertain it is. [cent]
    sounded_s : float or None
        How long it was heard. [s]
    """

    position: Position
    reason: Reason
    heard: Position | None = None
    other_string: int | None = None
    hz: float | None = None
    cents: float | None = None
    sounded_s: float | None = None


class RemarkKind(StrEnum):
    """What is worth telling about a good take."""

    DOUBTED = "doubted"  # the reading has doubts of its own
    CAME_BACK = "came_back"  # the open string came back elsewhere
    RETUNED = "retuned"  # it moved further than any slot holds back


@dataclass(frozen=True)
class Remark:
    """A warning that does not refuse a take: how far its string moved, or the doubts of its reading."""

    kind: RemarkKind
    cents: float = 0.0
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True)
class Accepted:
    """A good take. The driver stores ``clip`` and answers with ``Stored`` or ``NotStored``.

    Attributes
    ----------
    number : int
        Of the take in the session, from 1; never used twice, also after an undo.
    index : int
        Of the take in the list.
    position : Position
    clip : Clip
        The note with a little of the room before it.
    reading : Reading
    remark : Remark or None
    replaces : PlannedTake or None
        The earlier take of this place that no longer counts once this one is stored.
    """

    number: int
    index: int
    position: Position
    clip: Clip
    reading: Reading
    remark: Remark | None = None
    replaces: PlannedTake | None = None


@dataclass(frozen=True)
class Undone:
    """An accepted take no longer counts; the driver sets its file aside, never deletes it."""

    index: int
    entry: PlannedTake

    @property
    def position(self) -> Position:
        """What was played."""
        return self.entry.position


@dataclass(frozen=True)
class Skipped:
    """A take that will not be played."""

    index: int
    position: Position


@dataclass(frozen=True)
class AskedAgain:
    """A skipped take is asked for again, or the last take is to be played once more."""

    index: int
    position: Position


@dataclass(frozen=True)
class NotKept:
    """An accepted take could not be written; ``words`` say why and what to do."""

    position: Position
    words: str


@dataclass(frozen=True)
class Finished:
    """The list is at its end, or the player ended it."""

    early: bool


Outcome = Accepted | Refused | Undone | Skipped | AskedAgain | NotKept | Finished


class Phase(StrEnum):
    """What the session is doing."""

    WAITING = "waiting"  # for a pluck
    HEARING = "hearing"  # a note sounds
    STORING = "storing"  # a take was accepted and is being written
    PAUSED = "paused"
    NO_INPUT = "no_input"
    FINISHED = "finished"


class Silence(StrEnum):
    """What is heard while a pluck is waited for."""

    ROOM = "room"  # a pluck may come any moment
    LONG = "long"  # nothing for long: it may be too quiet
    DEAD = "dead"  # not even the room


@dataclass(frozen=True)
class GuideView:
    """Everything a screen or a page shows of a session.

    Attributes
    ----------
    phase : Phase
    position : Position or None
        What to play now, or what is being stored; None at the end.
    seat_first : bool
        The first open take of a string: the string is pressed down once before it.
    silence : Silence
    last : Outcome or None
        What came last of a note or a command.
    flash : bool
        ``last`` is less than a second old.
    lost : str
        Why no sound comes; empty while it does.
    early : bool
        At the end: something is left unplayed.
    level_db : float
        Of the last tenth of a second; -120 for silence. [dB below full scale]
    trace : tuple of (float, float)
        Pitch of the sounding note as it refines: seconds since its onset, cents from its nominal place.
    takes : tuple of PlannedTake
    now : int or None
        Index of the take to be played now.
    taken : int
        Takes accepted so far.
    left_s : float or None
        Estimate of the playing time left, from the usual pace. [s]
    """

    phase: Phase
    position: Position | None
    seat_first: bool
    silence: Silence
    last: Outcome | None
    flash: bool
    lost: str
    early: bool
    level_db: float
    trace: tuple[tuple[float, float], ...]
    takes: tuple[PlannedTake, ...] = field(repr=False)
    now: int | None
    taken: int
    left_s: float | None
