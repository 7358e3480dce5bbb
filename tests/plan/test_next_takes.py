"""The next takes pay for the time they cost, are played between open ones, and come to an end."""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby, pairwise

import numpy as np
import pytest

from helpers.planted import heard, job_of, truth_of
from pitchcheck.course import Thoroughness
from pitchcheck.diagnosis.suspicion import find_suspects
from pitchcheck.fit import Fit, fit_instrument
from pitchcheck.fit.result import UnsettledKind
from pitchcheck.instrument import Aim, Board, Fretwork, Nut, SessionSettings
from pitchcheck.judgement import (
    FIRST_SUSPECTS,
    Verdict,
    bar_filing,
    judge_slots,
    slot_goal,
    verdict,
)
from pitchcheck.plan import NextTakes
from pitchcheck.plan.leaves_at_hand import bare_strings, in_a_workshop
from pitchcheck.plan.next_takes import MOST_TAKES, next_takes
from pitchcheck.survey import build_survey
from pitchcheck.takes import Position, Stop, Take

JOB = job_of("bass")
UNDECLARED, UNDECLARED_SIX = (
    replace(job, instrument=replace(job.instrument, fretwork=Fretwork.UNKNOWN))
    for job in (JOB, job_of("electric"))
)
TARGETS = [slot_goal(JOB, s.number).target_mm for s in JOB.instrument.strings]
EDGE = 2  # the string that lies where nothing can be said: at target plus tolerance
HIGH_MM = 0.5
ROUGHLY = 2.0  # a gain told within a factor of two still ranks takes that differ by more; 1.3 was seen


def open_case(settings: SessionSettings = JOB) -> tuple[tuple[Take, ...], Fit]:
    """All slots clearly high but one, after the quick protocol, which leaves something to gain."""
    targets = [slot_goal(settings, s.number).target_mm for s in settings.instrument.strings]
    planted = [t + HIGH_MM for t in targets]
    planted[EDGE - 1] = targets[EDGE - 1] + 1.5 * settings.target.tolerance_mm
    takes = heard(truth_of(settings, planted), protocol=Thoroughness.QUICK)
    return takes, fit_instrument(settings, build_survey(takes))


def verdicts(fit: Fit) -> list[Verdict]:
    return [verdict(slot_goal(JOB, s.number), s.height_mm) for s in fit.strings]


def with_one_more(takes: tuple[Take, ...], fit: Fit, place: Position) -> Fit:
    """The fit after one more take that sounds as expected, with its open takes around it."""
    as_fitted = truth_of(JOB, [s.height_mm.median for s in fit.strings])
    opened, stopped = heard(as_fitted, positions=[Position(EDGE, Stop.OPEN), place])
    extra = [opened, stopped, opened]
    added = [replace(t, row=1000 + i, when=1000.0 + i) for i, t in enumerate(extra)]
    return fit_instrument(JOB, build_survey((*takes, *added)))


def log_width(fit: Fit) -> float:
    belief = fit.strings[EDGE - 1].height_mm
    return float(np.log(belief.high - belief.low))


def asked(settings: SessionSettings, takes: tuple[Take, ...], fit: Fit) -> NextTakes:
    slots = bar_filing(judge_slots(settings, fit), fit=fit, findings=(), survey=build_survey(takes))
    return next_takes(settings, build_survey(takes), fit, slots)


def test_nothing_is_asked_for_when_all_slots_are_known_to_be_right() -> None:
    takes = heard(truth_of(JOB, [t - 0.05 for t in TARGETS]))
    fit = fit_instrument(JOB, build_survey(takes))
    assert verdicts(fit) == [Verdict.FINE] * 4
    assert asked(JOB, takes, fit) == NextTakes()


@pytest.mark.parametrize(("settings", "stop"), [(JOB, Stop.LEAF), (UNDECLARED_SIX, Stop.PRESS)])
def test_a_run_begins_and_ends_with_the_open_string_and_names_its_first_stopped_take(
    settings: SessionSettings, stop: Stop
) -> None:
    """On level frets leaves pay first; who declares nothing of the frets may have no leaves and presses."""
    takes, fit = open_case(settings)
    run = asked(settings, takes, fit)
    assert run.first is not None
    assert run.first.position == next(p for p in run.takes if p.stop is not Stop.OPEN)
    assert run.first.why.string == run.first.position.string
    assert 0 < run.first.why.share < 1
    for string, few in groupby(run.takes, key=lambda p: p.string):
        stops = [p.stop for p in few]
        assert stops[0] is stops[-1] is Stop.OPEN, string
        assert set(stops) == {Stop.OPEN, stop}
    assert len(run.takes) <= MOST_TAKES


