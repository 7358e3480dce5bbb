"""The findings that follow from the judgement of the slots: high or low with belief."""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.findings import BelowFloor, Cause, Finding, SlotAgainstTarget, SurelyHigh
from pitchcheck.judgement import SlotJudgement, Verdict


def find_slots(slots: Sequence[SlotJudgement]) -> list[Finding]:
    """Return a finding for every slot that is high or low; its size is the median excess. [mm]"""
    found: list[Finding] = []
    for slot in slots:
        height, goal = slot.height_mm, slot.goal
        if height is None:
            continue
        size = height.median - goal.target_mm
        if slot.verdict is Verdict.LOW:
            shown = BelowFloor(height, goal.floor_mm)
            found.append(Finding(Cause.SLOT_LOW, (slot.number,), (), size, "mm", (shown,)))
        elif slot.verdict is Verdict.HIGH:
            high = (
                SlotAgainstTarget(height, goal.target_mm),
                SurelyHigh(goal.belief_high(height), goal.tolerance_mm),
            )
            found.append(Finding(Cause.SLOT_HIGH, (slot.number,), (), size, "mm", high))
    return found
