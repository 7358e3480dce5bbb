"""What the job report says in words: the sentence on top, the alarms, the cells, the chords."""

from __future__ import annotations

from dataclasses import replace

import pytest

from helpers.job import NOTHING_DONE, ODD, TWO_LOWERED, UNHEARD, Moved, comparison
from pitchcheck.compare.records import Repeats
from pitchcheck.report import chord_words
from pitchcheck.report.job import tables as job_tables
from pitchcheck.takes import Stop
from pitchcheck.words import slot_change
from pitchcheck.words.comparison import alarm, headline, summary


@pytest.mark.parametrize(
    ("moved", "words"),
    [
        (TWO_LOWERED, "Two slots are lower than before; all six are fine now."),
        (NOTHING_DONE, "No slot has changed; of all six, two are still high and four are fine."),
        (UNHEARD, "No slot was heard both before and after."),
        (
            ODD,
            "Two slots are lower and one slot is higher than before; of all six, one is too low, two are "
            "still high and three are fine.",
        ),
    ],
)
def test_the_sentence_on_top(moved: tuple[Moved, ...], words: str) -> None:
    assert headline(comparison(moved).strings) == words


def test_an_uncertain_change_is_called_uncertain() -> None:
    unsure = tuple(replace(m, sd_mm=0.3) for m in TWO_LOWERED)
    slots = comparison(unsure).strings
    assert headline(slots).startswith("No change is sure; ")
    assert [slot_change.changed(s) for s in slots] == ["unsure"] * 6
    sentences = " ".join(summary(comparison(unsure)))
    assert "Strings 1 to 6: unsure whether the slot changed" in sentences


def test_what_was_not_heard_is_said() -> None:
    assert "String 5 was heard once, so no change is told; nothing was noted as filed off." in summary(
        comparison(ODD)
    )
    assert "not heard" not in " ".join(summary(comparison(TWO_LOWERED)))


def test_told_and_heard_are_held_together() -> None:
    assert "What was heard agrees with what was noted as filed off strings 2 and 5." in summary(
        comparison(TWO_LOWERED)
    )
    odd = " ".join(summary(comparison(ODD)))
    assert "String 1: 0.10 mm was noted as filed off, but the sound says 0.31 to 0.41 mm." in odd
    assert "String 2: 0.30 mm was noted as filed off, but the sound says 0.00 to 0.10 mm." in odd
    assert "Strings 3 and 6: nothing was noted as filed off, but the sound says 0.17 mm" in odd
    assert "agrees" not in odd


def test_what_must_be_put_right() -> None:
    assert alarm(comparison(TWO_LOWERED).strings) == ()
    (sentence,) = alarm(comparison(ODD).strings)
    assert sentence.startswith("String 1: now too low.")
    doubtful = (Moved(0.3, 0.03), *TWO_LOWERED[1:])
    (feared,) = alarm(comparison(doubtful).strings)
    assert feared.startswith("String 1: perhaps too low now.")


def test_cells_of_a_change() -> None:
    slots = comparison(ODD).strings
    assert slot_change.changed(slots[0]) == "0.36 mm (14.2 thou) lower"
    assert slot_change.between(slots[0]) == "0.31 to 0.41 mm lower"
    assert slot_change.sure(slots[0], tolerance_mm=0.1) == "more than 99 %"
    assert slot_change.told(slots[0]) == "0.10 mm (3.9 thou): the sound says more"
    assert slot_change.changed(slots[5]) == "0.30 mm (11.8 thou) higher"
    assert slot_change.told(slots[5]) == "nothing noted, but it changed"
    assert slot_change.sure(slots[3], tolerance_mm=0.1) == "78 % that it is lower"
    assert slot_change.changed(slots[4]) == "heard once"
    assert slot_change.changed(comparison(UNHEARD).strings[4]) == "not heard in both"
    same = comparison(NOTHING_DONE).strings[0]
    assert (slot_change.changed(same), slot_change.between(same)) == ("no change", "−0.05 to +0.05 mm")


def test_a_little_that_was_noted_is_not_called_no_change() -> None:
    slots = comparison((Moved(0.30, 0.28, 0.03), *NOTHING_DONE[1:])).strings
    assert slot_change.changed(slots[0]) == "too little to be sure"
    assert slot_change.changed(slots[1]) == "no change"
    assert headline(slots).startswith("No change is sure; ")


@pytest.mark.parametrize(
    ("sd", "words"), [(0.9, "steady"), (1.3, "steady"), (1.6, "less steady than usual"), (2.1, "unsteady")]
)
def test_how_steady_a_hand_is(sd: float, words: str) -> None:
    assert job_tables.steadiness(Repeats(Stop.PRESS, 1, 12, sd, 1.0)) == words


def test_the_scatter_is_told_in_a_sentence() -> None:
    assert "1.6 times less well" in job_tables.repeats_line(comparison(TWO_LOWERED))
    steady = replace(comparison(TWO_LOWERED), scatter=1.0)
    assert job_tables.repeats_line(steady) == "The takes repeat as well as a careful hand's usually do."
    assert "No take was repeated" in job_tables.repeats_line(replace(steady, repeats=()))


@pytest.mark.parametrize(
    ("cents", "words"),
    [
        (0.0, "clean, 0.0 cents"),
        (-4.97, "clean, just under 5.0 cents narrow"),
        (5.04, "a little off, just over 5.0 cents wide"),
        (9.98, "a little off, just under 10.0 cents wide"),
        (-12.3, "sour, 12.3 cents narrow"),
    ],
)
def test_a_chord_is_judged_before_it_is_rounded(cents: float, words: str) -> None:
    assert chord_words.judged(cents) == words
