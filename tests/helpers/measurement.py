"""Made-up measurements for tests of everything that shows a result; nothing here was ever heard.

Conventions: ``measurement(...)`` builds a whole, consistent record from slot heights; verdicts and removals
follow docs/formats.md, neck curves a plain polyline. The instrument is imaginary.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from pitchcheck.diagnosis import Cause, Finding
from pitchcheck.doubts import NotRead, StatedDoubt
from pitchcheck.errors import Problem
from pitchcheck.findings import AboveLightTouch, FirstFretHeard, PressHeard, SlotAgainstTarget
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Confounder, Fit, MeterResidual, Residual, StringFit, Unseparated
from pitchcheck.instrument import (
    Instrument,
    MeterQuantity,
    MeterReading,
    Nut,
    SessionSettings,
    StringSpec,
    Target,
)
from pitchcheck.judgement import Bar, BarKind, SlotGoal, SlotJudgement, Verdict, Witness
from pitchcheck.measurement import Measurement
from pitchcheck.plan import NextTake, NutBottom, Plan, StringPlan
from pitchcheck.plan.records import (
    AfterRemoval,
    FloatingBridge,
    HardlyUsed,
    NotMeasured,
    NotPressed,
    SlotDoubt,
    TargetBelowFloor,
)
from pitchcheck.survey import Survey
from pitchcheck.takes import Narrowing, Position, Stop, Take
from pitchcheck.tuning import fret_place
from pitchcheck.units import CENTS_PER_LOG

SCALE_MM = 648.0
GAP_PER_HEIGHT = 0.4856  # gap over fret 1 per slot height, held behind fret 3
_NOTES = ("E4", "B3", "G3", "D3", "A2", "E2", "E3", "A3", "D4", "G4", "B3", "E4")
_GAUGES_MM = (0.254, 0.330, 0.432, 0.660, 0.914, 1.168, 0.762, 0.559, 0.356, 0.229, 0.330, 0.254)
_STRETCH = (144.0, 257.0, 408.0, 290.0, 300.0, 310.0) * 2
_TOUCH_MM = 0.25
_FRETS = np.arange(1, 13)


@dataclass(frozen=True)
class Slot:
    """What a test wants of one string; ``height_mm`` None is a string that was not measured."""

    height_mm: float | None
    sd_mm: float = 0.04
    explained: bool = False  # a finding explains the sharpness otherwise: nothing is filed
    pressed: bool = True


USUAL = (Slot(0.30), Slot(0.36), Slot(0.37), Slot(0.44, 0.11), Slot(0.72), Slot(0.86))  # two high, one unsure
TWO_HIGH_REST_FINE = (Slot(0.30), Slot(0.36), Slot(0.37), Slot(0.42), Slot(0.72), Slot(0.86))
ALL_FINE = (Slot(0.30), Slot(0.36), Slot(0.37), Slot(0.42), Slot(0.44), Slot(0.50))
TWELVE = (*USUAL, *USUAL[:4], Slot(None), Slot(-0.03))
ALL_HIGH = tuple(Slot(h) for h in (0.70, 0.75, 0.80, 0.86, 0.92, 0.98))


@dataclass(frozen=True)
class Extras:
    """What else a test wants on the sheet."""

    nut: Nut = Nut.SLOTTED
    findings: tuple[Finding, ...] = ()
    bottom: NutBottom | None = None
    next_take: NextTake | None = None
    bad_takes: bool = False
    meter: bool = False
    kind: str = "six-string electric"
    doubts: dict[int, tuple[SlotDoubt, ...]] = field(default_factory=dict)


def measurement(slots: tuple[Slot, ...] = USUAL, *, extras: Extras | None = None) -> Measurement:
    """Build a measurement of a six-string (or of as many strings as slots are given, at most twelve)."""
    extras = extras or Extras()
    specs = tuple(
        StringSpec(i + 1, _NOTES[i], _GAUGES_MM[i], "plain steel" if i < 3 else "nickel-plated steel", i >= 3)
        for i in range(len(slots))
    )
    meter = (MeterReading(MeterQuantity.CLEARANCE_THIRD, len(slots), 1.524, 0.02),) if extras.meter else ()
    instrument = Instrument(extras.kind, SCALE_MM, specs, nut=extras.nut)
    settings = SessionSettings(instrument, meter=meter)
    plans = tuple(_plan(i, slot, settings=settings, extras=extras) for i, slot in enumerate(slots))
    takes = _takes(slots) + (_BAD_TAKES if extras.bad_takes else ())
    problems = (_BAD_ROW,) if extras.bad_takes else ()
    measured = [i for i, slot in enumerate(slots) if slot.height_mm is not None]
    fit = _fit(slots, measured, takes=takes, meter=extras.meter, plans=plans) if measured else None
    return Measurement(
        settings=settings,
        takes=takes,
        survey=Survey((), np.zeros((0, 0)), (), ()) if measured else None,
        fit=fit,
        findings=extras.findings,
        plan=Plan(plans, extras.bottom, extras.next_take),
        problems=problems,
        notices=("The column 'mood' in takes.csv is not known and was ignored.",),
    )


def target_mm(number: int, count: int = 6) -> float:
    """Target height of a slot: the usual clearance, linear by number, turned into a height."""
    first, last = Target().third_fret_clearance_mm
    return (first + (last - first) * (number - 1) / max(count - 1, 1)) / GAP_PER_HEIGHT


def with_plan(whole: Measurement, number: int, **changes: object) -> Measurement:
    """Return the measurement with fields of one string's plan replaced."""
    strings = tuple(replace(p, **changes) if p.number == number else p for p in whole.plan.strings)
    return replace(whole, plan=replace(whole.plan, strings=strings))


