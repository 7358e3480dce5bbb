"""How a slot stands against its target and its floor, and the findings that follow.

Conventions: lengths in mm; every statement is made on the unrounded belief. The definitions of target, floor
and verdicts are those of docs/formats.md.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.diagnosis.finding import Cause, Finding
from pitchcheck.diagnosis.limits import DiagnosisLimits
from pitchcheck.diagnosis.words import belief_mm, mm, percent
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Fit
from pitchcheck.instrument import SessionSettings
from pitchcheck.physics.gauges import by_number, target_height_mm


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


def slot_goal(settings: SessionSettings, number: int) -> SlotGoal:
    """Return the goal of one string's slot.

    Parameters
    ----------
    job : Job
        Its target holds clearances and floors for the first and the last string; both run straight between
        them by string number. A string's own ``target_height_mm`` overrides its clearance.
    number : int
        The string.
    """
    numbers = [spec.number for spec in settings.instrument.strings]
    return SlotGoal(
        target_mm=target_height_mm(
            settings.target.third_fret_clearance_mm,
            number=number,
            numbers=numbers,
            override_mm=settings.instrument.string(number).target_height_mm,
        ),
        tolerance_mm=settings.target.tolerance_mm,
        floor_mm=by_number(settings.target.floor_mm, number=number, numbers=numbers),
    )


def find_slots(settings: SessionSettings, fit: Fit, limits: DiagnosisLimits) -> list[Finding]:
    """Slots that are high or low with belief. A slot said to be low is never also said to be high."""
    found: list[Finding] = []
    for string in fit.strings:
        goal = slot_goal(settings, string.number)
        height = string.height_mm
        size = height.median - goal.target_mm
        if goal.belief_low(height) >= limits.belief:
            low = (
                f"slot height {belief_mm(height)}",
                f"an open string is likely to buzz on fret 1 below {mm(goal.floor_mm)}",
            )
            found.append(Finding(Cause.SLOT_LOW, (string.number,), (), size, "mm", low))
        elif goal.belief_high(height) >= limits.belief:
            high = [
                f"slot height {belief_mm(height)}; wanted {mm(goal.target_mm)}",
                f"belief that it is more than {mm(goal.tolerance_mm)} too high: "
                f"{percent(goal.belief_high(height))}",
            ]
            if not string.pressed:
                high.append("no press takes: a heavy finger could sound the same")
            found.append(Finding(Cause.SLOT_HIGH, (string.number,), (), size, "mm", tuple(high)))
    return found