def test_takes_are_asked_for_until_none_pays_and_no_longer() -> None:
    """Every take sounds as it should, so only the knowledge grows."""
    takes, fit = open_case()
    as_planted = truth_of(JOB, [s.height_mm.median for s in fit.strings])
    narrower = [float(np.sum([s.height_mm.high - s.height_mm.low for s in fit.strings]))]
    for _ in range(30):
        run = asked(JOB, takes, fit)
        if not run.takes:
            break
        more = heard(as_planted, positions=run.takes)
        first = len(takes) + 1
        takes = (*takes, *(replace(t, row=first + i, when=float(first + i)) for i, t in enumerate(more)))
        fit = fit_instrument(JOB, build_survey(takes))
        narrower.append(float(np.sum([s.height_mm.high - s.height_mm.low for s in fit.strings])))
    else:
        pytest.fail("it asks for ever")
    assert len(narrower) > 1
    assert len(takes) <= 100  # a thorough course of four strings is 136 takes
    assert all(b < a * 1.02 for a, b in pairwise(narrower))


def test_whom_fretted_notes_make_suspect_is_pressed_first() -> None:
    planted = [t + (0.9 if i == EDGE - 1 else 0.0) for i, t in enumerate(TARGETS)]
    positions = [
        Position(n, stop, fret)
        for n in range(1, 5)
        for stop, fret in ((Stop.OPEN, None), (Stop.FRET, 1), (Stop.OPEN, None))
    ]
    takes = heard(truth_of(JOB, planted), positions=positions)
    fit = fit_instrument(JOB, build_survey(takes))
    named = find_suspects(build_survey(takes), fit, judge_slots(JOB, fit))[:FIRST_SUSPECTS]
    run = asked(JOB, takes, fit)
    assert EDGE in named
    assert {p.string for p in run.takes} <= set(named)
    assert [p.fret for p in run.takes if p.string == run.takes[0].string][1:3] == [1, 2]


def test_where_plucking_cannot_settle_leaves_are_laid_under_the_outer_strings() -> None:
    """Nothing is declared of the frets, so presses leave the slots wide."""
    instrument = replace(JOB.instrument, fretwork=Fretwork.UNKNOWN)
    settings = replace(JOB, instrument=instrument)
    takes = heard(truth_of(JOB, [t + 0.25 for t in TARGETS]), protocol=Thoroughness.THOROUGH)
    fit = fit_instrument(settings, build_survey(takes))
    run = asked(settings, takes, fit)
    leaves = [p for p in run.takes if p.stop is Stop.LEAF]
    assert leaves
    assert all(p.string in (1, 4) and p.fret == 1 and p.leaf_mm is not None for p in leaves)


def test_what_is_undecided_on_unknown_frets_is_told_by_leaves_though_nothing_is_to_be_filed() -> None:
    settings = UNDECLARED
    takes = heard(truth_of(JOB, TARGETS), protocol=Thoroughness.THOROUGH)
    fit = fit_instrument(settings, build_survey(takes))
    assert Verdict.UNSURE in {s.verdict for s in judge_slots(settings, fit)}
    run = asked(settings, takes, fit)
    assert {p.stop for p in run.takes} == {Stop.OPEN, Stop.LEAF}
    assert {p.string for p in run.takes} == {1, 4}
    # Declared level, presses have told what leaves would tell.
    level = fit_instrument(JOB, build_survey(takes))
    assert not any(p.stop is Stop.LEAF for p in asked(JOB, takes, level).takes)


def leaf_case() -> tuple[tuple[Take, ...], Fit]:
    """Level frets, all slots somewhat high, pressed until no press pays: leaves are asked for."""
    takes = heard(truth_of(JOB, [t + 0.3 for t in TARGETS]), protocol=Thoroughness.THOROUGH)
    return takes, fit_instrument(JOB, build_survey(takes))


