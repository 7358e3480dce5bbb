"""One sitting at the microphone: sound and keys to the guide, its takes to the disk, its words to the screen.

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
    Event,
    Finished,
    GuideView,
    InputBack,
    InputLost,
    NotStored,
    Outcome,
    PlaceState,
    Refused,
    Sound,
    Stored,
    Undone,
    Wish,
)
from pitchcheck.guide.guide import Guide
from pitchcheck.guide.places import Known
from pitchcheck.hearing.input_check import check_input
from pitchcheck.instrument import Instrument
from pitchcheck.recorder.recorder import NotKept, Recorder
from pitchcheck.report.screen.view import Scene
from pitchcheck.takes import Position
from pitchcheck.types import FloatArray
from pitchcheck.workflow.listen.input_line import InputLine
from pitchcheck.workflow.listen.ports import EndOfSound, Keys, Screen, Tones

READ_S = 0.05  # [s] waited for sound before the keys are looked at
ROOM_S = 1.5  # [s] of the room from which the input is judged, while the first prompt is read
WISHES = {"s": Wish.SKIP, "r": Wish.REDO, "p": Wish.PAUSE, "u": Wish.UNDO, "f": Wish.FINISH}
KEYS = tuple((key, wish.value) for key, wish in WISHES.items())


class Sitting:
    """Drives the guide until its course is at its end.

    Parameters
    ----------
    instrument : Instrument
    recorder : Recorder
    line : InputLine
        Open.
    rate_hz : float
        Of the line. [Hz]
    screen, keys, tones
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
    ) -> None:
        places = recorder.places
        taken = sorted((p.number, i) for i, p in enumerate(places) if p.number is not None)
        self._instrument = instrument
        self._recorder = recorder
        self._line = line
        self._screen, self._keys, self._tones = screen, keys, tones
        self._rate_hz = rate_hz
        self._deaf = 0  # samples not to be listened to, because a tone of ours sounds
        self._room: list[FloatArray] | None = []
        self._finished: Finished | None = None
        self.note = ""
        self.guide = Guide(
            instrument,
            course=[place.position for place in places],
            rate_hz=rate_hz,
            done=[(i, number) for number, i in taken],
            skipped=[i for i, p in enumerate(places) if p.state.value == "skipped"],
            next_number=recorder.next_number,
            known=[
                (number, Known(places[i].position, hz, places[i].inharmonicity))
                for number, i in taken
                if (hz := places[i].hz) is not None
            ],
        )

    def listen(self) -> Finished:
        """Listen until the course is at its end, or the player ends it."""
        self._finished = None
        self.show()
        while self._finished is None:
            try:
                for event in self._line.read(READ_S):
                    if event is Wish.PAUSE and self.guide.paused:
                        continue  # the line asks for a pause, and the player has paused already
                    for part in _in_parts(self._heard(event), round(READ_S * self._rate_hz)):
                        self.feed(part)
            except EndOfSound:
                self.feed(Wish.FINISH)
            for key in self._keys.poll().lower():
                if key in WISHES and self._finished is None:
                    self.feed(WISHES[key])
            self.show()
        return self._finished

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
            if any(not isinstance(outcome, Accepted | Refused) for outcome in outcomes):
                states = self.guide.view().course
                self._recorder.mark_skipped(
                    i for i, (_, state) in enumerate(states) if state is PlaceState.SKIPPED
                )

    def extend(self, positions: list[Position]) -> None:
        """Add takes at the end of the course."""
        self._recorder.extend(positions)
        self.guide.extend(positions)

    def reopened(self, rate_hz: float) -> None:
        """Tell that the line was opened again."""
        self._rate_hz = rate_hz
        self.feed(InputBack(rate_hz))

    def show(
        self,
        change: Callable[[GuideView], GuideView] | None = None,
        *,
        keys: tuple[tuple[str, str], ...] = KEYS,
    ) -> None:
        """Show how things stand, with other words where ``change`` gives them."""
        view = self.guide.view()
        self._screen.show(Scene(self._instrument, view if change is None else change(view), keys, self.note))

    def _act(self, outcome: Outcome) -> tuple[Event, ...]:
        """Do what an outcome asks for; return what the guide is to hear of it."""
        match outcome:
            case Accepted():
                return self._store(outcome)
            case Refused():
                self._deafen(self._tones.again())
            case Undone(number):
                self.note = self._recorder.take_back(number) or self.note
            case Finished():
                self._finished = outcome
        return ()

    def _store(self, take: Accepted) -> tuple[Event, ...]:
        try:
            self._recorder.store(
                take.number,
                place=take.place,
                position=take.position,
                clip=take.clip,
                hz=take.reading.hz,
                inharmonicity=take.reading.inharmonicity,
            )
        except NotKept as fault:
            return NotStored(take.number, str(fault)), Wish.PAUSE
        self._deafen(self._tones.accepted())
        return (Stored(take.number),)

    def _deafen(self, seconds: float) -> None:
        self._deaf = max(self._deaf, round(seconds * self._rate_hz))

    def _heard(self, event: Event) -> Event:
        """Pass an event on; the sound of our own tones is kept back, the room is looked at once."""
        if isinstance(event, InputBack):
            self._rate_hz = event.rate_hz
        if isinstance(event, InputBack | InputLost):
            self._room, self._deaf = ([] if self._room is not None else None), 0
            return event
        if not isinstance(event, Sound):
            return event
        self._look_at_room(event.samples)
        kept_back = min(self._deaf, event.samples.size)
        self._deaf -= kept_back
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
        if not found.go_on or len(found.sentences) > 1:
            self.note = " ".join(found.sentences)


def _in_parts(event: Event, longest: int) -> Iterator[Event]:
    """Cut sound that has gathered into short parts, so that every verdict in it is shown."""
    if isinstance(event, Sound):
        for first in range(0, event.samples.size, longest):
            yield Sound(event.samples[first : first + longest])
    else:
        yield event
