"""What a comparison says of two passes over planted instruments, where nothing is left to chance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from helpers.pairs import lowered, measured
from helpers.planted import SIX, heard, job_of, shifted, truth_of
from pitchcheck.compare import Change, Comparison, Match, compare_measurements
from pitchcheck.compare.comparison import change_of, match_of
from pitchcheck.compare.records import AssumptionKind, WeaknessKind
from pitchcheck.errors import BadValue
from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import MeterQuantity, MeterReading, Removal
from pitchcheck.plan import Verdict
from pitchcheck.simulate.instrument import InstrumentTruth
from pitchcheck.takes import Position, Stop, Take

JOB = job_of()
TRUTH = truth_of(JOB, SIX)
BEFORE = heard(TRUTH)
FILED_MM = 0.20
FILED = lowered(TRUTH, FILED_MM)
AFTER = heard(FILED)
# No noise is in these takes, so what a comparison misses is only the pull of its priors: a third of what one
# string's change is known to.
PULL_MM = 0.012
KNOWN_MM = 0.05  # [mm] sd of one change with the full protocol, at most; 0.03 is usual


def compared(before: Sequence[Take], after: Sequence[Take], *, told: Sequence[Removal] = ()) -> Comparison:
    return compare_measurements(measured(JOB, before), measured(JOB, after), told=told)


@pytest.fixture(scope="module")
def filed() -> Comparison:
    return compared(BEFORE, AFTER, told=[Removal(n, FILED_MM) for n in range(1, 7)])


@pytest.fixture(scope="module")
def untouched() -> Comparison:
    return compared(BEFORE, BEFORE)


def changes(comparison: Comparison) -> np.ndarray:
    return np.array([s.change_mm.median for s in comparison.strings if s.change_mm is not None])


def sds(comparison: Comparison) -> np.ndarray:
    beliefs = [s.change_mm for s in comparison.strings if s.change_mm is not None]
    return np.array([(b.quantile(0.8413) - b.quantile(0.1587)) / 2 for b in beliefs])


def test_what_was_filed_is_found_on_every_string(filed: Comparison) -> None:
    assert changes(filed) == pytest.approx(-FILED_MM, abs=PULL_MM)
    assert [s.change for s in filed.strings] == [Change.LOWER] * 6
    assert [s.match for s in filed.strings] == [Match.AGREES] * 6


def test_a_change_is_known_better_than_either_height(filed: Comparison) -> None:
    for slot, sd in zip(filed.strings, sds(filed), strict=True):
        assert slot.before_mm is not None
        assert slot.after_mm is not None
        apart = np.hypot(*((b.high - b.low) / 3.29 for b in (slot.before_mm, slot.after_mm)))
        assert sd < KNOWN_MM
        assert sd < 0.6 * apart  # what is unknown of the instrument drops out


def test_heights_and_change_agree(filed: Comparison) -> None:
    for slot in filed.strings:
        assert slot.before_mm is not None
        assert slot.after_mm is not None
        assert slot.change_mm is not None
        apart = slot.after_mm.median - slot.before_mm.median
        if slot.after_mm.low > 0.05:  # away from where a string would lie on fret 1
            assert apart == pytest.approx(slot.change_mm.median, abs=1e-3)


def test_nothing_is_found_where_nothing_was_done(untouched: Comparison) -> None:
    assert changes(untouched) == pytest.approx(
        0.0, abs=PULL_MM / 4
    )  # half of what pulls a slot pulls its change
    assert {s.change for s in untouched.strings} == {Change.SAME}
    assert {s.match for s in untouched.strings} == {Match.NOT_TOLD}


def test_the_takes_are_told_place_by_place(filed: Comparison) -> None:
    slot = filed.strings[2]
    assert [(p.position.stop, p.position.fret) for p in slot.positions] == [
        *((Stop.FRET, n) for n in (1, 2, 3, 12)),
        *((Stop.PRESS, n) for n in (1, 2)),
    ]
    press = slot.positions[4]
    assert (press.before_takes, press.after_takes) == (2, 2)
    assert press.change_cents == pytest.approx(press.after_cents - press.before_cents)
    assert press.change_cents == pytest.approx(press.expected_cents, abs=0.5)
    assert press.change_cents < -3 * press.sd_cents


def test_a_slot_filed_too_far_is_told(filed: Comparison) -> None:
    low = filed.strings[0]  # from 0.10 to -0.10: the open string all but lies on fret 1
    assert low.verdict is Verdict.LOW
    assert low.low_belief is not None
    assert low.low_belief > 0.9
    assert all(s.low_belief is not None and s.low_belief < 0.5 for s in filed.strings[1:])


def test_one_bad_press_makes_no_change() -> None:
    row = next(t.row for t in BEFORE if t.position == Position(4, Stop.PRESS, 1))
    comparison = compared(BEFORE, shifted(BEFORE, row, 12.0))
    assert comparison.strings[3].change in (Change.SAME, Change.UNSURE)
    assert {s.change for s in comparison.strings if s.number != 4} == {Change.SAME}


def test_a_string_tuned_otherwise_has_not_changed() -> None:
    """A semitone down: a ninth less tension, so all notes answer more strongly, and no slot moved."""
    down = 2 ** (-1 / 12)
    slack = replace(
        TRUTH,
        strings=tuple(
            replace(
                s,
                tension_n=s.tension_n * down**2,
                stretch_factor=s.stretch_factor / down**2,
                bend_mm=s.bend_mm / down,
            )
            for s in TRUTH.strings
        ),
    )
    takes = tuple(replace(t, hz=t.hz * down) for t in heard(slack) if t.hz is not None)
    comparison = compared(BEFORE, takes)
    assert changes(comparison) == pytest.approx(0.0, abs=2 * PULL_MM)
    assert AssumptionKind.RETUNED in {a.kind for a in comparison.assumptions}


def test_a_heavier_touch_has_not_changed_a_slot() -> None:
    harder = [
        shift_of(t, 2.0 if t.position.fret == 1 else 1.0) if t.position.stop is Stop.FRET else t
        for t in BEFORE
    ]
    comparison = compared(BEFORE, harder)
    assert {s.change for s in comparison.strings} == {Change.SAME}


def shift_of(take: Take, cents: float) -> Take:
    assert take.hz is not None
    return replace(take, hz=take.hz * 2 ** (cents / 1200))


def test_a_hand_that_scatters_widens_everything(untouched: Comparison) -> None:
    """Presses 3 cents apart, where a careful hand's lie half a cent apart."""
    rng = np.random.default_rng(3)
    rough = [
        [shift_of(t, 2.0 * rng.standard_normal()) if t.position.stop is Stop.PRESS else t for t in takes]
        for takes in (BEFORE, BEFORE)
    ]
    comparison = compared(*rough)
    press = next(r for r in comparison.repeats if (r.stop, r.fret) == (Stop.PRESS, 1))
    assert comparison.scatter > 1.5
    assert press.sd_cents > 1.5 * press.expected_cents
    assert press.pairs == 12
    assert np.median(sds(comparison)) > 1.5 * np.median(sds(untouched))
    assert Change.LOWER not in {s.change for s in comparison.strings}
    assert Change.HIGHER not in {s.change for s in comparison.strings}


