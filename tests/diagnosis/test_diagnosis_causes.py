"""Each cause is found where it was put, with its evidence, and a sound instrument has none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from helpers.fits import EMPTY_SURVEY, SCALE_MM, STRETCH, Made, make_fit, make_job, neck_cents
from pitchcheck.diagnosis import Cause, DiagnosisLimits, Finding, diagnose
from pitchcheck.diagnosis.misfits import find_frets
from pitchcheck.doubts import (
    Doubt,
    Faint,
    Overdriven,
    OvertonesOff,
    SecondString,
    StatedDoubt,
    StoppedOffItsPlace,
)
from pitchcheck.findings import DoubtedTake, NotTheSlot, Question
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Fit, MeterResidual, Residual
from pitchcheck.instrument import MeterQuantity, MeterReading
from pitchcheck.judgement import slot_goal
from pitchcheck.survey import Survey, build_survey
from pitchcheck.takes import Position, Stop, Take
from pitchcheck.words.evidence import finding_lines, lines
from pitchcheck.words.questions import question_lines

JOB = make_job()
TARGETS = [slot_goal(JOB, n).target_mm for n in range(1, 7)]
LIMITS = DiagnosisLimits()


def sound_fit(**changes: object) -> Fit:
    return make_fit([Made(t, touch_mm=0.1) for t in TARGETS], targets_mm=TARGETS, **changes)


def causes(findings: tuple[Finding, ...]) -> list[Cause]:
    return [finding.cause for finding in findings]


def take(row: int, place: Position, hz: float, **more: object) -> Take:
    return Take(row, None, place, hz, 0.15, float(row), **more)


def fretted_survey(extra_cents: float, *, touch_mm: float = 0.1) -> Survey:
    """Frets 1 to 3 of every string as the light prediction says, plus something."""
    takes: list[Take] = []
    for i, aim in enumerate(TARGETS):
        hz = JOB.instrument.strings[i].nominal_hz
        errors = neck_cents(aim, touch_mm=touch_mm, stretch_factor=STRETCH[i])
        for n in (1, 2, 3):
            takes.append(take(len(takes) + 1, Position(i + 1, Stop.OPEN), hz))
            sharp = float(errors[n - 1]) + extra_cents
            takes.append(
                take(len(takes) + 1, Position(i + 1, Stop.FRET, n), hz * 2 ** (n / 12 + sharp / 1200))
            )
        takes.append(take(len(takes) + 1, Position(i + 1, Stop.OPEN), hz))
    return build_survey(takes)


def test_a_sound_instrument_has_no_findings() -> None:
    assert diagnose(JOB, fretted_survey(0.0), sound_fit()).findings == ()


def test_slots_high_and_low() -> None:
    made = [Made(t, touch_mm=0.1) for t in TARGETS]
    made[1], made[4] = Made(TARGETS[1] + 0.3, touch_mm=0.1), Made(-0.05, touch_mm=0.1)
    found = diagnose(JOB, EMPTY_SURVEY, make_fit(made, targets_mm=TARGETS)).findings
    assert [(f.cause, f.strings) for f in found] == [(Cause.SLOT_HIGH, (2,)), (Cause.SLOT_LOW, (5,))]
    assert found[0].size == pytest.approx(0.3, abs=1e-3)
    assert found[0].unit == "mm"
    assert found[0].evidence[0].target_mm == TARGETS[1]
    assert found[0].evidence[1].belief == pytest.approx(1.0, abs=1e-4)
    assert "target 0." in lines(found[0].evidence)[0]


@pytest.mark.parametrize(("offset", "told"), [(0.6, True), (-0.6, True), (0.25, False), (0.36, False)])
def test_nut_position_needs_its_whole_interval(offset: float, told: bool) -> None:
    found = diagnose(JOB, EMPTY_SURVEY, sound_fit(nut_offset_mm=(offset, 0.05))).findings
    assert (causes(found) == [Cause.NUT_POSITION]) is told
    if told:
        # 1731.23 x 0.6 / 648 = 1.603 cents on every fret.
        assert found[0].evidence[0].error_cents == pytest.approx(1.603 * np.sign(offset), abs=1e-3)
        assert "1.6 cents " + ("sharp" if offset > 0 else "flat") in finding_lines(found[0])[1]
        assert len(found[0].strings) == 6


def test_one_slot_that_bears_behind_its_edge_is_named() -> None:
    made = [Made(t, touch_mm=0.1) for t in TARGETS]
    made[2] = replace(made[2], nut_offset_mm=(0.8, 0.1))
    (found,) = diagnose(JOB, EMPTY_SURVEY, make_fit(made, targets_mm=TARGETS)).findings
    assert (found.cause, found.strings) == (Cause.NUT_POSITION, (3,))
    assert any("slope" in line for line in finding_lines(found))


@pytest.mark.parametrize(("cents", "told"), [(9.0, True), (-9.0, True), (4.0, False)])
def test_saddle_is_told_in_millimetres(cents: float, told: bool) -> None:
    made = [Made(t, touch_mm=0.1, fret_12_cents=cents if i == 5 else 0.0) for i, t in enumerate(TARGETS)]
    found = diagnose(JOB, EMPTY_SURVEY, make_fit(made, targets_mm=TARGETS)).findings
    assert bool(found) is told
    if told:
        assert (found[0].cause, found[0].strings, found[0].frets) == (Cause.SADDLE, (6,), (12,))
        # 650 mm: 1 mm of saddle is 2.66 cents at fret 12 (derived for the published model); scaled to 648.
        assert found[0].size == pytest.approx(cents / (2.66 * 650 / SCALE_MM), rel=2e-3)


@pytest.mark.parametrize(("offs", "told"), [((20.0,), False), ((20.0, 18.0), True), ((20.0, -5.0), False)])
def test_notes_that_the_fit_cannot_believe_tell_the_saddle_when_two_agree(
    offs: tuple[float, ...], told: bool
) -> None:
    fit = sound_fit()
    far = tuple(
        Residual(Position(3, Stop.FRET, 12), i, 5.0 + off, 5.0, 0.5, 0.1) for i, off in enumerate(offs, 90)
    )
    kept = tuple(r for r in fit.residuals if (r.position.string, r.position.fret) != (3, 12))
    said = diagnose(JOB, EMPTY_SURVEY, replace(fit, residuals=kept + far))
    assert causes(said.findings) == ([Cause.SADDLE] if told else [])
    if told:
        assert said.findings[0].size == pytest.approx(19.0 / (2.66 * 650 / SCALE_MM), rel=0.01)
    else:
        assert [q.cause for q in said.questions] == [Cause.SADDLE]


def test_a_firm_finger_at_fret_12_is_not_called_the_saddle() -> None:
    """The finger's part there is known to a factor of two: 9 cents over a part of 6 may be all finger."""
    made = [Made(t, touch_mm=0.1, fret_12_cents=9.0 if i == 5 else 0.0) for i, t in enumerate(TARGETS)]
    fit = make_fit(made, targets_mm=TARGETS)
    assert causes(diagnose(JOB, EMPTY_SURVEY, fit).findings) == [Cause.SADDLE]
    touch = fit.strings[5].neck_touch_cents.copy()
    more = 6.0 - touch[11]
    touch[11] += more
    target = fit.strings[5].neck_target_cents.copy()
    target[11] += more
    firm = replace(fit.strings[5], neck_touch_cents=touch, neck_target_cents=target)
    told = diagnose(JOB, EMPTY_SURVEY, replace(fit, strings=(*fit.strings[:5], firm)))
    assert told.findings == ()
    assert told.questions == (Question(Cause.SADDLE, (6,), Position(6, Stop.FRET, 12), heard=True),)
    assert "as lightly as it sounds clean" in question_lines(told.questions)[0]


