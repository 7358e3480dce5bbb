"""One session at the microphone: sound and keys to the guide, its takes to the disk, its state to the screen.

Conventions: an accepted take is on the disk before the guide hears of it (``Stored``) and prompts on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from pitchcheck.errors import PitchcheckError
from pitchcheck.guide.events import (
    Accepted,
    Command,
    Event,
    Finished,
    InputBack,
    InputLost,
    NotStored,
    Outcome,
    Refused,
    Sound,
    Stored,
    Undone,
)
from pitchcheck.guide.guide import Guide
from pitchcheck.guide.scene import COMMANDS, Entry, Key, Notice, NoticeKind, Scene
from pitchcheck.hearing.input_check import check_input
from pitchcheck.instrument import Instrument
from pitchcheck.recorder.recorder import Recorder, WriteFailed
from pitchcheck.takes import Position
from pitchcheck.types import FloatArray
from pitchcheck.words.inputs import input_sentences
from pitchcheck.workflow.listen.input_line import InputLine
from pitchcheck.workflow.listen.ports import EndOfSound, Keys, Screen, Tones

READ_S = 0.05  # [s] waited for sound before the keys are looked at
ROOM_S = 1.5  # [s] of the room from which the input is judged, while the first prompt is read
KEYS = tuple(Key)
ENTER, ESCAPE, RUBOUT = "\r\n", "\x1b", "\x7f\x08"
LONGEST_ENTRY = 80  # characters

WriteGauge = Callable[[str], str]  # writes a reading down, returns what was; raises PitchcheckError


class ListenSession:
    """Drives the guide until its list is at its end.

    Parameters
    ----------
    instrument : Instrument
    recorder : Recorder
    line : InputLine
        Open.
    rate_hz : float
        Of the line. [Hz]
    screen, keys, tones
    gauge : callable
        Writes down a gauge reading that was typed.
    """

    def __init__(
        self,
        instrument: Instrument,
        *,
        recorder: Recorder,
        line: InputLine,
        rate_hz: float,
        screen: Screen,
        keys: Keys,
        tones: Tones,
        gauge: WriteGauge,
    ) -> None:
        self._instrument = instrument
        self._recorder = recorder
        self._line = line
        self._screen, self._keys, self._tones, self._gauge = screen, keys, tones, gauge
        self._rate_hz = rate_hz
        self._muted = 0  # samples not to be listened to, because a tone of ours sounds
        self._behind = False  # whether what comes next gathered before the tone
        self._room: list[FloatArray] | None = []
        self._finished: Finished | None = None
        self._notices: dict[NoticeKind, Notice] = {}
        self._help = False
        self._entry: Entry | None = None
        self.guide = Guide(instrument, takes=recorder.takes, rate_hz=rate_hz)

    def listen(self) -> Finished:
        """Listen until the list is at its end, or the player ends it."""
        self._finished = None
        self.show()
        while self._finished is None:
            try:
                for event in self._line.read(READ_S):
                    if event is Command.PAUSE and self.guide.paused:
                        continue  # the line asks for a pause, and the player has paused already
                    for part in _in_parts(self._heard(event), round(READ_S * self._rate_hz)):
                        self.feed(part)
            except EndOfSound:
                self.feed(Command.FINISH)
            for key in self._keys.poll():
                if self._finished is None:
                    self.press(key)
            self.show()
        return self._finished

    def press(self, key: str) -> None:
        """Do what a key asks for."""
        if self._entry is not None:
            self._type(key)
            return
        self._help = key == Key.HELP and not self._help
        if key.lower() == Key.GAUGE:
            self._entry = Entry("")
        for known, command in COMMANDS.items():
            if key.lower() == known:
                self.feed(command)

    def feed(self, event: Event) -> None:
        """Give one event to the guide, and do what comes of it."""
        events = deque([event])
        while events:
            step = events.popleft()
            outcomes = self.guide.step(step)
            for outcome in outcomes:
                events.extendleft(reversed(self._act(outcome)))
            if not events and (outcomes or not isinstance(step, Sound)):
                self.show()

    def extend(self, positions: list[Position]) -> None:
        """Add takes at the end of the list."""
        self.guide.extend(positions)
        self._recorder.save_course()

    def reopened(self, rate_hz: float) -> None:
        """Tell that the line was opened again."""
        self._rate_hz = rate_hz
        self.feed(InputBack(rate_hz))

    def notice(self, kind: NoticeKind, words: str) -> None:
        """Show a notice until it no longer holds; empty words take it away."""
        self._notices.pop(kind, None)
        if words:
            self._notices[kind] = Notice(kind, words)

    def show(self, *, measuring: str | None = None, keys: tuple[Key, ...] = KEYS) -> None:
        """Show how things stand; ``measuring`` says what is being done while the takes are measured."""
        self._screen.show(
            Scene(
                self._instrument,
                self.guide.view(),
                keys,
                tuple(self._notices.values()),
                measuring,
                self._help,
                self._entry,
            )
        )

    def _act(self, outcome: Outcome) -> tuple[Event, ...]:
        """Do what an outcome asks for; return what the guide is to hear of it."""
        match outcome:
            case Accepted():
                return self._store(outcome)
            case Refused():
                self._mute(self._tones.again())
            case Undone(entry=entry):
                self.notice(NoticeKind.DISK, self._recorder.take_back(entry) or "")
            case Finished():
                self._finished = outcome
                self._recorder.save_course()
            case _:
                self._recorder.save_course()
        return ()

    def _store(self, take: Accepted) -> tuple[Event, ...]:
        try:
            self._recorder.store(take.index, take.clip, replaces=take.replaces)
        except WriteFailed as fault:
            return NotStored(take.number, str(fault)), Command.PAUSE
        self._notices.clear()  # each was said until the next take
        self._mute(self._tones.accepted())
        return (Stored(take.number),)

    def _type(self, key: str) -> None:
        """Take one character of a gauge reading."""
        assert self._entry is not None
        text = self._entry.text
        if key in ESCAPE:
            self._entry = None
        elif key in RUBOUT:
            self._entry = Entry(text[:-1])
        elif key in ENTER:
            try:
                self.notice(NoticeKind.GAUGE, self._gauge(text))
                self._entry = None
            except PitchcheckError as error:
                self._entry = Entry(text, str(error))
        elif key.isprintable() and len(text) < LONGEST_ENTRY:
            self._entry = Entry(text + key)

    def _mute(self, seconds: float) -> None:
        self._muted = max(self._muted, round(seconds * self._rate_hz))
        self._behind = seconds > 0

    def _heard(self, event: Event) -> Event:
        """Pass an event on; the sound of our own tones is kept back, the room is looked at once."""
        if isinstance(event, InputBack):
            self._rate_hz = event.rate_hz
        if isinstance(event, InputBack | InputLost):
            self._room, self._muted = ([] if self._room is not None else None), 0
            self._behind = False
            return event
        if not isinstance(event, Sound):
            return event
        self._look_at_room(event.samples)
        if self._behind:  # it gathered while the take was being kept, before the tone: it does not count
            self._behind = False
            return replace(event, samples=event.samples[:0])
        kept_back = min(self._muted, event.samples.size)
        self._muted -= kept_back
        return replace(event, samples=event.samples[kept_back:]) if kept_back else event

    def _look_at_room(self, samples: FloatArray) -> None:
        """Judge the input by the first sound that comes, and say what is wrong with it."""
        if self._room is None:
            return
        self._room.append(samples)
        if sum(part.size for part in self._room) < ROOM_S * self._rate_hz:
            return
        room, self._room = np.concatenate(self._room)[: round(ROOM_S * self._rate_hz)], None
        try:
            found = check_input(room, rate_hz=self._rate_hz)
        except PitchcheckError:
            return
        if found.remarks:
            self.notice(NoticeKind.INPUT, " ".join(input_sentences(found)))


def _in_parts(event: Event, longest: int) -> Iterator[Event]:
    """Cut sound that has gathered into short parts, so that every verdict in it is shown."""
    if isinstance(event, Sound):
        for first in range(0, event.samples.size, longest):
            yield Sound(event.samples[first : first + longest])
    else:
        yield event
