"""Each limit of the diagnosis lies where scipy puts it: just above it a finding, just below it none.

One false alarm in a hundred surveys and kind of finding is promised, shared over everything that was looked
at: two-sided tails of 0.01 / n.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from helpers.fits import EMPTY_SURVEY, SCALE_MM, Made, make_fit, make_job, neck_cents, open_session
from pitchcheck.diagnosis import Cause, DiagnosisLimits, diagnose
from pitchcheck.diagnosis import sharpness as module
from pitchcheck.diagnosis.limits import robust_sd, sd_of_interval, t_limit
from pitchcheck.diagnosis.misfits import find_frets
from pitchcheck.diagnosis.opens import find_drift, find_jumps
from pitchcheck.diagnosis.sharpness import sharpness
from pitchcheck.findings import Finding, Question
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Fit, MeterResidual, Residual
from pitchcheck.instrument import MeterQuantity, MeterReading
from pitchcheck.judgement import slot_goal
from pitchcheck.survey import build_survey
from pitchcheck.takes import Position, Stop, Take
from pitchcheck.words.evidence import finding_lines

LIMITS = DiagnosisLimits()
JOB = make_job()
TARGETS = [slot_goal(JOB, n).target_mm for n in range(1, 7)]
STRINGS = 6
NEAR = 0.03  # relative: how near to its limit each case is put


def tail(count: int) -> float:
    """One of two tails of one in a hundred, shared."""
    return 0.01 / (2 * count)


def sound_fit(**changes: object) -> Fit:
    return make_fit([Made(t, touch_mm=0.1) for t in TARGETS], targets_mm=TARGETS, **changes)


def test_shared_student_limit_and_robust_scatter_are_scipys() -> None:
    assert t_limit(6, alarm=0.01, freedom=4) == pytest.approx(stats.t.isf(0.01 / 12, 4), rel=1e-9)
    values = np.array([1.0, 2.0, 2.5, 4.0, 7.0, 40.0, -3.0])
    assert robust_sd(values) == pytest.approx(stats.median_abs_deviation(values, scale="normal"), rel=1e-9)
    assert sd_of_interval(*stats.norm.interval(0.9, 5.0, 2.0)) == pytest.approx(2.0, rel=1e-9)


@pytest.mark.parametrize("own", [True, False], ids=["readings' noise", "strings' scatter"])
@pytest.mark.parametrize("beyond", [True, False])
def test_a_fret_is_named_beyond_students_limit(own: bool, beyond: bool) -> None:
    # Four frets looked at, six strings each: five degrees of freedom, the error of a mean of six.
    off = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0]) * (0.0 if own else 3.0)
    sd = 4.0 if own else 0.1
    error = sd / math.sqrt(STRINGS) if own else float(np.std(off, ddof=1)) / math.sqrt(STRINGS)
    limit = float(stats.t.isf(tail(4), STRINGS - 1)) * error
    mean = limit * (1 + NEAR if beyond else 1 - NEAR)
    rows = [
        Residual(Position(n, Stop.FRET, fret), n, 5.0 + (mean + off[n - 1] if fret == 3 else 0.0), 5.0, sd, 1)
        for fret in (1, 2, 3, 12)
        for n in range(1, STRINGS + 1)
    ]
    found = find_frets(replace(sound_fit(), residuals=tuple(rows)), LIMITS)
    assert [f.frets for f in found] == ([(3,)] if beyond else [])
    if beyond:
        assert found[0].evidence[0].limit_cents == pytest.approx(limit, rel=1e-9)


@pytest.mark.parametrize("beyond", [True, False])
def test_a_gauge_disagrees_beyond_the_limit_shared_over_all_readings(beyond: bool) -> None:
    reading = MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, 0.24, 0.025)
    job = make_job(meter=(reading,) * 5)
    away = 0.04 * float(stats.norm.isf(tail(5))) * (1 + NEAR if beyond else 1 - NEAR)
    meter = [MeterResidual(i, 0.24, 0.24, 0.04, None) for i in range(4)]
    meter.append(MeterResidual(4, 0.24 + away, 0.24, 0.04, None))
    found = diagnose(job, EMPTY_SURVEY, sound_fit(meter=tuple(meter))).findings
    assert [f.cause for f in found] == ([Cause.EAR_METER_DISAGREE] if beyond else [])


def test_few_open_takes_are_judged_by_the_scatter_of_a_usual_hand() -> None:
    # Four changes of two strings: too few to tell their scatter, so the 0.7 cent of an open note by hand.
    survey, _ = open_session([[0.0, 0.1, 0.0], [0.0, 9.0, 0.0]])
    jumps = find_jumps(survey, LIMITS)
    assert [(j.change.string, j.came_back) for j in jumps] == [(2, True)]
    assert jumps[0].limit_cents == pytest.approx(0.7 * stats.norm.isf(tail(4)), rel=1e-9)


def test_many_open_takes_are_judged_by_their_own_scatter() -> None:
    rng = np.random.default_rng(4)
    opens = rng.normal(0.0, 0.8, (STRINGS, 7))
    opens[2, 3] += 60.0
    survey, _ = open_session(opens)
    changes = np.diff(opens, axis=1)
    about = changes - np.median(changes, axis=1, keepdims=True)  # each string's own drift taken off
    free = changes.size - STRINGS
    # The median absolute deviation tells as much as 0.37 of the readings (Rousseeuw and Croux 1993), and
    # neighbouring changes share an open take, whose correlation of -1/2 counts them 1 + 2/4 times.
    freedom = int(0.37 * free / 1.5)
    scatter = stats.median_abs_deviation(about, axis=None, scale="normal") * math.sqrt(changes.size / free)
    limit = stats.t.isf(tail(changes.size), freedom) * scatter
    jumps = find_jumps(survey, LIMITS)
    assert {j.change.string for j in jumps} == {3}
    assert jumps[0].limit_cents == pytest.approx(limit, rel=1e-6)


@pytest.mark.parametrize("beyond", [True, False])
def test_a_string_drifts_when_its_line_is_beyond_chance(beyond: bool) -> None:
    # By scipy's regression: slope over its standard error against Student's t, shared over six strings.
    wobble = np.array([3.0, -3.0, -3.0, 3.0, 3.0, -3.0, -3.0, 3.0])
    when = np.arange(8.0)
    error = stats.linregress(when, wobble).stderr
    steep = float(stats.t.isf(tail(STRINGS), 6) * error) * (1.1 if beyond else 0.9)
    slope = steep - stats.linregress(when, wobble).slope
    opens = np.zeros((STRINGS, 8))
    opens[1] = wobble + slope * when
    survey, _ = open_session(opens)
    drifting = find_drift(survey, replace(LIMITS, return_cents=1000.0))
    assert [f.strings for f in drifting] == ([(2,)] if beyond else [])


@pytest.mark.parametrize("way", [1.0, -1.0])
@pytest.mark.parametrize("beyond", [True, False])
def test_stiffness_is_doubted_beyond_what_gauge_and_ear_leave_open(way: float, beyond: bool) -> None:
    # B = (pi d / 4 L)^2 EA/T of a plain string (Fletcher 1964). Its logarithm is known to 20 % from the
    # gauge, to the belief in EA/T, and to the readings' own part; six strings are looked at.
    fit = sound_fit()
    string = replace(fit.strings[0], stretch_factor=Belief.normal(144.0, 0.1 * 144.0))
    fit = replace(fit, strings=(string, *fit.strings[1:]))
    expected = (math.pi * 0.254 / (4 * SCALE_MM)) ** 2 * 144.0
    log_sd = math.sqrt(0.2**2 + 0.1**2 + 0.1**2 / 2)
    heard = expected * math.exp(
        way * log_sd * float(stats.norm.isf(tail(STRINGS))) * (1 + NEAR if beyond else 1 - NEAR)
    )
    opens = [
        Take(i, None, Position(1, Stop.OPEN), 329.6, 0.15, float(i), inharmonicity=heard, inharmonicity_sd=sd)
        for i, sd in ((1, 0.1 * heard), (2, 0.1 * heard))
    ]
    found = diagnose(JOB, build_survey(opens), fit).findings
    assert [f.cause for f in found] == ([Cause.WORN_STRING] if beyond else [])


@pytest.mark.parametrize("beyond", [True, False])
def test_a_capo_bends_beyond_a_limit_shared_over_all_places(beyond: bool) -> None:
    # Two places on one string: two cents from capo to capo, and 0.15 of each of the two open notes.
    sd = math.hypot(0.15, 0.15, 2.0)
    bend = sd * float(stats.norm.isf(tail(2))) * (1 + NEAR if beyond else 1 - NEAR)
    light = neck_cents(TARGETS[0], touch_mm=0.1)
    opens = [Take(1, None, Position(1, Stop.OPEN), 329.6, 0.15, 1.0)]
    for row, capo, more in ((2, 1, bend), (3, 2, 0.0)):
        hz = 329.6 * 2 ** ((100 * capo + float(light[capo - 1]) + more) / 1200)
        opens.append(Take(row, None, Position(1, Stop.OPEN, None, capo), hz, 0.15, float(row)))
    found = diagnose(JOB, build_survey(opens), sound_fit()).findings
    assert [(f.cause, f.frets) for f in found] == ([(Cause.CAPO, (1,))] if beyond else [])


@pytest.mark.parametrize(("cents", "way"), [(15.0, "back, away from the nut"), (-15.0, "towards the nut")])
def test_a_saddle_moves_the_way_that_mends_the_octave(cents: float, way: str) -> None:
    # f ~ 1 / length: fret 12 sharp means that its part of the string is short: the saddle goes away from it.
    made = [Made(t, touch_mm=0.1, fret_12_cents=cents if i == 5 else 0.0) for i, t in enumerate(TARGETS)]
    (found,) = diagnose(JOB, EMPTY_SURVEY, make_fit(made, targets_mm=TARGETS)).findings
    assert found.cause is Cause.SADDLE
    assert way in " ".join(finding_lines(found))
    assert ("back" in " ".join(finding_lines(found))) is (cents > 0)


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_saddle_is_named_beyond_what_is_not_known_of_it(way: float) -> None:
    def found(cents: float) -> list[Finding]:
        made = [Made(t, touch_mm=0.1, fret_12_cents=cents if i == 5 else 0.0) for i, t in enumerate(TARGETS)]
        return list(diagnose(JOB, EMPTY_SURVEY, make_fit(made, targets_mm=TARGETS)).findings)

    (far,) = found(way * 30.0)
    sd = far.evidence[0].sd_cents
    # A millimetre of saddle is 1731 / 648 cents at fret 12, and 0.3 mm of it are not known here.
    assert sd > 0.3 * 1200 / math.log(2) / SCALE_MM
    limit = LIMITS.in_tune_cents + float(stats.norm.isf(0.05)) * sd  # 95 % on its side
    assert [f.cause for f in found(way * limit * (1 + NEAR))] == [Cause.SADDLE]
    assert found(way * limit * (1 - NEAR)) == []


def test_the_parts_of_a_sharp_first_fret_add_up() -> None:
    target, height = TARGETS[0], TARGETS[0] + 0.3
    made = [Made(height, touch_mm=0.15, first_fret_cents=20.0, nut_offset_mm=(0.5, 0.05)), *[None] * 5]
    string = make_fit(made, targets_mm=TARGETS).strings[0]
    parts = sharpness(string, scale_mm=SCALE_MM)
    assert parts is not None
    high, right = (neck_cents(h, touch_mm=0.15)[0] for h in (height, target))
    light = neck_cents(height, touch_mm=0.0)[0]
    assert parts.slot_cents == pytest.approx(high - right)
    assert parts.touch_cents == pytest.approx(high - light)
    assert parts.nut_cents == pytest.approx(1200 / math.log(2) * 0.5 / SCALE_MM)
    told = parts.slot_cents + parts.touch_cents + parts.nut_cents + parts.usual_cents + parts.left_cents
    assert told == pytest.approx(20.0)
    assert parts.slot_cents + parts.touch_cents + parts.nut_cents + parts.usual_cents == pytest.approx(high)


@pytest.mark.parametrize("heard", [True, False])
@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("beyond", [True, False])
def test_one_strings_nut_is_named_beyond_the_limit_shared_by_all(
    monkeypatch: pytest.MonkeyPatch, heard: bool, side: float, beyond: bool
) -> None:
    # 0.3 mm must lie outside all but a tail of 0.01 / 12: six strings, two sides; the nut itself is sound
    sd = 0.1
    away = 0.3 + stats.norm.isf(tail(STRINGS)) * sd * (1.0 + (NEAR if beyond else -NEAR))
    fit = sound_fit()
    offsets = [side * away if s.number == 3 else 0.0 for s in fit.strings]
    strings = tuple(
        replace(s, nut_offset_mm=Belief.normal(offset, sd))
        for s, offset in zip(fit.strings, offsets, strict=True)
    )
    fit = replace(fit, strings=strings, nut_offset_mm=Belief.normal(0.0, 0.01))
    monkeypatch.setattr(module, "heard_up_the_neck", lambda *_: heard)
    found = module.find_nut_position(JOB, fit, LIMITS)
    assert [type(one) for one in found] == ([Finding if heard else Question] if beyond else [])
    assert all(one.cause is Cause.NUT_POSITION and one.strings == (3,) for one in found)


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize(("beyond", "strings_heard"), [(True, 6), (True, 2), (True, 1), (False, 6)])
def test_a_whole_nut_is_named_beyond_its_ninety_percent(
    monkeypatch: pytest.MonkeyPatch, side: float, beyond: bool, strings_heard: int
) -> None:
    away = 0.3 + stats.norm.isf(0.05) * 0.1 * (1.0 + (NEAR if beyond else -NEAR))
    fit = replace(sound_fit(), nut_offset_mm=Belief.normal(side * away, 0.1))
    fit = replace(fit, strings=tuple(replace(s, nut_offset_mm=Belief.normal(0.0, 0.01)) for s in fit.strings))
    monkeypatch.setattr(module, "heard_up_the_neck", lambda _, number: number <= strings_heard)
    found = module.find_nut_position(JOB, fit, LIMITS)
    if not beyond:
        assert found == []
        return
    (one,) = found
    assert one.strings == (1, 2, 3, 4, 5, 6)
    assert isinstance(one, Finding if strings_heard > 1 else Question)
    if isinstance(one, Finding):
        assert one.size == pytest.approx(side * away, rel=1e-6)