def test_leaves_are_laid_under_the_outer_strings_first() -> None:
    takes, fit = leaf_case()
    run = asked(JOB, takes, fit).takes
    assert {p.stop for p in run} == {Stop.OPEN, Stop.LEAF}
    assert {p.string for p in run} <= {1, 4}


def test_leaves_need_no_open_takes_once_leaves_were_laid() -> None:
    takes, fit = leaf_case()
    run = asked(JOB, takes, fit).takes
    assert run[0].stop is Stop.OPEN
    probe = Position(1, Stop.LEAF, 1, leaf_mm=0.05)  # far below any gap: it tells that leaves are at hand
    first = heard(truth_of(JOB, [t + 0.3 for t in TARGETS]), positions=[Position(1, Stop.OPEN)])[0]
    laid = replace(first, position=probe, row=len(takes) + 1, when=float(len(takes) + 1))
    fit = fit_instrument(JOB, build_survey((*takes, laid)))
    again = asked(JOB, (*takes, laid), fit).takes
    assert {p.stop for p in again} == {Stop.LEAF}
    # A string that was not played in this pass has no open take to tell the leaf's note by.
    unheard = tuple(t for t in takes if t.position.string != 1 or t.position.stop is not Stop.OPEN)
    other = replace(laid, position=replace(probe, string=4), hz=takes[-1].hz)
    assert bare_strings(build_survey((*unheard, other))) == {2, 3, 4}


def test_presses_come_first_where_no_leaves_lie_at_hand() -> None:
    """Who declares level frets or cuts a new nut has leaves; so has who laid one; others may have none."""
    takes, _ = open_case()
    survey = build_survey(takes)
    unknown = UNDECLARED
    new_nut = replace(unknown, target=replace(unknown.target, aim=Aim.NEW_NUT))
    at_hand = in_a_workshop
    assert at_hand(JOB, survey)
    assert at_hand(new_nut, survey)
    assert not at_hand(unknown, survey)
    laid = replace(takes[0], position=Position(1, Stop.LEAF, 1, leaf_mm=0.2), row=99, when=99.0)
    assert at_hand(unknown, build_survey((*takes, laid)))


def test_whoever_leaves_the_leaves_out_is_not_asked_for_them_again() -> None:
    takes, fit = leaf_case()
    run = asked(JOB, takes, fit).takes
    opens = heard(truth_of(JOB, TARGETS), positions=[p for p in run if p.stop is Stop.OPEN])
    row = len(takes) + 1
    played = (*takes, *(replace(t, row=row + i, when=float(row + i)) for i, t in enumerate(opens)))
    assert not any(p.stop is Stop.LEAF for p in asked(JOB, played, fit).takes)


def test_the_gain_told_is_the_gain_had() -> None:
    """The prediction is linear about the mode; solving again with the take in place must agree."""
    takes, fit = open_case()
    survey = build_survey(takes)
    place = Position(EDGE, Stop.PRESS, 1)
    assert fit.joint is not None
    reading = float(np.median([s.sd_cents for s in survey.stopped]))
    now, after = fit.joint.gain(JOB.instrument, (place,), reading_cents=reading)
    told = float(np.log(after[0, EDGE - 1] / now[EDGE - 1]))
    had = log_width(with_one_more(takes, fit, place)) - log_width(fit)
    assert had < 0
    assert 1 / ROUGHLY < told / had < ROUGHLY


def test_a_scalloped_board_gets_no_press() -> None:
    takes, fit = open_case()
    settings = replace(JOB, instrument=replace(JOB.instrument, board=Board.SCALLOPED))
    assert all(p.stop is not Stop.PRESS for p in asked(settings, takes, fit).takes)


def test_a_nut_that_is_never_filed_is_asked_about_for_its_verdict_only() -> None:
    takes, fit = open_case()
    settings = replace(JOB, instrument=replace(JOB.instrument, nut=Nut.LOCKING))
    run = asked(settings, takes, fit)
    assert len(run.takes) <= len(asked(JOB, takes, fit).takes)