@pytest.mark.parametrize("frets", [(1,), (1, 2, 3, 4)])
def test_no_saddle_and_no_nut_in_the_wrong_place_without_a_note_up_the_neck(frets: tuple[int, ...]) -> None:
    low = tuple(
        Residual(Position(n, Stop.FRET, f), f, 5.0, 5.0, 0.5, 1.0) for n in range(1, 7) for f in frets
    )
    made = [Made(t, touch_mm=0.1, fret_12_cents=30.0 if i == 5 else 0.0) for i, t in enumerate(TARGETS)]
    fit = make_fit(made, targets_mm=TARGETS, residuals=low, nut_offset_mm=(0.6, 0.05))
    told = diagnose(JOB, EMPTY_SURVEY, fit)
    assert told.findings == ()
    assert [(q.cause, q.strings, q.take) for q in told.questions] == [
        (Cause.NUT_POSITION, (1, 2, 3, 4, 5, 6), Position(1, Stop.FRET, 12)),
        (Cause.SADDLE, (6,), Position(6, Stop.FRET, 12)),
    ]
    assert len(question_lines(told.questions)) == 2
    set_aside = tuple(replace(r, position=Position(6, Stop.FRET, 12), weight=0.1) for r in low[:1])
    again = diagnose(JOB, EMPTY_SURVEY, replace(fit, residuals=low + set_aside))
    assert again.findings == ()  # a take the fit hardly used is no witness


