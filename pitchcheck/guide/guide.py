"""A session at the microphone: events in, prompts and accepted takes out.

Conventions: no device, file, clock or thread; time is counted in samples that were heard. The same events in
the same order give the same outcomes, however the sound was cut into pieces.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from statistics import median

from pitchcheck.clip import Clip
from pitchcheck.errors import check_positive
from pitchcheck.guide.acceptance import Assessment, assess
from pitchcheck.guide.events import (
    Accepted,
    AskedAgain,
    Command,
    Event,
    Finished,
    GuideView,
    InputBack,
    InputLost,
    NotKept,
    NotStored,
    Outcome,
    Phase,
    Reason,
    Silence,
    Skipped,
    Sound,
    Stored,
    Undone,
)
from pitchcheck.guide.expected_pitch import EarlierTake, ExpectedPitch, expected_pitch
from pitchcheck.guide.take_list import PlannedTake, TakeList
from pitchcheck.hearing.listener import Listener
from pitchcheck.hearing.note_detector import SoundEvent
from pitchcheck.hearing.room_level import SILENCE_DB
from pitchcheck.instrument import Instrument
from pitchcheck.takes import Position, Stop

LONG_S = 20.0  # [s] of waiting without a sound, after which the input may be to blame (ours)
DEAD_S = 3.0  # [s] of digital silence after which it is
SAME_TALK_S = 0.4  # [s] a noise so soon after another is the same talk, told once
FLASH_S = 1.0  # [s] for which "taken" or "again" is shown large
PACE_TAKES = 15  # takes from which the usual pace is known


class Guide:
    """Leads through a list of takes and assesses each.

    Parameters
    ----------
    instrument : Instrument
    takes : TakeList
        What is to be played and what was; the guide changes it, the recorder keeps it.
    rate_hz : float > 0
        Of the sound that will come. [Hz]

    Notes
    -----
    - ``Sound`` is heard in any piece size. After ``Accepted`` nothing more is heard until ``Stored`` or
      ``NotStored`` of that number: events that come in between are kept and handled afterwards, in order.
      ``NotStored``: the take counts as not played and is asked for again.
    - ``SKIP`` leaves out the take asked for (``Skipped``); while a take is played again it only gives up the
      repeat. ``REDO`` asks for the last accepted take again; the old one counts until the new one is stored
      (then ``Undone`` for the old). ``UNDO`` takes back the last thing done, a take (``Undone``) or a skip
      (``AskedAgain``); repeated, it goes further back. ``PAUSE`` stops hearing, or goes on. ``FINISH`` ends
      (``Finished``, early if anything is left unplayed). Each gives up the note that is sounding. At the end
      sound is not heard; ``UNDO``, ``REDO`` and ``extend`` go on with the session.
    - An open string that is plucked once more, while the note after it is asked for, takes the place of its
      last take.
    - ``InputLost`` gives up the sounding note only; ``InputBack`` goes on, at its rate.
    - What was already ringing when waiting began is no onset and is never taken.
    - With nothing left to play it is finished from the start and answers its first event with ``Finished``.
    """

    def __init__(self, instrument: Instrument, *, takes: TakeList, rate_hz: float) -> None:
        check_positive("rate_hz", rate_hz, unit="Hz")
        self._instrument = instrument
        self.takes = takes
        self._listener = Listener(rate_hz=rate_hz)
        self._later: deque[Event] = deque()
        self._storing: Accepted | None = None
        self._before: PlannedTake | None = None  # its entry before it was accepted
        self.paused = False  # by the player; also while the input is lost
        self._lost = ""
        self._last: Outcome | None = None
        self._last_at_s = 0.0
        self._after_noise = False  # the last sound was no note
        self._traced_hz = 1.0  # nominal place of the note that the trace shows
        self._earlier_s = 0.0  # listened before the input was lost
        self._accepted_at_s = [0.0]  # listened, at the start and at every accepted take
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
        """Add takes at the end of the list, also after the end; after an early end only these are asked."""
        self.takes.extend(positions)
        self._told_end = False
        self._listener.forget()

    def view(self) -> GuideView:
        """Return everything a screen shows."""
        now = self.takes.now
        position = None if now is None else self.takes.entries[now].position
        if self._storing is not None:
            position = self._storing.position
        gaps = [b - a for a, b in zip(self._accepted_at_s, self._accepted_at_s[1:], strict=False)]
        return GuideView(
            phase=self._phase(),
            position=position,
            seat_first=position is not None and self._seat_first(position),
            silence=self._silence(),
            last=self._last,
            flash=self._last is not None and self._heard_s() - self._last_at_s < FLASH_S,
            lost=self._lost,
            early=not self.takes.complete,
            level_db=self._listener.level_db,
            trace=self._listener.points(self._traced_hz),
            takes=self.takes.entries,
            now=now,
            taken=len(self.takes.taken),
            left_s=self.takes.left * median(gaps[-PACE_TAKES:]) if gaps else None,
        )

    # -- events

    def _handle(self, event: Event, outcomes: list[Outcome]) -> None:
        match event:
            case Sound(samples):
                self._listener.add(samples)
            case Command():
                self._command(event, outcomes)
            case Stored(number):
                self._stored(number, outcomes)
            case NotStored(number, why):
                self._not_stored(number, why, outcomes)
            case InputLost(why):
                self._lost = why or "No sound comes from the input any more."
                self._listener.forget()
            case InputBack(rate_hz):
                check_positive("rate_hz", rate_hz, unit="Hz")
                self._lost = ""
                self._earlier_s = self._heard_s()
                self._listener = Listener(rate_hz=rate_hz)
        self._run(outcomes)
        if self.takes.now is None and self._storing is None and not self._told_end:
            self._told_end = True
            outcomes.append(Finished(early=not self.takes.complete))

    def _command(self, command: Command, outcomes: list[Outcome]) -> None:
        self._listener.forget()
        entries = self.takes.entries
        if command is Command.SKIP:
            index = self.takes.skip()
            if index is not None:
                self._tell(Skipped(index, entries[index].position), outcomes)
        elif command is Command.REDO:
            index = self.takes.last_taken
            if index is not None and self.takes.play_again():
                self._told_end = False
                self._tell(AskedAgain(index, entries[index].position), outcomes)
        elif command is Command.UNDO:
            back = self.takes.undo()
            if back is not None:
                self._told_end = False
                undone = Undone(back.index, back.entry)
                again = AskedAgain(back.index, back.entry.position)
                self._tell(undone if back.entry.taken else again, outcomes)
        elif command is Command.PAUSE:
            self.paused = not self.paused
        elif command is Command.FINISH:
            self.takes.end()

    def _stored(self, number: int, outcomes: list[Outcome]) -> None:
        take = self._storing
        if take is None or take.number != number:
            return
        self._storing = None
        if take.replaces is not None:
            outcomes.append(Undone(take.index, take.replaces))

    def _not_stored(self, number: int, why: str, outcomes: list[Outcome]) -> None:
        take = self._storing
        if take is None or take.number != number:
            return
        self._storing = None
        assert self._before is not None
        self.takes.drop(take.index, self._before)
        self._tell(NotKept(take.position, why), outcomes)

    def _tell(self, outcome: Outcome, outcomes: list[Outcome]) -> None:
        """Hand an outcome out, and show it."""
        self._last, self._last_at_s = outcome, self._heard_s()
        outcomes.append(outcome)

    # -- sound

    def _run(self, outcomes: list[Outcome]) -> None:
        """Hear what has come, hop by hop, until a take waits to be stored."""
        while self._storing is None and self._listener.ready:
            index = self.takes.now
            if self.paused or self._lost or index is None:
                self._listener.rest()
                continue
            wanted = self._expected(index)
            note = self._listener.hear(hint_hz=wanted.hint_hz)
            if self._listener.sounding:
                self._traced_hz = wanted.hz
            if note is not None:
                self._assess(note, index, outcomes)

    def _assess(self, note: SoundEvent, index: int, outcomes: list[Outcome]) -> None:
        found = self._assessed(note, self.takes.entries[index].position, self._earlier())
        replucked = self._replucked(found)
        if replucked is not None:
            again = self._assessed(note, self.takes.entries[replucked].position, self._earlier()[:-1])
            if again.refused is None:
                found, index = again, replucked
        noise = found.refused is not None and found.refused.reason is Reason.NO_NOTE
        told = noise and self._after_noise and note.gap_s < SAME_TALK_S
        self._after_noise = noise
        if found.refused is None:
            self._accept(note.clip, found, index, outcomes)
        elif found.worth_saying and not told:
            self._tell(found.refused, outcomes)

    def _assessed(self, note: SoundEvent, position: Position, known: Sequence[EarlierTake]) -> Assessment:
        return assess(
            note,
            position=position,
            instrument=self._instrument,
            known=known,
            estimates=self._listener.estimates,
        )

    def _replucked(self, found: Assessment) -> int | None:
        """Return the index of the last take, when its open string was plucked in place of the next note."""
        last = self.takes.last_taken
        heard = None if found.refused is None else found.refused.heard
        if last is None or heard is None or heard.stop is not Stop.OPEN:
            return None
        return last if self.takes.entries[last].position == heard else None

    def _accept(self, clip: Clip, found: Assessment, index: int, outcomes: list[Outcome]) -> None:
        reading = found.reading
        assert reading is not None
        before = self.takes.accept(index, hz=reading.hz)
        entry = self.takes.entries[index]
        assert entry.number is not None
        self._before = before
        self._accepted_at_s.append(self._heard_s())
        self._storing = Accepted(
            number=entry.number,
            index=index,
            position=entry.position,
            clip=clip,
            reading=reading,
            remark=found.remark,
            replaces=before if before.taken else None,
        )
        self._tell(self._storing, outcomes)

    def _expected(self, index: int) -> ExpectedPitch:
        position = self.takes.entries[index].position
        return expected_pitch(position, instrument=self._instrument, known=self._earlier())

    def _earlier(self) -> tuple[EarlierTake, ...]:
        return tuple(EarlierTake(e.position, e.hz) for e in self.takes.taken if e.hz is not None)

    def _heard_s(self) -> float:
        return self._earlier_s + self._listener.heard_s

    # -- what is shown

    def _phase(self) -> Phase:
        if self._lost:
            return Phase.NO_INPUT
        if self._storing is not None:
            return Phase.STORING
        if self.takes.now is None:
            return Phase.FINISHED
        if self.paused:
            return Phase.PAUSED
        return Phase.HEARING if self._listener.sounding else Phase.WAITING

    def _silence(self) -> Silence:
        if self._listener.waited_s > DEAD_S and self._listener.level_db <= SILENCE_DB:
            return Silence.DEAD
        return Silence.LONG if self._listener.waited_s > LONG_S else Silence.ROOM

    def _seat_first(self, position: Position) -> bool:
        played = any(entry.position.string == position.string for entry in self.takes.taken)
        return position.stop is Stop.OPEN and not played
