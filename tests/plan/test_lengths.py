"""Lengths worth telling: what is foretold comes true when they are told, and nobody is asked for nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from helpers.planted import SIX, job_of, usual_takes
from pitchcheck.fit import Fit, fit_instrument, priors
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import Coordinate
from pitchcheck.instrument import (
    Aim,
    BehindNut,
    Fretwork,
    Length,
    MeterQuantity,
    MeterReading,
    Nut,
    SessionSettings,
)
from pitchcheck.judgement import Bar, BarKind, SlotGoal, SlotJudgement, Verdict, Witness, judge_slots
from pitchcheck.plan.at_stake import HALF_OF_90
from pitchcheck.plan.lengths import LENGTH_NARROWS, LENGTH_S, lengths_worth_telling
from pitchcheck.plan.records import SharedLength, WorthTelling
from pitchcheck.session.limits import GAUGE_READINGS
from pitchcheck.survey import build_survey
from pitchcheck.takes import Narrowing
from pitchcheck.words.lengths import TITLES, length_briefs, length_steps

LEVEL = job_of()
AS_IT_COMES = replace(LEVEL.instrument, fretwork=Fretwork.UNKNOWN)
GAPS = tuple(MeterReading(MeterQuantity.CLEARANCE_OPEN, n, 0.9 * SIX[n - 1] + 0.35, 0.012) for n in (1, 6))
NEW_NUT = replace(LEVEL.target, aim=Aim.NEW_NUT)
JOB = replace(LEVEL, instrument=AS_IT_COMES, meter=GAPS, target=NEW_NUT)
# What is foretold is linear about the mode and counts a take by its weight there; 4 % was seen.
ROUGHLY = 0.08


@cache
def fitted(settings: SessionSettings) -> Fit:
    return fit_instrument(settings, build_survey(usual_takes()))


def believed(fit: Fit, name: str, centre: float, sd: float) -> float:
    """Middle of what the fit believes of an unknown."""
    assert fit.joint is not None
    return centre + sd * float(fit.joint.z[fit.joint.names.index(name)])


def told(what: SharedLength, fit: Fit) -> SessionSettings:
    """The settings with a length told as the fit believes it, so that only the widths change."""
    if what is SharedLength.BEHIND_NUT:
        angle = believed(fit, "break", *priors.BREAK_RAD)
        return replace(
            JOB, instrument=replace(JOB.instrument, behind_nut=BehindNut(60.0, 60 * math.tan(angle)))
        )
    relief = believed(fit, "relief", *priors.AS_IT_COMES.relief_mm)
    return replace(JOB, instrument=replace(JOB.instrument, relief=Length(relief, 0.05)))


def sds(fit: Fit) -> np.ndarray:
    return np.sqrt(np.diag(fit.height_covariance_mm2))


@pytest.mark.parametrize(
    ("what", "coordinate", "sd"),
    [
        (SharedLength.BEHIND_NUT, Coordinate.BREAK, priors.BREAK_TOLD_RAD),
        (SharedLength.RELIEF, Coordinate.RELIEF, 0.05),
    ],
)
def test_what_a_length_would_tell_is_what_it_tells(
    what: SharedLength, coordinate: Coordinate, sd: float
) -> None:
    before = fitted(JOB)
    assert before.joint is not None
    now, after = before.joint.heights_told(JOB.instrument, coordinate, sd)
    then = sds(fitted(told(what, before)))
    assert now == pytest.approx(sds(before), rel=0.02)
    assert after == pytest.approx(then, rel=ROUGHLY)
    most = int(np.argmax(1 - after / now))
    assert then[most] < 0.93 * now[most]  # it does tell something


def test_what_was_told_is_not_asked_for_again() -> None:
    fit = fitted(JOB)
    first = lengths_worth_telling(JOB, fit, judge_slots(JOB, fit))
    assert first
    for worth in first:
        settings = told(worth.what, fit)
        after = fitted(settings)
        again = {one.what for one in lengths_worth_telling(settings, after, judge_slots(settings, after))}
        assert worth.what not in again


def slot(number: int, excess_mm: float, *, nut: Nut = Nut.SLOTTED, bars: Sequence[Bar] = ()) -> SlotJudgement:
    height = Belief.normal(0.3 + excess_mm, 0.05)
    goal = SlotGoal(target_mm=0.3, tolerance_mm=0.1, floor_mm=0.1)
    return SlotJudgement(number, "E4", goal, nut, height, Verdict.UNSURE, Witness.PRESS, bars=tuple(bars))


def asked(after: dict[Coordinate, list[float]], slots: Sequence[SlotJudgement]) -> tuple[WorthTelling, ...]:
    """Lengths asked for where all heights are known to 0.05 mm, and to so much once each is told."""
    numbers = tuple(one.number for one in slots)

    def heights_told(_: object, what: Coordinate, __: float) -> tuple[np.ndarray, np.ndarray]:
        return np.full(len(numbers), 0.05), np.array(after[what])

    fit: Any = SimpleNamespace(joint=SimpleNamespace(numbers=numbers, heights_told=heights_told))
    return lengths_worth_telling(LEVEL, fit, slots)


def test_what_saves_most_comes_first_with_the_slot_that_it_narrows_most() -> None:
    found = asked(
        {Coordinate.BREAK: [0.045, 0.03, 0.05], Coordinate.RELIEF: [0.03, 0.03, 0.02]},
        [slot(1, 0.3), slot(2, 0.3), slot(3, 0.3)],
    )
    assert [one.what for one in found] == [SharedLength.RELIEF, SharedLength.BEHIND_NUT]
    relief, fall = (one.why for one in found)
    assert (relief.string, relief.helps) == (3, (1, 2))
    assert (fall.string, fall.helps) == (2, (1,))  # string 3 is not helped
    assert fall.half_width_mm == pytest.approx(HALF_OF_90 * 0.05, rel=0.01)
    assert fall.share == pytest.approx(0.4)


@pytest.mark.parametrize(
    "slots",
    [
        [slot(1, 0.3, nut=Nut.LOCKING), slot(2, 0.3, nut=Nut.LOCKING)],
        [slot(1, 0.3, bars=[Bar(BarKind.CATCHING)]), slot(2, 0.3, bars=[Bar(BarKind.CATCHING)])],
        [slot(1, -0.1), slot(2, -0.1)],  # nothing will be filed, so nothing is saved
    ],
)
def test_where_nothing_hangs_on_it_nothing_is_asked_for(slots: list[SlotJudgement]) -> None:
    assert not asked({Coordinate.BREAK: [0.02, 0.02], Coordinate.RELIEF: [0.02, 0.02]}, slots)


def test_a_length_that_hardly_narrows_is_not_asked_for() -> None:
    many = [slot(n, 0.3) for n in range(1, 31)]  # so many that the time alone would pay
    for part, expected in ((LENGTH_NARROWS - 0.01, 0), (LENGTH_NARROWS + 0.01, 1)):
        after = {Coordinate.BREAK: [0.05 * (1 - part)] * 30, Coordinate.RELIEF: [0.05] * 30}
        assert len(asked(after, many)) == expected


def test_a_length_must_save_its_two_minutes() -> None:
    # The saving grows with the number of slots that it narrows alike.
    def savers(count: int) -> int:
        after = {Coordinate.BREAK: [0.045] * count, Coordinate.RELIEF: [0.05] * count}
        return len(asked(after, [slot(n, 0.25) for n in range(1, count + 1)]))

    assert LENGTH_S == 120.0
    assert savers(1) == 0
    assert savers(12) == 1


def test_relief_is_believed_as_the_settings_read_it() -> None:
    # One figure in two rooms, which know nothing of one another.
    from pitchcheck.plan.lengths import _TOLD

    assert _TOLD[SharedLength.RELIEF][1] == GAUGE_READINGS[MeterQuantity.RELIEF].sd_mm


def test_the_words_fit_a_screen_and_tell_both_widths() -> None:
    lengths = [WorthTelling(what, Narrowing(12, 0.116, 0.25, (1, 2))) for what in SharedLength]
    for worth in lengths:
        (line,) = length_briefs([worth])
        assert len(line) <= 80
        ((title, (brings, how)),) = length_steps([worth])
        assert title == TITLES[worth.what]
        assert line.startswith(title)
        for text in (line, brings):
            assert "±0.09" in text  # three quarters of 0.116
            assert "0.12 mm" in text
        assert "strings 1 and 2" in brings
        assert "settings" in how
    assert len(length_briefs(lengths)) == 1  # the one that brings most
    assert length_briefs([]) == ()
