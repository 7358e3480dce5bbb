"""What a sharp first fret is made of: slot, finger, nut place and the rest; and the findings that follow.

Conventions: cents, + = sharp; mm. Parts are of the ordinary first-fret note. A nut too far from fret 1 makes
every fretted note sharp alike, so its part is the same at all frets.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.diagnosis.limits import DiagnosisLimits, sd_of_interval, z_limit
from pitchcheck.diagnosis.witness import (
    FEWEST_STRINGS_FOR_NUT,
    fretted_at,
    heard_up_the_neck,
    is_witness,
    notes_up_the_neck,
)
from pitchcheck.findings import (
    AboveLightTouch,
    Cause,
    Evidence,
    Finding,
    FingerDepth,
    Fret12AtTarget,
    NotTheSlot,
    NutOffset,
    Question,
)
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Fit, StringFit
from pitchcheck.instrument import SessionSettings
from pitchcheck.judgement import FIRST_FRETS, SlotGoal, SlotJudgement, Verdict, Witness
from pitchcheck.survey import Survey
from pitchcheck.takes import Position, Stop
from pitchcheck.units import CENTS_PER_LOG

_SADDLE_MODEL_CENTS = 1.0  # the pluck at fret 12: docs/method.md, "What a fretted note can tell" (1 to 2)
# depth of a usual finger below the tops behind fret 1: chosen, 6 N on a middling string
_USUAL_TOUCH_MM = 0.6


@dataclass(frozen=True)
class Sharpness:
    """Parts of the first-fret note's error. [cent]"""

    heard_cents: float
    sd_cents: float
    slot_cents: float  # what setting the slot to its target would take away
    touch_cents: float
    nut_cents: float
    usual_cents: (
        float  # what a slot at its target, the saddle and the string's stiffness make of any such note
    )

    @property
    def left_cents(self) -> float:
        """What nothing explains: how this note was played, or its fret."""
        known = self.slot_cents + self.touch_cents + self.nut_cents + self.usual_cents
        return self.heard_cents - known


def sharpness(string: StringFit, *, scale_mm: float) -> Sharpness | None:
    """Split the first-fret error; None if no ordinary first-fret note was heard.

    The nut's part is 1200/ln 2 times its offset over the scale length: every speaking length but the open one
    stays as it is (docs/model.md, length ratio).
    """
    if string.first_fret_cents is None:
        return None
    heard, sd = string.first_fret_cents
    nut_cents = CENTS_PER_LOG * string.nut_offset_mm.median / scale_mm
    touch_cents = float(string.neck_touch_cents[0])
    return Sharpness(
        heard_cents=heard,
        sd_cents=sd,
        slot_cents=float(string.neck_now_cents[0] - string.neck_target_cents[0]),
        touch_cents=touch_cents,
        nut_cents=nut_cents,
        usual_cents=float(string.neck_target_cents[0]) - touch_cents - nut_cents,
    )


def not_the_slot(
    string: StringFit, slot: SlotJudgement, *, scale_mm: float, limits: DiagnosisLimits
) -> NotTheSlot | None:
    """Parts of a first fret that is sharp although its slot is fine; None otherwise."""
    parts = sharpness(string, scale_mm=scale_mm)
    if parts is None or parts.heard_cents - z_limit(1, alarm=1 - limits.belief) * parts.sd_cents <= 0:
        return None
    if parts.heard_cents <= limits.sharp_cents or slot.verdict is not Verdict.FINE:
        return None
    return NotTheSlot(
        string.number,
        heard_cents=parts.heard_cents,
        slot_cents=parts.slot_cents,
        touch_cents=parts.touch_cents,
        nut_cents=parts.nut_cents,
        usual_cents=parts.usual_cents,
        left_cents=parts.left_cents,
    )


