"""Everything that is to be seen of a listening session now, as records: for the terminal and for the page."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pitchcheck.guide.events import Command, GuideView
from pitchcheck.instrument import Instrument


class Key(StrEnum):
    """Keys of a session, by what they do; each value is the key."""

    SKIP = "s"
    REDO = "r"
    PAUSE = "p"
    UNDO = "u"
    GAUGE = "g"
    FINISH = "f"
    HELP = "?"


COMMANDS = {
    Key.SKIP: Command.SKIP,
    Key.REDO: Command.REDO,
    Key.PAUSE: Command.PAUSE,
    Key.UNDO: Command.UNDO,
    Key.FINISH: Command.FINISH,
}


class NoticeKind(StrEnum):
    """What a notice is about; it stands until that no longer holds."""

    RESUMED = "resumed"  # until the first take
    FOLDER = "folder"  # found when the folder was opened: until the first take
    INPUT = "input"  # until the input is judged again or a take is accepted
    DISK = "disk"  # until something could be written
    MEASURED = "measured"  # until the first take after it
    GAUGE = "gauge"  # until the next take


@dataclass(frozen=True)
class Notice:
    """One thing the program has to say beside the session itself."""

    kind: NoticeKind
    words: str


@dataclass(frozen=True)
class Entry:
    """A line that is being typed: a gauge reading."""

    text: str
    problem: str = ""


@dataclass(frozen=True)
class Scene:
    """What is to be seen now.

    Attributes
    ----------
    instrument : Instrument
    view : GuideView
    keys : tuple of Key
        Keys that do something now.
    notices : tuple of Notice
    measuring : str or None
        While the takes are being measured: what is being done.
    help : bool
        The keys are being explained.
    entry : Entry or None
        While a gauge reading is being typed.
    """

    instrument: Instrument
    view: GuideView
    keys: tuple[Key, ...]
    notices: tuple[Notice, ...] = ()
    measuring: str | None = None
    help: bool = False
    entry: Entry | None = None
