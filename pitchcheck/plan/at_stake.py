"""The fitted slots as what is to be decided: what is believed of each, and what hangs on it.

Conventions: mm and seconds; beliefs are normal here: mean and standard deviation of the excess over target.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.fit.result import Fit
from pitchcheck.instrument import Nut, SessionSettings
from pitchcheck.judgement import BarKind, SlotJudgement
from pitchcheck.plan.decision import PASS_S, Stakes, gain_s, would_file
from pitchcheck.types import FloatArray

HALF_OF_90 = 1.645  # [sd] half of a 90 % interval of a normal belief
CLEARED_BY_TAKES = frozenset({BarKind.SYMPTOM_ONLY, BarKind.WRONG_NOTES})  # bars that further takes lift


@dataclass(frozen=True)
class SlotsAtStake:
    """Fitted slots, in the order of the posterior.

    Attributes
    ----------
    numbers : tuple of int, s of them
    mean_mm, sd_mm : array, shape (s,)
        Of the excess over the target. [mm]
    stakes : tuple of Stakes
    """

    numbers: tuple[int, ...]
    mean_mm: FloatArray
    sd_mm: FloatArray
    stakes: tuple[Stakes, ...]


def slots_at_stake(settings: SessionSettings, fit: Fit, slots: Sequence[SlotJudgement]) -> SlotsAtStake:
    """Fitted slots and their stakes; those that would be filed anyway share the pass.

    Parameters
    ----------
    settings : SessionSettings
    fit : Fit
        With its joint posterior.
    slots : sequence of SlotJudgement
        With what bars filing them.
    """
    judged = {slot.number: slot for slot in slots}
    worth = settings.target.worth_filing_mm
    numbers: list[int] = []
    mean, sd = [], []
    stakes: list[Stakes] = []
    assert fit.joint is not None
    for number in fit.joint.numbers:
        slot = judged[number]
        excess = slot.excess_mm
        assert excess is not None
        numbers.append(number)
        mean.append(excess.median)
        sd.append((excess.high - excess.low) / (2 * HALF_OF_90))
        stakes.append(
            Stakes(
                worth_mm=worth,
                may_file=slot.nut is Nut.SLOTTED,
                pass_s=PASS_S,
                floor_mm=slot.goal.floor_mm - slot.goal.target_mm,
                aim=settings.target.aim,
                barred=not {bar.kind for bar in slot.bars} <= CLEARED_BY_TAKES,
            )
        )
    means, sds = np.array(mean), np.array(sd)
    open_ones = np.array([s.may_file and not s.barred for s in stakes], dtype=np.bool_)
    files = would_file(means, sds, worth_mm=worth)[0] & open_ones
    share = PASS_S / max(1, int(files.sum()))
    return SlotsAtStake(tuple(numbers), means, sds, tuple(replace(s, pass_s=share) for s in stakes))


def saved_s(believed: SlotsAtStake, after_mm: FloatArray) -> FloatArray:
    """By how much what narrows the beliefs lowers the cost expected of all slots, shape (r,). [s]

    Parameters
    ----------
    believed : SlotsAtStake
    after_mm : array, shape (r, s)
        Standard deviation of every slot after each of r proposals. [mm]
    """
    gains = [
        gain_s(float(mean), float(sd), after, stakes)
        for mean, sd, after, stakes in zip(
            believed.mean_mm, believed.sd_mm, after_mm.T, believed.stakes, strict=True
        )
    ]
    return np.asarray(np.sum(gains, axis=0))
