"""The rules of a session at the microphone: what each event does, and that nothing is lost or doubled."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest

from helpers.guide import RATE_HZ, Bench, drive, feed, make_bench
from pitchcheck.guide.events import (
    Accepted,
    AskedAgain,
    Command,
    Finished,
    InputBack,
    InputLost,
    NotKept,
    NotStored,
    Phase,
    Refused,
    Silence,
    Skipped,
    Sound,
    Stored,
    Undone,
)
from pitchcheck.guide.guide import Guide
from pitchcheck.guide.take_list import PlannedTake, TakeList, TakeState
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray
from pitchcheck.words.microphone import outcome_words

OPEN, FRET_1, PRESS_1 = Position(2, Stop.OPEN), Position(2, Stop.FRET, 1), Position(2, Stop.PRESS, 1)
COURSE = (OPEN, FRET_1, OPEN, PRESS_1)
SAME_CENTS = 0.05  # what the issue allows between what was heard and what is read from the file


@cache
def bench() -> Bench:
    return make_bench(np.random.default_rng(7), "classical", noise_db=-55.0)


@cache
def take(position: Position) -> FloatArray:
    """Half a second of the room and one take."""
    return np.concatenate([bench().room(0.5), bench().heard(bench().note(position))])


def new_guide(entries: Sequence[PlannedTake] | None = None, *, next_number: int = 1) -> Guide:
    takes = TakeList.planned(COURSE) if entries is None else TakeList(entries, next_number=next_number)
    return Guide(bench().instrument, takes=takes, rate_hz=RATE_HZ)


def states(guide: Guide) -> str:
    """States of all takes, a letter each: t(aken), s(kipped), . to play; upper case or > is asked now."""
    view = guide.view()
    letters = {TakeState.TAKEN: "t", TakeState.SKIPPED: "s", TakeState.TO_PLAY: "."}
    plain = [letters[take.state] for take in view.takes]
    if view.now is not None:
        plain[view.now] = ">"
    return "".join(plain)


def undone(outcome: object) -> tuple[int | None, int, Position]:
    assert isinstance(outcome, Undone)
    return outcome.entry.number, outcome.index, outcome.position


def test_a_course_from_end_to_end() -> None:
    guide = new_guide()
    assert guide.view().phase is Phase.WAITING
    assert guide.view().position == OPEN
    assert guide.view().seat_first
    assert guide.view().left_s is None
    outcomes = [o for position in COURSE for o in feed(guide, take(position))]
    taken = [o for o in outcomes if isinstance(o, Accepted)]
    assert [(o.number, o.index, o.position) for o in taken] == [
        (i + 1, i, position) for i, position in enumerate(COURSE)
    ]
    assert outcomes[-1] == Finished(early=False)
    assert len(outcomes) == len(COURSE) + 1
    assert guide.view().phase is Phase.FINISHED
    assert guide.view().taken == len(COURSE)
    assert guide.view().left_s == 0.0


def test_what_is_kept_reads_as_what_was_heard() -> None:
    from pitchcheck.pitch.read_note import read_note
    from pitchcheck.units import cents_between

    [heard] = feed(new_guide(), take(OPEN))
    assert isinstance(heard, Accepted)
    again = read_note(heard.clip, expected_hz=bench().instrument.string(2).nominal_hz)
    assert abs(cents_between(again.hz, heard.reading.hz)) < SAME_CENTS


def test_nothing_is_heard_while_storing_and_nothing_lost() -> None:
    guide = new_guide()
    both = np.concatenate([take(OPEN), take(FRET_1)])
    [first] = guide.step(Sound(both))
    assert isinstance(first, Accepted)
    assert guide.view().phase is Phase.STORING
    assert guide.step(Sound(take(OPEN))) == ()
    [second] = guide.step(Stored(first.number))
    assert isinstance(second, Accepted)
    assert (second.number, second.position) == (2, FRET_1)
    [third] = guide.step(Stored(2))
    assert isinstance(third, Accepted)
    assert (third.number, third.position) == (3, OPEN)


def test_a_take_that_was_not_stored_is_played_again_under_a_new_number() -> None:
    guide = new_guide()
    [first] = guide.step(Sound(take(OPEN)))
    assert isinstance(first, Accepted)
    assert guide.step(NotStored(first.number, "the disk is full")) == (NotKept(OPEN, "the disk is full"),)
    view = guide.view()
    assert (view.phase, view.taken, view.position) == (Phase.WAITING, 0, OPEN)
    assert view.last is not None
    assert "the disk is full" in outcome_words(view.last)
    [again] = feed(guide, take(OPEN))
    assert isinstance(again, Accepted)
    assert again.number == 2


def test_undo_undoes_the_last_thing_a_skip_too() -> None:
    guide = new_guide()
    feed(guide, take(OPEN))
    assert guide.step(Command.SKIP) == (Skipped(1, FRET_1),)
    feed(guide, take(OPEN))
    assert states(guide) == "tst>"
    assert [undone(o) for o in guide.step(Command.UNDO)] == [(2, 2, OPEN)]
    assert states(guide) == "ts>."
    assert guide.step(Command.UNDO) == (AskedAgain(1, FRET_1),)
    assert states(guide) == "t>.."
    assert [undone(o) for o in guide.step(Command.UNDO)] == [(1, 0, OPEN)]
    assert states(guide) == ">..."
    assert guide.step(Command.UNDO) == ()
    [again] = feed(guide, take(OPEN))
    assert isinstance(again, Accepted)
    assert again.number == 3


def test_an_open_string_plucked_once_more_takes_the_place_of_its_last_take() -> None:
    guide = new_guide()
    feed(guide, take(OPEN))
    [again, back] = feed(guide, take(OPEN))  # though fret 1 is asked for
    assert isinstance(again, Accepted)
    assert (again.number, again.index, again.position) == (2, 0, OPEN)
    assert undone(back) == (1, 0, OPEN)
    assert "in place of the last" in outcome_words(again)
    assert states(guide) == "t>.."


def test_an_open_string_after_a_fretted_take_is_the_wrong_note() -> None:
    guide = new_guide([*(PlannedTake(p) for p in (OPEN, FRET_1, FRET_1))])
    feed(guide, take(OPEN))
    feed(guide, take(FRET_1))
    [refused] = feed(guide, take(OPEN))
    assert isinstance(refused, Refused)
    assert refused.heard == OPEN


def test_the_verdict_is_shown_for_a_second_and_no_longer() -> None:
    guide = new_guide()
    feed(guide, take(OPEN))
    assert guide.view().flash
    feed(guide, bench().room(0.4))
    assert guide.view().flash
    feed(guide, bench().room(0.9))
    assert not guide.view().flash
    assert guide.view().last is not None


def test_the_time_left_is_from_the_usual_pace_and_not_from_a_coffee() -> None:
    guide = new_guide([PlannedTake(OPEN)] * 8)
    for number in range(4):
        feed(guide, take(OPEN))
        if number == 1:
            feed(guide, np.tile(bench().room(2.0), 30))  # a minute away from the bench
    left_s = guide.view().left_s
    assert left_s is not None
    assert left_s < 4 * 4.0  # four takes of about 3 s each


def test_redo_keeps_the_old_take_until_the_new_one_is_stored() -> None:
    guide = new_guide()
    feed(guide, take(OPEN))
    assert guide.step(Command.REDO) == (AskedAgain(0, OPEN),)
    assert guide.view().taken == 1
    assert states(guide)[0] == ">"
    [again] = guide.step(Sound(take(OPEN)))
    assert isinstance(again, Accepted)
    assert (again.number, again.index) == (2, 0)
    assert [undone(o) for o in guide.step(Stored(2))] == [(1, 0, OPEN)]
    assert states(guide)[:2] == "t>"


def test_a_redo_that_fails_or_is_given_up_leaves_the_old_take() -> None:
    guide = new_guide()
    feed(guide, take(OPEN))
    guide.step(Command.REDO)
    [again] = guide.step(Sound(take(OPEN)))
    assert isinstance(again, Accepted)
    guide.step(NotStored(again.number, "no room"))
    assert guide.view().taken == 1
    assert states(guide)[0] == ">"
    assert guide.step(Command.SKIP) == ()
    assert states(guide)[:2] == "t>"


def test_pause_hears_nothing() -> None:
    guide = new_guide()
    guide.step(Command.PAUSE)
    assert guide.view().phase is Phase.PAUSED
    assert feed(guide, take(OPEN)) == []
    guide.step(Command.PAUSE)
    assert len(feed(guide, take(OPEN))) == 1


@pytest.mark.slow
def test_a_session_left_for_an_hour_goes_on_where_it_was() -> None:
    """Half an hour with the pause on while somebody plays, half without it: the next take comes as usual."""
    guide = new_guide([PlannedTake(OPEN)] * 6)
    for _ in range(3):
        feed(guide, take(OPEN))
    usual_s = guide.view().left_s
    room = np.tile(bench().room(2.0), 30)
    guide.step(Command.PAUSE)
    for _ in range(30):
        assert guide.step(Sound(np.concatenate([room, take(OPEN)]))) == ()
    guide.step(Command.PAUSE)
    for _ in range(30):
        assert guide.step(Sound(room)) == ()
    assert states(guide) == "ttt>.."
    (outcome,) = feed(guide, take(OPEN))
    assert isinstance(outcome, Accepted)
    left_s = guide.view().left_s
    assert usual_s is not None
    assert left_s is not None
    assert left_s <= usual_s  # one take less, at the pace of before the hour


def test_finish_early_then_more_is_asked() -> None:
    guide = new_guide()
    feed(guide, take(OPEN))
    assert guide.step(Command.FINISH) == (Finished(early=True),)
    assert feed(guide, take(FRET_1)) == []
    guide.extend([PRESS_1])
    assert guide.view().position == PRESS_1
    outcomes = feed(guide, take(PRESS_1))
    assert isinstance(outcomes[0], Accepted)
    assert outcomes[0].index == len(COURSE)
    assert outcomes[1:] == [Finished(early=True)]


def test_a_lost_input_costs_only_the_sounding_note() -> None:
    guide = new_guide()
    feed(guide, take(OPEN))
    half = take(FRET_1).size // 2
    assert feed(guide, take(FRET_1)[:half]) == []
    assert guide.view().phase is Phase.HEARING
    guide.step(InputLost("The cable came out."))
    view = guide.view()
    assert (view.phase, view.lost, view.taken) == (Phase.NO_INPUT, "The cable came out.", 1)
    guide.step(InputBack(RATE_HZ))
    assert guide.view().phase is Phase.WAITING
    assert feed(guide, take(FRET_1)[half:]) == []  # its rest is no new note
    [heard] = feed(guide, take(FRET_1))
    assert isinstance(heard, Accepted)
    assert (heard.number, heard.index) == (2, 1)


def test_the_input_may_come_back_at_another_rate() -> None:
    guide = new_guide()
    guide.step(InputLost("gone"))
    guide.step(InputBack(RATE_HZ / 2))
    [heard] = feed(guide, take(OPEN)[::2])  # above 12 kHz the simulated string is silent
    assert isinstance(heard, Accepted)
    assert heard.clip.rate_hz == RATE_HZ / 2
    true_hz = bench().instrument.string(2).nominal_hz
    assert heard.reading.hz == pytest.approx(true_hz, rel=0.02)


def test_what_rings_when_waiting_begins_is_not_taken() -> None:
    for first in (Command.SKIP, Command.PAUSE):
        guide = new_guide()
        sound = take(OPEN)
        feed(guide, sound[: sound.size // 2])
        guide.step(first)
        if first is Command.PAUSE:
            guide.step(Command.PAUSE)
        assert feed(guide, sound[sound.size // 2 :]) == []


def test_resume_goes_on_where_it_stopped() -> None:
    first = PlannedTake(OPEN, TakeState.TAKEN, 1, "001-string2-open.flac", bench().played(OPEN).hz)
    entries = [first, PlannedTake(FRET_1, TakeState.SKIPPED), PlannedTake(OPEN), PlannedTake(PRESS_1)]
    guide = new_guide(entries, next_number=5)
    assert states(guide) == "ts>."
    [heard] = feed(guide, take(OPEN))
    assert isinstance(heard, Accepted)
    assert (heard.number, heard.index) == (5, 2)
    assert [undone(o) for o in guide.step(Command.UNDO)] == [(5, 2, OPEN)]
    assert guide.step(Command.UNDO) == (AskedAgain(1, FRET_1),)
    assert guide.step(Command.UNDO) == (Undone(0, first),)


def test_nothing_left_to_play() -> None:
    guide = new_guide([PlannedTake(OPEN, TakeState.TAKEN, 3)])
    assert guide.view().phase is Phase.FINISHED
    assert guide.step(Sound(np.zeros(480))) == (Finished(early=False),)
    assert guide.step(Sound(np.zeros(480))) == ()


def test_after_a_refusal_the_prompt_stays() -> None:
    guide = new_guide()
    [refused] = feed(guide, take(FRET_1))
    assert isinstance(refused, Refused)
    view = guide.view()
    assert view.position == OPEN
    assert view.last == refused
    assert view.trace  # the live pitch of what was heard, for as long as nothing else sounds


def test_silence_is_the_wait_for_a_pluck_until_it_is_long() -> None:
    guide = new_guide()
    feed(guide, bench().room(4.0))
    assert guide.view().silence is Silence.ROOM
    feed(guide, np.tile(bench().room(2.0), 9))
    assert guide.view().silence is Silence.LONG
    drive(guide, [Sound(take(OPEN))])
    assert guide.view().silence is Silence.ROOM