def test_a_finger_is_blamed_only_where_a_press_tells_it_from_the_slot() -> None:
    made = [Made(t, touch_mm=1.3, pressed=False) for t in TARGETS]
    fit = make_fit(made, targets_mm=TARGETS, touch_mm=(1.3, 0.05))
    assert diagnose(JOB, fretted_survey(0.0, touch_mm=1.3), fit).findings == ()


def test_heavy_hand_on_fine_slots_is_touch_and_not_the_nut() -> None:
    made = [Made(t, touch_mm=1.3) for t in TARGETS]
    fit = make_fit(made, targets_mm=TARGETS, touch_mm=(1.3, 0.05))
    found = diagnose(JOB, fretted_survey(0.0, touch_mm=1.3), fit).findings
    assert causes(found) == [Cause.TOUCH]
    parts = [
        float(
            (neck_cents(t, touch_mm=1.3, stretch_factor=k) - neck_cents(t, touch_mm=0.0, stretch_factor=k))[
                :3
            ].mean()
        )
        for t, k in zip(TARGETS, STRETCH, strict=True)
    ]
    assert found[0].strings == tuple(i + 1 for i, part in enumerate(parts) if part >= LIMITS.touch_cents)
    assert any(isinstance(piece, NotTheSlot) for piece in found[0].evidence)
    assert any("does not cure" in line for line in finding_lines(found[0]))


def test_fretted_notes_above_the_light_prediction_are_touch() -> None:
    (found,) = diagnose(JOB, fretted_survey(15.0), sound_fit()).findings
    assert found.cause is Cause.TOUCH
    # What was added, and the made-up touch of 0.1 mm that the light prediction lacks.
    assert found.size == pytest.approx(15.0, abs=3.0)


def residuals(
    errors: dict[int, float], *, fret: int, rng: np.random.Generator | None = None
) -> list[Residual]:
    rows = []
    for number, error in errors.items():
        noise = 0.0 if rng is None else float(rng.normal(0, 0.5))
        rows.append(Residual(Position(number, Stop.FRET, fret), 1, 5.0 + error + noise, 5.0, 0.5, 1.0))
    return rows


def test_one_fret_wrong_on_all_strings() -> None:
    rng = np.random.default_rng(5)
    rows = residuals(dict.fromkeys(range(1, 7), 4.0), fret=3, rng=rng)
    for fret in (1, 2, 12):
        rows += residuals(dict.fromkeys(range(1, 7), 0.0), fret=fret, rng=rng)
    (found,) = diagnose(JOB, EMPTY_SURVEY, sound_fit(residuals=tuple(rows))).findings
    assert (found.cause, found.frets, len(found.strings)) == (Cause.FRET, (3,), 6)
    assert found.size == pytest.approx(4.0, abs=0.8)  # the mean of six errors of 0.5


def test_one_string_off_is_not_the_fret() -> None:
    rows = residuals({1: 20.0, **dict.fromkeys(range(2, 7), 0.0)}, fret=3)
    assert diagnose(JOB, EMPTY_SURVEY, sound_fit(residuals=tuple(rows))).findings == ()


def test_fret_findings_are_seldom_false() -> None:
    rng = np.random.default_rng(9)
    surveys, alarms, plain = 300, 0, sound_fit()
    for _ in range(surveys):
        rows: list[Residual] = []
        for fret in (1, 2, 3, 12):
            for number in range(1, 7):  # scatter of 3 cents: hand and model, far above the readings' own
                rows += residuals({number: float(rng.normal(0, 3.0))}, fret=fret)
        alarms += bool(find_frets(replace(plain, residuals=tuple(rows)), LIMITS))
    assert alarms <= surveys * 0.01 + 4 * (surveys * 0.01) ** 0.5  # promised share and four standard errors


def test_a_gauge_that_slipped_a_decimal_is_asked_about() -> None:
    settings = make_job(
        meter=(MeterReading(MeterQuantity.CLEARANCE_THIRD, 6, 1.524, 0.025),)
    )  # 0.06 in for 0.006 in
    held = (MeterResidual(0, 1.524, 0.17, 0.04, 0.1524),)
    (found,) = diagnose(settings, EMPTY_SURVEY, sound_fit(meter=held)).findings
    assert (found.cause, found.strings) == (Cause.EAR_METER_DISAGREE, (6,))
    assert found.evidence[0].likely_slip_mm == 0.1524
    said = finding_lines(found)[1]
    assert "decimal point" in said
    assert "0.15 mm (6.0 thou)" in said
    assert "not changed" in said
    near = (MeterResidual(0, 0.24, 0.17, 0.04, None),)  # 1.75 standard deviations
    assert diagnose(settings, EMPTY_SURVEY, sound_fit(meter=near)).findings == ()