def test_without_presses_nothing_is_sure() -> None:
    first, second = ([t for t in takes if t.position.stop is not Stop.PRESS] for takes in (BEFORE, AFTER))
    comparison = compared(first, second)
    assert np.all(sds(comparison) > 2 * KNOWN_MM)
    assert {w.kind for w in comparison.weaknesses} == {WeaknessKind.NO_PRESSES}


def test_gauges_before_and_after_are_believed() -> None:
    readings = (0.20, 0.05)  # [mm] over fret 1, held behind fret 3: 0.31 mm of height
    passes = [
        measured(
            replace(JOB, meter=(MeterReading(MeterQuantity.CLEARANCE_THIRD, 4, value, 0.005),)),
            [t for t in BEFORE if t.position.string != 4],
        )
        for value in readings
    ]
    comparison = compare_measurements(*passes)
    slot = comparison.strings[3]
    assert slot.change is Change.LOWER
    assert slot.change_mm is not None
    assert slot.change_mm.median == pytest.approx(-0.31, abs=0.03)


def test_a_string_heard_in_one_pass_only_is_not_compared() -> None:
    comparison = compared(BEFORE, [t for t in AFTER if t.position.string != 2], told=[Removal(2, 0.2)])
    slot = comparison.strings[1]
    assert (slot.change_mm, slot.match, slot.positions) == (None, Match.UNHEARD, ())
    assert changes(comparison) == pytest.approx(-FILED_MM, abs=PULL_MM)


