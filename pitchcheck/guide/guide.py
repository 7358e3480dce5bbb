"""A session at the microphone: events in, prompts and accepted takes out.

Conventions: no device, file, clock or thread; time is counted in samples that were heard. The same events in
the same order give the same outcomes, however the sound was cut into pieces.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from pitchcheck.clip import Clip
from pitchcheck.errors import check_positive
from pitchcheck.guide import words
from pitchcheck.guide.acceptance import Verdict, judge
from pitchcheck.guide.events import (
    Accepted,
    Event,
    Finished,
    GuideView,
    InputBack,
    InputLost,
    NotStored,
    Outcome,
    Phase,
    Reason,
    Refused,
    Skipped,
    Sound,
    Stored,
    Undone,
    Wish,
)
from pitchcheck.guide.places import Known, Place, find_place
from pitchcheck.guide.take_list import Course
from pitchcheck.hearing.listener import Listener
from pitchcheck.hearing.note_detector import Note
from pitchcheck.hearing.room_level import SILENCE_DB
from pitchcheck.instrument import Instrument
from pitchcheck.takes import Position, Stop

QUIET_S = 3.0  # [s] of waiting without a sound after which it says so
SAME_TALK_S = 0.4  # [s] a noise so soon after another is the same talk, told once


class Guide:
    """Leads through a course of takes and judges each.

    Parameters
    ----------
    instrument : Instrument
    course : sequence of Position
        What is to be played, in playing order.
    rate_hz : float > 0
        Of the sound that will come. [Hz]
    done : sequence of (int, int)
        Place and number of takes accepted in an earlier sitting.
    skipped : sequence of int
        Places left out in an earlier sitting.
    next_number : int
        Number of the next accepted take; above every number in ``done``.
    known : sequence of (int, Known)
        Number and pitch of the takes in ``done``, as far as they are at hand: later takes of a string are
        held against its own open takes. Without them its note stands in, with more room around it.

    Notes
    -----
    - ``Sound`` is heard in any piece size. After ``Accepted`` nothing more is heard until ``Stored`` or
      ``NotStored`` of that number: events that come in between are kept and handled afterwards, in order.
      ``NotStored``: the take counts as not played and is asked for again.
    - ``SKIP`` leaves out the place asked for (``Skipped``); while a take is played again it only gives up the
      repeat. ``REDO`` asks for the last accepted take again; the old one counts until the new one is stored
      (then ``Undone`` for the old). ``UNDO`` takes back the last accepted take (``Undone``) and asks for it
      again, and for what was skipped after it; repeated, it goes further back. ``PAUSE`` stops hearing, or
      goes on. ``FINISH`` ends (``Finished``, early if anything is left unplayed). Each gives up the note that
      is sounding. At the end sound is not heard; ``UNDO``, ``REDO`` and ``extend`` go on with the session.
    - ``InputLost`` gives up the sounding note only; ``InputBack`` goes on, at its rate.
    - What was already ringing when waiting began is no onset and is never taken.
    - With nothing left to play it is finished from the start and answers its first event with ``Finished``.
    """

    def __init__(
        self,
        instrument: Instrument,
        *,
        course: Sequence[Position],
        rate_hz: float,
        done: Sequence[tuple[int, int]] = (),
        skipped: Sequence[int] = (),
        next_number: int = 1,
        known: Sequence[tuple[int, Known]] = (),
    ) -> None:
        check_positive("rate_hz", rate_hz, unit="Hz")
        self._instrument = instrument
        self._course = Course(course, done=done, skipped=skipped)
        self._next = max([next_number, *(number + 1 for _, number in done)])
        self._known = dict(known)
        self._listener = Listener(rate_hz=rate_hz)
        self._later: deque[Event] = deque()
        self._storing: Accepted | None = None
        self._replaced: tuple[int, int] | None = None
        self.paused = False  # by the player; also while the input is lost
        self._lost = ""
        self._said = ""
        self._after_noise = False  # the last sound was no note
        self._played_s = 0.0  # listened before the last accepted take
        self._traced_hz = 1.0  # place of the note that the trace shows
        self._earlier_s = 0.0  # listened before the input was lost
        self._accepted = 0  # in this sitting
        self._told_end = False

    def step(self, event: Event) -> tuple[Outcome, ...]:
        """Take one event; return what came of it, in order."""
        outcomes: list[Outcome] = []
        answer = isinstance(event, Stored | NotStored)
        if self._storing is not None and not answer:
            self._later.append(event)
            return ()
        self._handle(event, outcomes)
        while self._later and self._storing is None:
            self._handle(self._later.popleft(), outcomes)
        return tuple(outcomes)

    def extend(self, positions: Sequence[Position]) -> None:
        """Add takes at the end of the course, also after the end; after an early end only these are asked."""
        self._course.extend(positions)
        self._told_end = False
        self._listener.forget()

    def view(self) -> GuideView:
        """Return everything a screen shows."""
        prompt, hint = self._say()
        return GuideView(
            phase=self._phase(),
            prompt=prompt,
            hint=hint,
            said=self._said,
            level_db=self._listener.level_db,
            trace=self._listener.points(self._traced_hz),
            course=self._course.states(),
            taken=len(self._course.taken),
            left_s=self._course.left * self._played_s / self._accepted if self._accepted else None,
        )

    # -- events

    def _handle(self, event: Event, outcomes: list[Outcome]) -> None:
        match event:
            case Sound(samples):
                self._listener.add(samples)
            case Wish():
                self._wish(event, outcomes)
            case Stored(number):
                self._stored(number, outcomes)
            case NotStored(number, why):
                self._not_stored(number, why)
            case InputLost(why):
                self._lost = why or "No sound comes from the input any more."
                self._listener.forget()
            case InputBack(rate_hz):
                check_positive("rate_hz", rate_hz, unit="Hz")
                self._lost = ""
                self._earlier_s += self._listener.heard_s
                self._listener = Listener(rate_hz=rate_hz)
        self._run(outcomes)
        if self._course.now is None and self._storing is None and not self._told_end:
            self._told_end = True
            outcomes.append(Finished(early=not self._course.complete))

    def _wish(self, wish: Wish, outcomes: list[Outcome]) -> None:
        self._listener.forget()
        if wish is Wish.SKIP:
            place = self._course.skip()
            if place is not None:
                outcomes.append(Skipped(place, self._course.positions[place]))
                self._said = f"Left out: {self._course.positions[place].words()}."
        elif wish is Wish.REDO:
            if self._course.play_again():
                self._told_end = False
                self._said = "Play the last one again; the old take counts until then."
        elif wish is Wish.UNDO:
            back = self._course.undo()
            if back is not None:
                self._told_end = False
                position = self._course.positions[back[0]]
                self._known.pop(back[1], None)
                outcomes.append(Undone(back[1], back[0], position))
                self._said = f"Taken back: {position.words()}."
        elif wish is Wish.PAUSE:
            self.paused = not self.paused
        elif wish is Wish.FINISH:
            self._course.end()

    def _stored(self, number: int, outcomes: list[Outcome]) -> None:
        if self._storing is None or self._storing.number != number:
            return
        self._storing = None
        if self._replaced is not None:
            place, old = self._replaced
            self._known.pop(old, None)
            outcomes.append(Undone(old, place, self._course.positions[place]))
            self._replaced = None

    def _not_stored(self, number: int, why: str) -> None:
        if self._storing is None or self._storing.number != number:
            return
        self._storing = None
        self._known.pop(number, None)
        self._course.drop(number, back=self._replaced)
        self._replaced = None
        self._said = f"Not kept: {why}"

    # -- sound

    def _run(self, outcomes: list[Outcome]) -> None:
        """Hear what has come, hop by hop, until a take waits to be stored."""
        while self._storing is None and self._listener.ready:
            place = self._course.now
            if self.paused or self._lost or place is None:
                self._listener.rest()
                continue
            wanted = self._wanted(place)
            note = self._listener.hear(hint_hz=wanted.hint_hz)
            if self._listener.sounding:
                self._traced_hz = wanted.hz
            if note is not None:
                self._judge(note, place, outcomes)

    def _judge(self, note: Note, place: int, outcomes: list[Outcome]) -> None:
        position = self._course.positions[place]
        verdict = judge(
            note,
            position=position,
            instrument=self._instrument,
            known=self._all_known(),
            glimpses=self._listener.glimpses,
        )
        noise = verdict.reason is Reason.NO_NOTE
        told = noise and self._after_noise and note.gap_s < SAME_TALK_S
        self._after_noise = noise
        if verdict.reason is None:
            self._accept(note.clip, verdict, place, outcomes)
        elif verdict.worth_saying and not told:
            outcomes.append(Refused(position, verdict.reason, verdict.words))
            self._said = verdict.words

    def _accept(self, clip: Clip, verdict: Verdict, place: int, outcomes: list[Outcome]) -> None:
        position, reading = self._course.positions[place], verdict.reading
        assert reading is not None
        take = Accepted(self._next, place, position, clip, reading, verdict.words)
        self._next += 1
        self._accepted += 1
        self._played_s = self._earlier_s + self._listener.heard_s
        self._known[take.number] = Known(position, reading.hz, reading.inharmonicity)
        self._replaced = self._course.take(take.number)
        self._storing = take
        self._said = f"Taken: {position.words()}. {take.remark}".strip()
        outcomes.append(take)

    def _wanted(self, place: int) -> Place:
        position = self._course.positions[place]
        return find_place(position, instrument=self._instrument, known=self._all_known())

    # -- what is shown

    def _all_known(self) -> tuple[Known, ...]:
        return tuple(self._known[number] for _, number in self._course.taken if number in self._known)

    def _phase(self) -> Phase:
        if self._lost:
            return Phase.NO_INPUT
        if self._storing is not None:
            return Phase.STORING
        if self._course.now is None:
            return Phase.FINISHED
        if self.paused:
            return Phase.PAUSED
        return Phase.HEARING if self._listener.sounding else Phase.WAITING

    def _say(self) -> tuple[str, str]:
        place = self._course.now
        if self._lost:
            return self._lost, words.LOST
        if self._storing is not None:
            return f"{words.prompt(self._storing.position)}: good.", words.KEEPING
        if place is None:
            return words.finished(early=not self._course.complete)
        if self.paused:
            return words.PAUSED
        position = self._course.positions[place]
        played = any(self._course.positions[p].string == position.string for p, _ in self._course.taken)
        first = position.stop is Stop.OPEN and not played
        hint = words.how(position, instrument=self._instrument, first=first)
        if self._listener.waited_s > QUIET_S:
            dead = self._listener.level_db <= SILENCE_DB
            hint += words.DEAD_SILENT if dead else words.NOTHING_HEARD
        return words.prompt(position), hint
