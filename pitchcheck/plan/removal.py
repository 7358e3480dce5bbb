"""How much may come off a slot now: the risk of one cut, chosen for the whole job (docs/decisions/0011).

Conventions: mm. A slot is *under* when a cut leaves it more than ``UNDER_MM`` below its target. It is worth
filing when its excess is, with 90 % belief, above what the aim of the target says.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache

import numpy as np

from pitchcheck.fit.belief import Belief
from pitchcheck.instrument import Aim
from pitchcheck.types import FloatArray

UNDER_MM = 0.02  # [mm] so far below its target a slot is under: definition
UNDER_BELIEF = 0.01  # [-] belief of being under that one cut may leave: definition
BUZZ_BELIEF = 0.001  # [-] belief of being below its floor that one cut may leave: definition
WORTH_BELIEF = 0.90  # [-] belief that a slot is worth filing: definition
# A hand takes off this part of what it is told, anything between being as likely, and misses that by some:
# what we reckon of somebody who stops at the amount. Who files on has left the rule.
HAND_PART = (0.7, 1.0)
HAND_ERROR_MM = 0.01
LEAST_CUT_MM = 0.03  # [mm] less is a stroke or two, below what a hand can tell; our choice
# [mm] Nothing is filed at all when no slot may lose this much; who cuts a new nut has the file in hand. Our
# choice.
PASS_CUT_MM = {Aim.SET_UP: 0.05, Aim.NEW_NUT: LEAST_CUT_MM}
STEPS_PER_MM = 100  # [1/mm] removals are told in steps of 0.01 mm, rounded down: definition
_PARTS = np.linspace(*HAND_PART, 7)
_PART_WEIGHT = np.array([0.5, 1, 1, 1, 1, 1, 0.5]) / 6  # trapezoid rule
# Gauss-Hermite for the hand's error (Abramowitz and Stegun 25.4.46, n = 3).
_ERRORS_MM = HAND_ERROR_MM * np.sqrt(3.0) * np.array([-1.0, 0.0, 1.0])
_ERROR_WEIGHT = np.array([1.0, 4.0, 1.0]) / 6


def belief_under(excess_mm: Belief, removed_mm: float, *, below_mm: float = UNDER_MM) -> float:
    """Belief that a slot ends more than so far below its target when it is told to lose an amount.

    Parameters
    ----------
    excess_mm : Belief
        Slot height less its target. [mm]
    removed_mm : float > 0
        What is told; the hand takes off ``HAND_PART`` of it. [mm]
    below_mm : float, optional
        How far below the target counts. [mm]
    """
    lost: FloatArray = removed_mm * _PARTS[:, None] + _ERRORS_MM
    under = np.interp(lost - below_mm, excess_mm.values, excess_mm.probability, left=0.0, right=1.0)
    return float(_PART_WEIGHT @ under @ _ERROR_WEIGHT)


def spared_mm(
    excess_mm: Belief, *, above_floor_mm: float = math.inf, under_belief: float = UNDER_BELIEF
) -> float:
    """Largest amount that may be told without the slot ending under its target or below its floor.

    Parameters
    ----------
    excess_mm : Belief
        Slot height less its target. [mm]
    above_floor_mm : float, optional
        Target less floor. [mm]
    under_belief : float
        Belief of being under that is allowed; of being below the floor it is ``BUZZ_BELIEF``.

    Returns
    -------
    float >= 0
        Rounded down to 0.01 mm; 0 when nothing may come off. [mm]
    """

    def too_much(amount: float) -> bool:
        if belief_under(excess_mm, amount) > under_belief:
            return True
        return belief_under(excess_mm, amount, below_mm=above_floor_mm) > BUZZ_BELIEF

    low, high = 0, STEPS_PER_MM * max(0, math.ceil(2 * float(excess_mm.values[-1])))
    while high - low > 1:  # the risk grows with the amount
        middle = (low + high) // 2
        low, high = (low, middle) if too_much(middle / STEPS_PER_MM) else (middle, high)
    return low / STEPS_PER_MM


def is_worth_filing(excess_mm: Belief, *, worth_mm: float) -> bool:
    """Whether a slot is worth filing with 90 % belief; ``worth_mm`` is what the aim says. [mm]"""
    return 1.0 - excess_mm.below(worth_mm) >= WORTH_BELIEF


def removal_mm(excess_mm: Belief, *, above_floor_mm: float, worth_mm: float) -> float:
    """What may come off one slot now on its own account: 0, or ``LEAST_CUT_MM`` or more. [mm]

    Parameters
    ----------
    excess_mm : Belief
        Slot height less its target. [mm]
    above_floor_mm : float
        Target less floor. [mm]
    worth_mm : float
        Excess above which filing is worth while, by the aim of the target. [mm]
    """
    if not is_worth_filing(excess_mm, worth_mm=worth_mm):
        return 0.0
    amount = spared_mm(excess_mm, above_floor_mm=above_floor_mm)
    return amount if amount >= LEAST_CUT_MM else 0.0


def is_worth_a_pass(removals_mm: Mapping[int, float], aim: Aim) -> bool:
    """Whether what may come off the slots is worth slackening, filing and settling at all."""
    return max(removals_mm.values(), default=0.0) >= PASS_CUT_MM[aim]


def normal_spared_mm(mean_mm: FloatArray, sd_mm: FloatArray) -> FloatArray:
    """``spared_mm`` of normal beliefs, not rounded; for looking ahead. [mm]

    In standard deviations the amount hangs on the mean alone, so one table serves all.
    """
    sd = np.hypot(sd_mm, HAND_ERROR_MM)
    means, amounts = _normal_table()
    return np.asarray(sd * np.interp((mean_mm + UNDER_MM) / sd, means, amounts))


@lru_cache(maxsize=1)
def _normal_table() -> tuple[FloatArray, FloatArray]:
    """Mean above the line of being under, and the largest amount; both in standard deviations."""
    from scipy.special import ndtr

    means = np.linspace(0.0, 60.0, 601)
    low, high = np.zeros_like(means), 2 * means + 1
    for _ in range(40):
        middle = (low + high) / 2
        risk = ndtr(middle[:, None] * _PARTS - means[:, None]) @ _PART_WEIGHT
        low, high = np.where(risk > UNDER_BELIEF, low, middle), np.where(risk > UNDER_BELIEF, middle, high)
    return means, low
