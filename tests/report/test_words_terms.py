"""Trade words: each is explained where a text uses it, once, and only then; doubted takes are counted."""

from __future__ import annotations

import pytest

from pitchcheck.doubts import OpenOffItsNote, SecondString
from pitchcheck.findings import Cause, DoubtedTake, Finding, NotTheSlot
from pitchcheck.takes import Position, Stop
from pitchcheck.words.evidence import finding_lines, lines
from pitchcheck.words.terms import TERMS, terms_in

USED = {
    "press": "Play press 1 first.",
    "slot height": "The slot height is 0.5 mm.",
    "gap over fret 1": "The gap over fret 1 should be 0.15 mm.",
    "leaf": "Check it with a leaf.",
    "target": "It lies above its target.",
    "buzz": "Strings that buzz are low.",
    "cent": "It is 3 cents sharp.",
    "saddle": "The saddle wants to go back.",
    "action": "The action at fret 12 is high.",
    "relief": "Set the relief first.",
    "open string": "Play the open string.",
}


@pytest.mark.parametrize("term", TERMS)
def test_each_term_is_explained_where_it_is_used(term: str) -> None:
    assert TERMS[term] in terms_in([USED[term]])
    assert terms_in(["Nothing is to be filed."]) == ()


def test_terms_come_in_the_order_of_first_use_and_once() -> None:
    told = terms_in([USED["saddle"], USED["press"], USED["saddle"]])
    assert told == (TERMS["saddle"], TERMS["press"])


def test_many_takes_doubted_for_one_reason_are_one_line_with_their_count() -> None:
    """An instrument a semitone flat once gave a line for every take."""
    flat = tuple(
        DoubtedTake(row, Position(2, Stop.OPEN), (OpenOffItsNote(-101.0 + row / 10, "B3", 0, 70.0),))
        for row in range(1, 17)
    )
    other = DoubtedTake(20, Position(2, Stop.FRET, 1), (SecondString(146.8),))
    told = finding_lines(Finding(Cause.WRONG_NOTE, (2,), (), 17.0, "takes", (*flat, other)))
    assert len(told) == 2
    assert told[0].startswith("16 takes (rows 1 to 16), such as string 2 open: wrong note: -101 cents")
    assert told[1].startswith("row 20")
    assert len(finding_lines(Finding(Cause.WRONG_NOTE, (2,), (), 3.0, "takes", flat[:3]))) == 3


def test_the_parts_of_a_sharp_note_come_in_order_of_cents_and_every_part_has_a_name() -> None:
    (told,) = lines([NotTheSlot(1, 14.0, 0.2, 8.0, -0.5, 2.0, 4.3)])
    places = [
        told.index(part)
        for part in ("the finger +8.0", "how this note was played", "stiffness +2.0", "place along")
    ]
    assert places == sorted(places)
    assert "all else" not in told