def presses_off(rounds: int) -> list[Take]:
    """Some rounds (1, 2 on every string), every press of which sounds 20 cents sharp."""
    takes: list[Take] = []
    for _ in range(rounds):
        more = heard(truth_of(JOB, [t + HIGH_MM for t in TARGETS]), protocol=Thoroughness.QUICK)
        first = len(takes)
        takes += [replace(t, row=first + i, when=float(first + i)) for i, t in enumerate(more)]
    return [replace(t, hz=t.hz * 2 ** (20 / 1200)) if t.position.stop is Stop.PRESS else t for t in takes]


def asked_with_presses_off(rounds: int) -> tuple[NextTakes, Fit]:
    """What is asked then."""
    survey = build_survey(tuple(presses_off(rounds)))
    fit = fit_instrument(JOB, survey)
    slots = bar_filing(judge_slots(JOB, fit), fit=fit, findings=(), survey=survey)
    return next_takes(JOB, survey, fit, slots), fit


def test_presses_that_contradict_the_rest_are_asked_for_again_while_few_were_played() -> None:
    asked, fit = asked_with_presses_off(1)
    assert {u.kind for u in fit.unsettled} == {UnsettledKind.PRESSES}
    assert asked.first is not None
    worst = fit.misfit.strings[0] if fit.misfit is not None else 1
    assert asked.first.position == Position(worst, Stop.PRESS, 1)
    assert len(asked.takes) <= MOST_TAKES
    assert {p.fret for p in asked.takes if p.stop is Stop.PRESS} == {1, 2}
    enough, fit = asked_with_presses_off(3)
    assert {u.kind for u in fit.unsettled} == {UnsettledKind.PRESSES}
    # Six presses a string say the same: more of them settle nothing, leaves do, the outer strings first.
    assert {p.stop for p in enough.takes} == {Stop.OPEN, Stop.LEAF}
    assert {p.string for p in enough.takes} == {1, 4}


def test_presses_of_no_use_are_not_asked_for_for_ever() -> None:
    """Most presses of a string are set aside before the fit, so that it has few however many were played."""
    takes = presses_off(6)
    few = [
        replace(t, used=t.row < 20 or t.position.stop is Stop.OPEN) if t.position.string == EDGE else t
        for t in takes
    ]
    survey = build_survey(tuple(few))
    fit = fit_instrument(JOB, survey)
    assert any(EDGE in u.strings and u.kind is UnsettledKind.PRESSES for u in fit.unsettled)
    slots = bar_filing(judge_slots(JOB, fit), fit=fit, findings=(), survey=survey)
    run = next_takes(JOB, survey, fit, slots)
    assert not any(p.stop is Stop.PRESS and p.string == EDGE for p in run.takes)


def test_leaves_about_the_gap_settle_a_slot_whose_presses_are_off() -> None:
    """All presses 20 cents sharp: with a bracket of leaves under string 1 that slot alone is judged."""
    planted = [t + HIGH_MM for t in TARGETS]
    truth = truth_of(JOB, planted)
    open_hz = heard(truth, positions=[Position(1, Stop.OPEN)])[0].hz
    well_heard = fit_instrument(JOB, build_survey(heard(truth, protocol=Thoroughness.THOROUGH))).joint
    assert well_heard is not None
    probe = (Position(1, Stop.LEAF, 1, leaf_mm=0.5),)
    gap = float(well_heard.outlook(JOB.instrument, probe, reading_cents=0.2).expected[0])
    gaps = [round(gap + step, 2) for step in (-0.05, 0.05)]
    takes = presses_off(3)
    for place, hz in (
        (Position(1, Stop.OPEN), open_hz),
        (Position(1, Stop.LEAF, 1, leaf_mm=gaps[0]), open_hz),
        (Position(1, Stop.LEAF, 1, leaf_mm=gaps[1]), open_hz * 2 ** (1 / 12)),
        (Position(1, Stop.OPEN), open_hz),
    ):
        row = len(takes)
        takes.append(replace(takes[0], position=place, hz=hz, row=row, when=float(row)))
    survey = build_survey(tuple(takes))
    fit = fit_instrument(JOB, survey)
    assert [u.strings for u in fit.unsettled] == [(2, 3, 4)]
    slots = judge_slots(JOB, fit)
    assert [s.verdict for s in slots] == [Verdict.HIGH, *(3 * [Verdict.UNSURE])]
    assert fit.strings[0].height_mm.low <= planted[0] <= fit.strings[0].height_mm.high