def test_nothing_heard_at_all() -> None:
    comparison = compared(BEFORE, ())
    assert [s.change_mm for s in comparison.strings] == [None] * 6
    assert comparison.repeats == ()
    assert comparison.scatter == 1.0


@pytest.mark.parametrize(
    ("mean", "sd", "kind"),
    [
        (-0.15, 0.03, Change.LOWER),
        (0.15, 0.03, Change.HIGHER),
        (-0.07, 0.03, Change.UNSURE),  # 99.0 %: one in a hundred is too often
        (-0.08, 0.03, Change.LOWER),  # 99.6 %
        (0.0, 0.03, Change.SAME),
        (0.0, 0.07, Change.UNSURE),  # may be 0.1 mm either way
        (-0.02, 0.005, Change.LOWER),  # small but sure
    ],
)
def test_what_is_said_of_a_change(mean: float, sd: float, kind: Change) -> None:
    assert change_of(Belief.normal(mean, sd), tolerance_mm=0.10) is kind


@pytest.mark.parametrize(
    ("mean", "told_mm", "match"),
    [
        (-0.20, 0.20, Match.AGREES),
        (-0.13, 0.20, Match.AGREES),  # 1.7 standard deviations
        (-0.05, 0.20, Match.LESS),
        (-0.40, 0.20, Match.MORE),
        (0.00, None, Match.NOT_TOLD),
        (0.00, 0.0, Match.NOT_TOLD),
        (-0.20, None, Match.UNTOLD),
        (0.20, None, Match.UNTOLD),
    ],
)
def test_told_against_heard(mean: float, told_mm: float | None, match: Match) -> None:
    belief = Belief.normal(mean, 0.03)
    assert match_of(belief, change_of(belief, tolerance_mm=0.1), told_mm) is match


def test_told_amounts_of_several_passes_add_up(filed: Comparison) -> None:
    twice = compared(BEFORE, AFTER, told=[Removal(3, 0.15), Removal(3, 0.05)])
    assert twice.strings[2].told_mm == pytest.approx(filed.strings[2].told_mm)
    assert twice.strings[0].match is Match.UNTOLD


@pytest.mark.parametrize("what", ["scale", "strings"])
def test_two_instruments_are_not_compared(what: str) -> None:
    other = job_of("acoustic" if what == "scale" else "bass").instrument
    if what == "strings":
        other = replace(other, scale_mm=JOB.instrument.scale_mm)
    with pytest.raises(BadValue, match="only on one instrument"):
        compare_measurements(measured(JOB, BEFORE), measured(replace(JOB, instrument=other), AFTER))


def test_the_truth_was_lowered_and_nothing_else() -> None:
    """Of the test's own tools: string, frets and saddle stay."""
    assert isinstance(FILED, InstrumentTruth)
    for was, now in zip(TRUTH.strings, FILED.strings, strict=True):
        assert now.slot_height_mm == pytest.approx(was.slot_height_mm - FILED_MM)
        saddle = [2 * s.action_12_mm - s.slot_height_mm for s in (was, now)]
        assert saddle[0] == pytest.approx(saddle[1])


def test_the_other_way_round_is_the_other_sign(filed: Comparison) -> None:
    back = compared(AFTER, BEFORE)
    assert changes(back) == pytest.approx(-changes(filed), abs=PULL_MM)
    assert {s.change for s in back.strings} == {Change.HIGHER}
    assert {s.match for s in back.strings} == {Match.UNTOLD}
