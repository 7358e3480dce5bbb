"""One judgement a slot: its target, its floor, its excess, what can be said of it, and what bars filing.

Conventions: lengths in mm; every statement is made on the unrounded belief, once, here: whatever shows,
plans or compares reads these records. Target, floor and verdicts are defined in docs/formats.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from pitchcheck.findings import Cause, Finding
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Fit, StringFit
from pitchcheck.instrument import Aim, Nut, SessionSettings
from pitchcheck.physics.gauges import buzz_floor_mm, slot_target_mm
from pitchcheck.survey import Survey
from pitchcheck.takes import Stop

DECISION_BELIEF = 0.90  # [-] belief that a verdict needs: definition
FIRST_SUSPECTS = 2  # strings named; further ones are hardly better than chance (measured: words.questions)
FIRST_FRETS = 3  # frets at which a slot's excess is heard most: a fret error there may pass for it; chosen


class Verdict(StrEnum):
    """What can be said of a slot with 90 % belief."""

    HIGH = "high"
    LOW = "low"
    FINE = "fine"
    UNSURE = "unsure"


class Witness(StrEnum):
    """What a slot's height rests on. Only a press or a gauge of its own can tell a high slot from a hand."""

    PRESS = "press"
    GAUGE = "gauge"
    FRETTED = "fretted"
    NOTHING = "nothing"


class BarKind(StrEnum):
    """What bars filing a slot that looks high."""

    SYMPTOM_ONLY = "symptom_only"  # neither pressed nor gauged: a heavy finger sounds the same
    CATCHING = "catching"
    FALSE_STRING = "false_string"
    GAUGE_DISAGREES = "gauge_disagrees"
    WRONG_NOTES = "wrong_notes"  # and no press take is left
    FRET_EXPLAINS = "fret_explains"
    UNSETTLED = "unsettled"  # something stated, gauged or pressed contradicts the rest


@dataclass(frozen=True)
class Bar:
    """One reason not to file a slot now; ``fret`` only where a fret is the reason."""

    kind: BarKind
    fret: int | None = None


@dataclass(frozen=True)
class SlotGoal:
    """What is asked of one slot. [mm]

    ``target_mm`` is where it should be, up to ``tolerance_mm`` above it is not worth filing, below
    ``floor_mm`` the open string is likely to buzz on fret 1.
    """

    target_mm: float
    tolerance_mm: float
    floor_mm: float

    def belief_high(self, height_mm: Belief) -> float:
        """Belief that the slot is more than the tolerance above its target."""
        return 1.0 - height_mm.below(self.target_mm + self.tolerance_mm)

    def belief_low(self, height_mm: Belief) -> float:
        """Belief that the slot is below its floor."""
        return height_mm.below(self.floor_mm)

    def belief_fine(self, height_mm: Belief) -> float:
        """Belief that the slot lies between its floor and the target plus twice the tolerance."""
        top = self.target_mm + 2 * self.tolerance_mm
        return max(0.0, height_mm.below(top) - height_mm.below(self.floor_mm))


@dataclass(frozen=True)
class SlotJudgement:
    """One slot judged.

    Attributes
    ----------
    number, note
    goal : SlotGoal
    nut : Nut
        Only a slotted one is ever filed.
    height_mm : Belief or None
        None where the string was not measured. [mm]
    verdict : Verdict
    witness : Witness
    bars : tuple of Bar
        What speaks against filing it now; empty until the findings are known.
    """

    number: int
    note: str
    goal: SlotGoal
    nut: Nut
    height_mm: Belief | None
    verdict: Verdict
    witness: Witness
    bars: tuple[Bar, ...] = ()

    @property
    def excess_mm(self) -> Belief | None:
        """Slot height less its target. [mm]"""
        return None if self.height_mm is None else self.height_mm.shifted(-self.goal.target_mm)

    @property
    def may_be_filed(self) -> bool:
        """Whether something may come off it now, as far as the judgement goes."""
        return self.verdict is Verdict.HIGH and self.nut is Nut.SLOTTED and not self.bars

    def spares(self, aim: Aim) -> bool:
        """Whether something may come off it now by the aim: on a new nut also where it is not called high."""
        if aim is Aim.SET_UP:
            return self.may_be_filed
        return self.verdict is not Verdict.LOW and self.nut is Nut.SLOTTED and not self.bars

    @property
    def looks_high(self) -> bool:
        """Whether the belief alone would call it high, whatever it rests on."""
        return self.height_mm is not None and self.goal.belief_high(self.height_mm) >= DECISION_BELIEF

    @property
    def surely_not_high(self) -> bool:
        """Whether it is known not to be worth filing, whatever else is not known of it."""
        return self.height_mm is not None and self.goal.belief_high(self.height_mm) <= 1 - DECISION_BELIEF


def slot_goal(settings: SessionSettings, number: int) -> SlotGoal:
    """Return the goal of one string's slot.

    Parameters
    ----------
    settings : SessionSettings
        Its target holds clearances and floors for the first and the last string (``physics.gauges``).
    number : int
        The string.
    """
    return SlotGoal(
        target_mm=slot_target_mm(settings, number),
        tolerance_mm=settings.target.tolerance_mm,
        floor_mm=buzz_floor_mm(settings, number),
    )