def find_nut_position(
    settings: SessionSettings, fit: Fit, limits: DiagnosisLimits
) -> list[Finding | Question]:
    """Nut, or one slot's bearing edge, clearly out of its place along the neck.

    The shared offset counts when its whole 90 % interval is beyond ``limits.nut_offset_mm``; a single
    string's (looked for only then when the whole nut is not at fault) with the false-alarm rate shared over
    all strings. Where no note was heard up the neck it is a question.
    """
    heard = {string.number for string in fit.strings if heard_up_the_neck(fit, string.number)}
    whole = _beyond(fit.nut_offset_mm, limits.nut_offset_mm, tail=(1 - limits.belief) / 2)
    if whole:
        numbers = tuple(string.number for string in fit.strings)
        if len(heard) < min(FEWEST_STRINGS_FOR_NUT, len(numbers)):
            return [Question(Cause.NUT_POSITION, numbers, _up_the_neck(numbers[0]))]
        return [_nut_finding(numbers, fit.nut_offset_mm, scale_mm=settings.instrument.scale_mm)]
    tail = limits.alarm / (2 * max(len(fit.strings), 1))
    return [
        _nut_finding((string.number,), string.nut_offset_mm, scale_mm=settings.instrument.scale_mm)
        if string.number in heard
        else Question(Cause.NUT_POSITION, (string.number,), _up_the_neck(string.number))
        for string in fit.strings
        if _beyond(string.nut_offset_mm, limits.nut_offset_mm, tail=tail)
    ]


def _beyond(offset: Belief, limit_mm: float, *, tail: float) -> bool:
    """Whether the belief lies beyond plus or minus the limit but for one tail."""
    return offset.quantile(tail) > limit_mm or offset.quantile(1 - tail) < -limit_mm


def _nut_finding(numbers: tuple[int, ...], offset: Belief, *, scale_mm: float) -> Finding:
    """Return the finding of a nut out of place."""
    shown = NutOffset(numbers, offset, CENTS_PER_LOG * offset.median / scale_mm)
    return Finding(Cause.NUT_POSITION, numbers, (), offset.median, "mm", (shown,))


def _up_the_neck(number: int) -> Position:
    """Return the take that tells a saddle or a nut out of place."""
    return Position(number, Stop.FRET, 12)


def find_saddle(settings: SessionSettings, fit: Fit, limits: DiagnosisLimits) -> list[Finding | Question]:
    """Strings whose fret 12 stays out of tune when the slot is at its target.

    The error is that of the notes heard up the neck: what the fit believes of the saddle before it hears
    anything holds back a saddle far out of place. A finding needs 95 % belief on its side that the error is
    beyond ``limits.in_tune_cents``; the uncertainty is that of the saddle, turned into cents, and of the
    finger. Where no note was heard up the neck, or a firm finger would sound the same, it is a question.
    """
    per_mm = CENTS_PER_LOG / settings.instrument.scale_mm  # at fret 12, (g_12 - 1) = 1
    found: list[Finding | Question] = []
    for string in fit.strings:
        notes = notes_up_the_neck(fit, string.number)
        heard = float(np.mean([cents for cents, _ in notes])) if notes else 0.0
        error = float(string.neck_target_cents[11] - string.neck_touch_cents[11]) + heard
        saddle_sd = sd_of_interval(string.saddle_mm.low, string.saddle_mm.high)
        light_sd = float(np.hypot(per_mm * saddle_sd, _SADDLE_MODEL_CENTS))
        sd = float(np.hypot(light_sd, _finger_at_12_cents(string, touch_mm=fit.touch_mm.median)))
        z = z_limit(1, alarm=1 - limits.belief)
        if is_witness(notes) and abs(error) - z * sd > limits.in_tune_cents:
            shown = Fret12AtTarget(error, sd, error / per_mm)
            found.append(Finding(Cause.SADDLE, (string.number,), (12,), error / per_mm, "mm", (shown,)))
        elif abs(error) - z * light_sd > limits.in_tune_cents:
            take = _up_the_neck(string.number)
            found.append(Question(Cause.SADDLE, (string.number,), take, heard=bool(notes)))
    return found


