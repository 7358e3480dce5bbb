"""Doubts: every kind in words, as plain data and back, and from the sentences of earlier versions."""

from __future__ import annotations

from dataclasses import fields
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitchcheck import doubts as kinds
from pitchcheck.doubts import Doubt, as_data, from_data
from pitchcheck.errors import BadValue
from pitchcheck.words.doubts import doubt, joined, sentence
from pitchcheck.workflow.jobs.old_doubts import read_old_doubt

EVERY = (
    kinds.NotRead("The note is buried in noise"),
    kinds.OtherNote(110.0, 116.5, False),
    kinds.OtherNote(110.0, 220.0, True),
    kinds.SecondString(147.2),
    kinds.VaguePitch(31.0),
    kinds.Faint(),
    kinds.Overdriven(),
    kinds.OvertonesOff(7.5),
    kinds.OpenOffItsNote(-101.0, "F#3", 2, 70.0),
    kinds.OpenOffItsNote(88.0, "E4", 0, 70.0),
    kinds.StoppedOffItsPlace(-100.0, 70.0, 130.0),
    kinds.LeafOffItsNotes(180.0, 1),
    kinds.NoOpenTake(),
    kinds.PressTooFar(112.0),
    kinds.NoOpenTakeOn(kinds.Side.BEFORE),
    kinds.NoOpenTakeOn(kinds.Side.AFTER),
    kinds.StatedDoubt("said by an older version"),
    kinds.CopyOf(3),
    kinds.TunedBetween(22.0, 15.0),
)
# As version 0.1.0 wrote them, at commit time of the first stored job: a change detector for the old format.
SENTENCES_OF_0_1 = {
    "expected 110.0 Hz but 116.5 Hz sounds: another note": EVERY[1],
    "expected 110.0 Hz but 220.0 Hz sounds: another octave": EVERY[2],
    "another string may be ringing near 147.2 Hz; damp the others": EVERY[3],
    "pitch uncertain by 31 cents": EVERY[4],
    "hardly louder than the noise; pluck louder or come closer": EVERY[5],
    "the sound is overdriven; lower the recording level": EVERY[6],
    "wrong note: -101 cents from F#3 with the capo behind fret 2, more than 70; not used. Tune the string, "
    "or correct the string or its note": EVERY[8],
    "wrong note: +88 cents from E4, more than 70; not used. Tune the string, or correct the string or its "
    "note": EVERY[9],
    "wrong note: -100 cents from its place above the open string (−70 to +130 is believable); not used. "
    "Correct its row, or play it again": EVERY[10],
    "no usable open take of the same string and capo to compare it with; not used": EVERY[12],
    "+112 cents: either a very high slot or the string was pressed one fret too far; play it again": EVERY[
        13
    ],
    "no open take before it: tuning drift is not removed": EVERY[14],
    "no open take after it: tuning drift is not removed": EVERY[15],
    "the note stops after 0.4 s": kinds.StatedDoubt("the note stops after 0.4 s"),
}


def test_every_kind_is_here() -> None:
    assert {type(what) for what in EVERY} == set(get_args(Doubt))


@pytest.mark.parametrize("what", EVERY, ids=lambda what: type(what).__name__)
def test_every_kind_is_told_and_comes_back_from_plain_data(what: Doubt) -> None:
    assert from_data(as_data(what)) == what
    assert doubt(what)
    for field in fields(what):  # no number is left out of the words
        value = getattr(what, field.name)
        if isinstance(value, float):
            assert f"{abs(value):.0f}" in doubt(what).replace("147.2", "147").replace("7.5", "8")


@pytest.mark.parametrize(("text", "what"), SENTENCES_OF_0_1.items())
def test_sentences_of_the_first_version_become_records(text: str, what: Doubt) -> None:
    assert read_old_doubt(text) == what
    assert doubt(what) == text  # and the JSON says today what it said then


@given(st.text())
def test_any_other_text_is_kept_as_it_stands(text: str) -> None:
    assert doubt(read_old_doubt(text)) == text


@pytest.mark.parametrize(
    "data", [{}, {"kind": "Mood"}, {"kind": "Faint", "hz": 1.0}, {"kind": "NoOpenTakeOn", "side": "up"}]
)
def test_unknown_data_is_refused(data: dict[str, object]) -> None:
    with pytest.raises(BadValue, match="not of a kind"):
        from_data(data)


def test_several_are_joined_into_a_sentence() -> None:
    assert joined(EVERY[5:7]) == f"{doubt(EVERY[5])}; {doubt(EVERY[6])}"
    assert sentence(EVERY[5:6]) == "Hardly louder than the noise; pluck louder or come closer."
    assert sentence(()) == ""
