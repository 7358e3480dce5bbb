"""What goes into a guided session and what comes out of it.

Conventions: time is counted in samples that were heard, never by a clock; levels are dB below full scale;
pitches are in cents from where the take should lie. Whoever drives the session feeds events in the order in
which they happened and acts on the outcomes before feeding the next.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from pitchcheck.clip import Clip
from pitchcheck.pitch.reading import Reading
from pitchcheck.takes import Position
from pitchcheck.types import FloatArray


class Wish(StrEnum):
    """What the player can ask for at any time."""

    SKIP = "skip"  # leave this take out
    REDO = "redo"  # play the last accepted take again
    PAUSE = "pause"  # stop hearing, or go on
    UNDO = "undo"  # take the last accepted take back
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


Event = Sound | Wish | Stored | NotStored | InputLost | InputBack


class Reason(StrEnum):
    """Why a take was refused."""

    TOO_QUIET = "too_quiet"
    TOO_LOUD = "too_loud"  # clipped
    TOO_SHORT = "too_short"
    NO_NOTE = "no_note"  # a tap, talking, noise
    WRONG_STRING = "wrong_string"
    WRONG_FRET = "wrong_fret"
    WRONG_NOTE = "wrong_note"  # neither another string's nor another fret's place
    TWO_STRINGS = "two_strings"
    STILL_MOVING = "still_moving"  # the pitch does not settle: the finger or rod moved
    UNSURE = "unsure"  # a pitch too uncertain to compare


@dataclass(frozen=True)
class Accepted:
    """A good take. The driver stores ``clip`` and answers with ``Stored`` or ``NotStored``.

    Attributes
    ----------
    number : int
        Of the take in the session, from 1; never used twice, also after an undo.
    place : int
        Index of the take in the course.
    position : Position
    clip : Clip
        The note with a little of the room before it.
    reading : Reading
    remark : str
        A warning that does not refuse it ("open string came back 3 cents sharp: ..."), or empty.
    """

    number: int
    place: int
    position: Position
    clip: Clip
    reading: Reading
    remark: str = ""


@dataclass(frozen=True)
class Refused:
    """A note that is not taken, and why; the same take is asked for again."""

    position: Position
    reason: Reason
    words: str


@dataclass(frozen=True)
class Undone:
    """The accepted take of that number no longer counts; the driver sets it aside, never deletes it."""

    number: int
    place: int
    position: Position


@dataclass(frozen=True)
class Skipped:
    """A take that will not be played."""

    place: int
    position: Position


@dataclass(frozen=True)
class Finished:
    """The course is at its end, or the player ended it."""

    early: bool


Outcome = Accepted | Refused | Undone | Skipped | Finished


class Phase(StrEnum):
    """What the session is doing."""

    WAITING = "waiting"  # for a pluck
    HEARING = "hearing"  # a note sounds
    STORING = "storing"  # a take was accepted and is being written
    PAUSED = "paused"
    NO_INPUT = "no_input"
    FINISHED = "finished"


class PlaceState(StrEnum):
    """What became of one take of the course."""

    TO_PLAY = "to_play"
    NOW = "now"
    TAKEN = "taken"
    SKIPPED = "skipped"


@dataclass(frozen=True)
class GuideView:
    """Everything a screen or a page shows of a session.

    Attributes
    ----------
    phase : Phase
    prompt : str
        The one big sentence: what to play now, or what is wrong.
    hint : str
        One smaller sentence: how to play it.
    said : str
        What was last accepted or refused, in words; empty at first.
    level_db : float
        Of the last tenth of a second; -120 for silence. [dB below full scale]
    trace : tuple of (float, float)
        Pitch of the sounding note as it refines: seconds since its onset, cents from its nominal place.
    course : tuple of (Position, PlaceState)
    taken : int
        Takes accepted so far.
    left_s : float or None
        Estimate of the playing time left, from the takes so far. [s]
    """

    phase: Phase
    prompt: str
    hint: str
    said: str
    level_db: float
    trace: tuple[tuple[float, float], ...]
    course: tuple[tuple[Position, PlaceState], ...] = field(repr=False)
    taken: int
    left_s: float | None