def _finger_at_12_cents(string: StringFit, *, touch_mm: float) -> float:
    """How badly the finger's part of fret 12 is known: as much as a usual finger makes there, or this one.

    On 48 steel strings of ``tests/fe_bench`` what was said of fret 12 without a finger was up to 11 cents
    off, nearly always sharp, and the most where the fit had believed in a light hand; the part goes with the
    square of the depth.
    """
    part = float(string.neck_touch_cents[11])
    usual = (_USUAL_TOUCH_MM / touch_mm) ** 2 if touch_mm > 0 else 1.0
    return part * max(1.0, usual)


def find_touch(
    settings: SessionSettings,
    fit: Fit,
    survey: Survey,
    slots: Sequence[SlotJudgement],
    limits: DiagnosisLimits,
) -> list[Finding]:
    """A hand that presses the strings sharp: one finding for all strings where the finger is the main cause.

    A string counts when the finger makes at least ``limits.touch_cents`` and more than half of the error of
    its first frets, and besides either the depth is heavy with belief, or its slot is fine and the note
    sharp, or the notes heard are above the prediction without a finger by more than chance (false-alarm rate
    shared over all strings) on a slot that is not high.
    """
    heavy = fit.touch_mm.low > limits.heavy_touch_mm
    sizes: dict[int, float] = {}
    shown: list[Evidence] = []
    judged = {slot.number: slot for slot in slots}
    for string in fit.strings:
        part = float(np.mean(string.neck_touch_cents[:FIRST_FRETS]))
        whole = float(np.mean(string.neck_now_cents[:FIRST_FRETS]))
        slot = judged[string.number]
        if slot.witness is Witness.FRETTED or not fretted_at(fit, string.number, FIRST_FRETS):
            continue  # nothing heard tells a finger from a slot
        spared = not_the_slot(string, slot, scale_mm=settings.instrument.scale_mm, limits=limits)
        above = _above_light_prediction(string, slot.goal, survey, strings=len(fit.strings), limits=limits)
        high = slot.looks_high
        if part < limits.touch_cents or part <= whole / 2:
            counts = above is not None and not high
        else:
            counts = heavy or spared is not None or (above is not None and not high)
        if not counts:
            continue
        sizes[string.number] = part if above is None else max(part, above)
        if spared is not None:
            shown.append(spared)
        elif above is not None:
            shown.append(AboveLightTouch(string.number, above))
    if not sizes:
        return []
    numbers = tuple(sorted(sizes))
    size = float(np.mean(list(sizes.values())))
    frets = tuple(range(1, FIRST_FRETS + 1))
    return [
        Finding(Cause.TOUCH, numbers, frets, size, "cent", (FingerDepth(numbers, size, fit.touch_mm), *shown))
    ]


def _above_light_prediction(
    string: StringFit, goal: SlotGoal, survey: Survey, *, strings: int, limits: DiagnosisLimits
) -> float | None:
    """Return how far frets 1 to 3 sound above the prediction without a finger, beyond chance. [cent]"""
    light = string.neck_now_cents - string.neck_touch_cents
    beyond = [
        (stopped.error_cents - float(light[stopped.take.position.fret - 1]), stopped.sd_cents)
        for stopped in survey.stopped
        if stopped.take.position.string == string.number
        and stopped.take.position.stop is Stop.FRET
        and stopped.take.position.capo == 0
        and stopped.take.position.fret is not None
        and stopped.take.position.fret <= FIRST_FRETS
    ]
    if len(beyond) < 2:
        return None
    mean = float(np.mean([value for value, _ in beyond]))
    noise = np.mean([sd**2 for _, sd in beyond]) + limits.touch_scatter_cents**2
    height = string.height_mm
    way = height.median - goal.target_mm
    change = float(np.mean((string.neck_now_cents - string.neck_target_cents)[:FIRST_FRETS]))
    slope = change / way if abs(way) > goal.tolerance_mm else 0.0
    slot_sd = slope * sd_of_interval(height.low, height.high)
    sd = float(np.sqrt(noise / len(beyond) + slot_sd**2))
    limit = max(z_limit(strings, alarm=limits.alarm) * sd, limits.sharp_cents)
    return mean if mean > limit else None