def verdict(goal: SlotGoal, height_mm: Belief, *, witness: Witness = Witness.PRESS) -> Verdict:
    """Return what can be said of a slot with 90 % belief.

    Where a target below the floor would let a slot be high and low at once, it is low: nothing is filed that
    is likely to buzz. Without a press or a gauge of its own no slot is high: from fretted notes alone the
    first suspects are really high two times of three (docs/accuracy.md).
    """
    if goal.belief_low(height_mm) >= DECISION_BELIEF:
        return Verdict.LOW
    if goal.belief_high(height_mm) >= DECISION_BELIEF:
        return Verdict.HIGH if witness in (Witness.PRESS, Witness.GAUGE) else Verdict.UNSURE
    if goal.belief_fine(height_mm) >= DECISION_BELIEF:
        return Verdict.FINE
    return Verdict.UNSURE


def judge_slots(settings: SessionSettings, fit: Fit | None) -> tuple[SlotJudgement, ...]:
    """Judge every slot of an instrument, before anything is known of what may spoil the measurement.

    Parameters
    ----------
    settings : SessionSettings
    fit : Fit or None
        None when nothing could be measured: every slot is then unsure.

    Returns
    -------
    tuple of SlotJudgement
        One for each string of the settings, in their order.
    """
    fits = {} if fit is None else {string.number: string for string in fit.strings}
    return tuple(
        _judge(settings, spec.number, fits.get(spec.number), fit) for spec in settings.instrument.strings
    )


def _judge(
    settings: SessionSettings, number: int, string: StringFit | None, fit: Fit | None
) -> SlotJudgement:
    """Judge one slot."""
    goal, note, nut = (
        slot_goal(settings, number),
        settings.instrument.string(number).note,
        settings.instrument.nut,
    )
    if string is None or fit is None:
        return SlotJudgement(number, note, goal, nut, None, Verdict.UNSURE, Witness.NOTHING)
    witness = _witness(string)
    said = verdict(goal, string.height_mm, witness=witness)
    if any(number in what.strings for what in fit.unsettled):
        said = Verdict.UNSURE  # a contradiction: nothing is said until it is settled
    return SlotJudgement(number, note, goal, nut, string.height_mm, said, witness)


def _witness(string: StringFit) -> Witness:
    """Return what a slot's height rests on; a gauge reading that the fit left out is no witness."""
    if string.pressed:
        return Witness.PRESS
    return Witness.GAUGE if string.gauged else Witness.FRETTED


def bar_filing(
    slots: Sequence[SlotJudgement],
    *,
    fit: Fit | None,
    findings: Sequence[Finding],
    survey: Survey | None = None,
) -> tuple[SlotJudgement, ...]:
    """Return the judgements with what bars filing each slot.

    Parameters
    ----------
    slots : sequence of SlotJudgement
    fit : Fit or None
    findings : sequence of Finding
        What the diagnosis found.
    survey : Survey, optional
        Tells which press takes were used; unknown counts as pressed.

    Notes
    -----
    A slot is left alone when it was neither pressed nor gauged (the finger explains a sharp note as well);
    when the string catches, is false, or its gauge disagrees with the sound; when wrong notes leave it no
    press take; when a fret that is off on all strings adds as much at frets 1 to 3 as the slot does; and
    while the fit has something unsettled.
    """
    fits = {} if fit is None else {string.number: string for string in fit.strings}
    unsettled = set() if fit is None else {number for what in fit.unsettled for number in what.strings}
    return tuple(
        replace(slot, bars=_bars(slot, fits[slot.number], findings, survey, unsettled))
        if slot.number in fits
        else slot
        for slot in slots
    )


_SPOILERS = {
    Cause.CATCHING_SLOT: BarKind.CATCHING,
    Cause.WORN_STRING: BarKind.FALSE_STRING,
    Cause.EAR_METER_DISAGREE: BarKind.GAUGE_DISAGREES,
}


def _bars(
    slot: SlotJudgement,
    string: StringFit,
    findings: Sequence[Finding],
    survey: Survey | None,
    unsettled: set[int],
) -> tuple[Bar, ...]:
    """Return what bars filing one slot, each once."""
    bars = [] if slot.witness in (Witness.PRESS, Witness.GAUGE) else [Bar(BarKind.SYMPTOM_ONLY)]
    if slot.number in unsettled:
        bars.append(Bar(BarKind.UNSETTLED))
    for finding in findings:
        if slot.number not in finding.strings:
            continue
        if finding.cause in _SPOILERS:
            bars.append(Bar(_SPOILERS[finding.cause]))
        elif finding.cause is Cause.WRONG_NOTE:
            if slot.witness is not Witness.GAUGE and not _has_press(slot.number, survey):
                bars.append(Bar(BarKind.WRONG_NOTES))
        elif finding.cause is Cause.FRET and _fret_explains(string, finding):
            bars.append(Bar(BarKind.FRET_EXPLAINS, finding.frets[0]))
    return tuple(dict.fromkeys(bars))


def _has_press(number: int, survey: Survey | None) -> bool:
    """Whether a usable press take of the string is among the comparisons; unknown counts as yes."""
    if survey is None:
        return True
    places = (stopped.take.position for stopped in survey.stopped)
    return any(place.string == number and place.stop is Stop.PRESS for place in places)


def _fret_explains(string: StringFit, finding: Finding) -> bool:
    """Whether a fret's own sharpness is at least what the slot's excess makes at that fret."""
    fret = finding.frets[0]
    if fret > FIRST_FRETS:
        return False
    excess = float(string.neck_now_cents[fret - 1] - string.neck_target_cents[fret - 1])
    return finding.size >= excess