def test_wrong_notes_are_listed_with_their_row() -> None:
    doubt = StoppedOffItsPlace(-100.0, 70.0, 70.0)
    bad = take(7, Position(2, Stop.FRET, 1), 262.0, doubts=(doubt,), used=False)
    (found,) = diagnose(JOB, EMPTY_SURVEY, sound_fit(), (bad,)).findings
    assert (found.cause, found.strings, found.frets) == (Cause.WRONG_NOTE, (2,), (1,))
    assert found.evidence == (DoubtedTake(7, bad.position, (doubt,)),)
    assert "row 7" in finding_lines(found)[0]


@pytest.mark.parametrize("doubt", [SecondString(147.0), Faint(), Overdriven(), StatedDoubt("another string")])
def test_a_neighbour_that_rings_along_is_no_wrong_note(doubt: Doubt) -> None:
    rung = take(7, Position(2, Stop.FRET, 1), 262.0, doubts=(doubt,))
    assert diagnose(JOB, EMPTY_SURVEY, sound_fit(), (rung,)).findings == ()


def test_a_false_string_shows_in_most_of_its_takes() -> None:
    doubt = (OvertonesOff(9.0),)
    takes = [take(i, Position(3, Stop.OPEN), 196.0, doubts=doubt if i < 4 else ()) for i in range(1, 6)]
    (found,) = diagnose(JOB, EMPTY_SURVEY, sound_fit(), takes).findings
    assert (found.cause, found.strings) == (Cause.WORN_STRING, (3,))
    assert (found.size, found.unit) == (60.0, "%")  # three of five takes
    assert diagnose(JOB, EMPTY_SURVEY, sound_fit(), [replace(t, doubts=()) for t in takes]).findings == ()
    assert diagnose(JOB, EMPTY_SURVEY, sound_fit(), takes[2:]).findings == ()  # one doubt in three takes


@pytest.mark.parametrize(("times", "told"), [(1.0, False), (1.3, False), (3.0, True), (0.3, True)])
def test_stiffness_must_fit_the_gauge(times: float, told: bool) -> None:
    # Plain .010 in E4 at 648 mm, kappa 144: B = 1.37e-5 (published for 647.7 mm and the same constants).
    opens = [
        take(i, Position(1, Stop.OPEN), 329.6, inharmonicity=1.37e-5 * times, inharmonicity_sd=3e-7)
        for i in (1, 2, 3)
    ]
    found = diagnose(JOB, build_survey(opens), sound_fit()).findings
    assert bool(found) is told
    if told:
        assert found[0].cause is Cause.WORN_STRING
        assert found[0].size == pytest.approx(times, rel=0.01)


@pytest.mark.parametrize(("bend", "told"), [(20.0, True), (2.0, False)])
def test_a_capo_that_bends(bend: float, told: bool) -> None:
    light = float(neck_cents(TARGETS[0], touch_mm=0.1)[0])
    opens = [
        take(1, Position(1, Stop.OPEN), 329.6),
        take(2, Position(1, Stop.OPEN, None, 1), 329.6 * 2 ** ((100 + light + bend) / 1200)),
    ]
    found = diagnose(JOB, build_survey(opens), sound_fit()).findings
    assert bool(found) is told
    if told:
        assert (found[0].cause, found[0].strings, found[0].frets) == (Cause.CAPO, (1,), (1,))
        assert found[0].size == pytest.approx(bend, abs=0.01)


def test_every_finding_carries_evidence_and_a_known_unit() -> None:
    made = [Made(t + 0.4, touch_mm=0.5) for t in TARGETS]
    fit = make_fit(made, targets_mm=TARGETS, touch_mm=(0.5, 0.05), nut_offset_mm=(0.7, 0.05))
    fit = replace(fit, fret_height_mm=Belief.normal(1.0, 0.02))
    found = diagnose(JOB, fretted_survey(10.0, touch_mm=0.5), fit).findings
    assert {Cause.SLOT_HIGH, Cause.NUT_POSITION} <= set(causes(found))
    for finding in found:
        assert finding.evidence
        assert all(line.strip() for line in finding_lines(finding))
        assert finding.unit in {"mm", "cent", "takes", "%", "times"}
