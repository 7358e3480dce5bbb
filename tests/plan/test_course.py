"""The protocols: how many takes, in which order, and that every stopped take has its open neighbours."""

from __future__ import annotations

import pytest

from pitchcheck.course import Thoroughness, string_positions, survey_positions
from pitchcheck.takes import Position, Stop


def _short(positions: tuple[Position, ...]) -> str:
    """Takes as one line: o for open, f or p and the fret."""
    return " ".join("o" if p.fret is None else f"{p.stop.value[0]}{p.fret}" for p in positions)


@pytest.mark.parametrize(
    ("thoroughness", "expected"),
    [
        (Thoroughness.BASE, "o p1 p2 p1 o"),
        (Thoroughness.QUICK, "o f1 o p1 p2 o"),
        (Thoroughness.FULL, "o f1 o f1 o f2 f3 o f12 o p1 p2 o p1 p2 o"),
        (Thoroughness.THOROUGH, "o f1 o f1 o f2 f3 o f12 o" + 4 * " p1 p2 o p3 p4 o"),
    ],
)
def test_takes_of_one_string(thoroughness: Thoroughness, expected: str) -> None:
    assert _short(string_positions(3, thoroughness=thoroughness)) == expected


@pytest.mark.parametrize(
    ("thoroughness", "expected"), [("base", 8), ("quick", 3), ("full", 10), ("thorough", 10)]
)
def test_without_presses_nothing_is_held_onto_the_board(thoroughness: str, expected: int) -> None:
    positions = string_positions(1, thoroughness=Thoroughness(thoroughness), press=False)
    assert len(positions) == expected
    assert all(p.stop is not Stop.PRESS for p in positions)


@pytest.mark.parametrize("thoroughness", list(Thoroughness))
@pytest.mark.parametrize("press", [True, False])
def test_no_stopped_take_is_more_than_three_from_an_open_one(thoroughness: Thoroughness, press: bool) -> None:
    stops = [p.stop for p in string_positions(1, thoroughness=thoroughness, press=press)]
    assert stops[0] is Stop.OPEN
    assert stops[-1] is Stop.OPEN
    runs = "".join("o" if s is Stop.OPEN else "x" for s in stops)
    assert "xxxx" not in runs
    assert "oo" not in runs


def test_the_base_course_hears_the_hand_on_every_string() -> None:
    positions = survey_positions((1, 2, 3, 4, 5, 6), thoroughness=Thoroughness.BASE)
    assert len(positions) == 30
    presses = [(p.string, p.fret) for p in positions if p.stop is Stop.PRESS]
    assert all(presses.count((number, 1)) == 2 for number in range(1, 7))


def test_strings_follow_each_other_in_the_order_given() -> None:
    positions = survey_positions((6, 1), thoroughness=Thoroughness.FULL)
    assert [p.string for p in positions] == [6] * 16 + [1] * 16