def _plan(index: int, slot: Slot, *, settings: SessionSettings, extras: Extras) -> StringPlan:
    number, target = index + 1, target_mm(index + 1, len(settings.instrument.strings))
    doubts = extras.doubts.get(number, ())
    floors = settings.target.floor_mm
    goal = SlotGoal(target, settings.target.tolerance_mm, floors[0] + (floors[1] - floors[0]) * index / 5)
    if slot.height_mm is None:
        blank = SlotJudgement(number, _NOTES[index], goal, extras.nut, None, Verdict.UNSURE, Witness.NOTHING)
        return StringPlan(blank, doubts=(NotMeasured(), *doubts))
    height = Belief.normal(slot.height_mm, slot.sd_mm)
    witness = Witness.PRESS if slot.pressed else Witness.FRETTED
    bars = (Bar(BarKind.CATCHING),) if slot.explained else ()
    verdict = _verdict(height, goal, witness)
    judged = SlotJudgement(number, _NOTES[index], goal, extras.nut, height, verdict, witness, bars)
    excess = height.shifted(-target)
    safe = min(excess.quantile(0.025), 0.7 * excess.median)
    remove = float(np.floor(safe / 0.05) * 0.05) if judged.may_be_filed else 0.0
    left = slot.height_mm - remove
    return StringPlan(
        judged,
        remove_now_mm=remove,
        raise_mm=max(-excess.median, 0.0) if verdict is Verdict.LOW else None,
        after=AfterRemoval(remove, float(_curve(index, left)[0]), GAP_PER_HEIGHT * left) if remove else None,
        evidence=(PressHeard(1, 9.8, 2), SlotAgainstTarget(height, target)),
        doubts=(*bars, *doubts),
    )


def _verdict(height: Belief, goal: SlotGoal, witness: Witness) -> Verdict:
    top = goal.target_mm + 2 * goal.tolerance_mm
    if 1 - height.below(goal.target_mm + goal.tolerance_mm) >= 0.9:
        return Verdict.HIGH if witness is Witness.PRESS else Verdict.UNSURE
    if height.below(goal.floor_mm) >= 0.9:
        return Verdict.LOW
    return Verdict.FINE if height.below(top) - height.below(goal.floor_mm) >= 0.9 else Verdict.UNSURE


def _curve(index: int, height: float, touch: float = _TOUCH_MM) -> np.ndarray:
    places = np.array([fret_place(SCALE_MM, n) for n in _FRETS])
    before = np.maximum(np.array([fret_place(SCALE_MM, n - 1) for n in _FRETS]), places[0])
    path = (np.sign(height) * height**2 + 2 * height * touch) / (2 * before) + touch**2 / 30
    saddle = -0.6 * (2.0 ** (_FRETS / 12) - 1) * (1 + index / 3)
    return 0.5 * CENTS_PER_LOG * _STRETCH[index] * path / SCALE_MM + saddle


def _fit(
    slots: tuple[Slot, ...],
    measured: list[int],
    *,
    takes: tuple[Take, ...],
    meter: bool,
    plans: tuple[StringPlan, ...],
) -> Fit:
    strings = []
    for i in measured:
        height = slots[i].height_mm
        assert height is not None
        now = _curve(i, height)
        strings.append(
            StringFit(
                number=i + 1,
                height_mm=Belief.normal(height, slots[i].sd_mm),
                stretch_factor=Belief.normal(_STRETCH[i], 5.0),
                saddle_mm=Belief.normal(1.8, 0.3),
                nut_offset_mm=Belief.normal(0.0, 0.1),
                pressed=slots[i].pressed,
                first_fret_cents=(float(now[0]), 0.6),
                neck_now_cents=now,
                neck_target_cents=_curve(i, plans[i].target_mm),
                neck_touch_cents=now - _curve(i, height, 0.0),
            )
        )
    stopped = [t for t in takes if t.position.stop is not Stop.OPEN and t.hz is not None]
    residuals = tuple(
        Residual(t.position, t.row, 6.0 + 0.3 * k, 6.1 + 0.25 * k, 0.5, 0.12 if k == 3 else 1.0)
        for k, t in enumerate(stopped)
    )
    held = (MeterResidual(0, 1.524, 0.37, 0.03, 0.1524),) if meter else ()
    return Fit(
        strings=tuple(strings),
        fret_height_mm=Belief.normal(1.08, 0.03),
        nut_offset_mm=Belief.normal(0.05, 0.12),
        touch_mm=Belief.normal(_TOUCH_MM, 0.05),
        height_covariance_mm2=np.diag([slots[i].sd_mm ** 2 for i in measured]),
        residuals=residuals,
        meter=held,
        unseparated=(Unseparated(6, Confounder.STRETCH_FACTOR, 0.85),),
        remarks=(),
    )


def _takes(slots: tuple[Slot, ...]) -> tuple[Take, ...]:
    takes: list[Take] = []
    run = (
        (Stop.OPEN, None),
        (Stop.FRET, 1),
        (Stop.OPEN, None),
        (Stop.PRESS, 1),
        (Stop.PRESS, 2),
        (Stop.OPEN, None),
    )
    for i, slot in enumerate(slots):
        for stop, fret in run:
            row = len(takes) + 1
            heard = None if slot.height_mm is None else 100.0
            doubts = (
                (NotRead("too quiet: the loudest part is 52 dB below full scale"),) if heard is None else ()
            )
            position = Position(i + 1, stop, fret)
            takes.append(
                Take(row, f"take{row:03d}.flac", position, heard, 0.2 if heard else None, row, doubts=doubts)
            )
    return tuple(takes)


_BAD_TAKES = (
    Take(
        90,
        "take090.flac",
        Position(5, Stop.PRESS, 1),
        None,
        None,
        90.0,
        doubts=(NotRead("two strings ring at once"),),
    ),
    Take(
        91,
        "take091.flac",
        Position(6, Stop.FRET, 12),
        164.9,
        0.8,
        91.0,
        doubts=(StatedDoubt("the note stops after 0.4 s"),),
    ),
)
_BAD_ROW = Problem(
    "takes.csv", 92, "fret", "-3", "a fret is a whole number from 1 to 24", "Correct the number."
)

EVERY_FINDING = tuple(
    Finding(cause, (5, 6), (), 0.3 if cause in (Cause.SLOT_HIGH, Cause.SLOT_LOW, Cause.NUT_POSITION) else 4.2,
            "mm" if cause in (Cause.SLOT_HIGH, Cause.SLOT_LOW, Cause.NUT_POSITION) else "cent",
            (FirstFretHeard(7.7),))
    for cause in Cause
)  # fmt: skip

MANY_DOUBTS: tuple[SlotDoubt, ...] = (
    NotPressed(),
    FloatingBridge(),
    TargetBelowFloor(),
    *(HardlyUsed(row, Position(4, Stop.PRESS, 1), 12.1) for row in range(20, 26)),
)

BUSY = Extras(
    findings=(
        Finding(
            Cause.SLOT_HIGH, (5, 6), (), 0.36, "mm",
            (PressHeard(1, 9.8, 2),),
        ),
        Finding(
            Cause.TOUCH, (), (1,), 2.4, "cent",
            (AboveLightTouch(5, 2.4),),
        ),
    ),
    next_take=NextTake(Position(4, Stop.PRESS, 1), Narrowing(4, 0.14, 0.38, (5,))),
    bad_takes=True,
    meter=True,
    doubts={4: (HardlyUsed(23, Position(4, Stop.PRESS, 1), 2.1),)},
)  # fmt: skip
