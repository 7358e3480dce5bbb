"""What a belief in one slot will still cost: the minutes of filing it, and the height that is left on it.

Conventions: mm and seconds; beliefs are normal here, mean and standard deviation of the excess over the
target. The costs serve one purpose: to tell whether another take pays (docs/decisions/0011). They decide
nothing that is filed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pitchcheck.instrument import Aim
from pitchcheck.plan.removal import (
    HAND_ERROR_MM,
    HAND_PART,
    LEAST_CUT_MM,
    WORTH_BELIEF,
    normal_spared_mm,
)
from pitchcheck.types import BoolArray, FloatArray

PLUCK_S = 12.0  # [s] one take, open or stopped: reckoned
LEAF_PLUCK_S = 20.0  # [s] the same with a leaf to be laid on the fret: reckoned
PASS_S = 360.0  # [s] tools out, strings slack and up again, settling: reckoned
PASS_STRING_S = 60.0  # [s] filing one slot: reckoned
AGAIN_S = 4 * PLUCK_S  # [s] a filed string is played again
# What it is worth to a player or a customer to have a slot lower by a tenth of a millimetre, as far as it is
# worth filing: a quarter of an hour; a third more to whoever cuts a new nut, who is asked for all of it. Our
# choice; a pass for one string pays from 0.05 mm on.
LEFT_S_PER_MM = {Aim.SET_UP: 9000.0, Aim.NEW_NUT: 12000.0}
NARROWED_BY_PASS = 0.9  # [-] a belief after a filed string was heard again, over before; from simulation
ANSWER_S = 300.0  # [s] what it is worth to know how a slot stands where nothing will be filed: our choice
LOOK_AHEAD = 2  # passes
_PART_MEAN = (HAND_PART[0] + HAND_PART[1]) / 2
_PART_SD = (HAND_PART[1] - HAND_PART[0]) / np.sqrt(12.0)
# Gauss-Hermite, n = 3 (Abramowitz and Stegun 25.4.46).
_NODES = np.sqrt(3.0) * np.array([-1.0, 0.0, 1.0])
_WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6
RUN_NODES = 9  # of the rule over what a run of takes may tell


@dataclass(frozen=True)
class Stakes:
    """What hangs on one slot.

    Attributes
    ----------
    worth_mm : float
        Excess above which filing is worth while. [mm]
    may_file : bool
        False for a nut that is never filed: then takes decide no more than the verdict.
    pass_s : float
        This slot's share of what a pass costs beyond its own filing. [s]
    floor_mm : float
        Floor less target. [mm]
    barred : bool
        Something that no take of this kind can clear up bars filing: then takes decide nothing.
    aim : Aim
        Tells what a height that is left costs.
    """

    worth_mm: float
    may_file: bool
    pass_s: float
    floor_mm: float = -math.inf
    barred: bool = False
    aim: Aim = Aim.SET_UP


def would_file(mean_mm: FloatArray, sd_mm: FloatArray, *, worth_mm: float) -> tuple[BoolArray, FloatArray]:
    """Whether a slot would be filed by the rule of removal, and how much. [mm]"""
    from scipy.special import ndtr

    amount = normal_spared_mm(mean_mm, sd_mm)
    worth = ndtr((mean_mm - worth_mm) / sd_mm) >= WORTH_BELIEF
    return np.asarray(worth & (amount >= LEAST_CUT_MM)), amount


def left_s(mean_mm: FloatArray, sd_mm: FloatArray, stakes: Stakes) -> FloatArray:
    """Expected cost of leaving a slot as it is. [s]"""
    from scipy.special import ndtr

    z = (mean_mm - stakes.worth_mm) / sd_mm
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    return np.asarray(LEFT_S_PER_MM[stakes.aim] * sd_mm * (z * ndtr(z) + density))


def _is_open(mean_mm: FloatArray, sd_mm: FloatArray, stakes: Stakes) -> BoolArray:
    """Whether nothing can be said of a slot with 90 % belief: neither high nor low nor fine."""
    from scipy.special import ndtr

    high = 1 - ndtr((stakes.worth_mm - mean_mm) / sd_mm)
    low = ndtr((stakes.floor_mm - mean_mm) / sd_mm)
    fine = ndtr((2 * stakes.worth_mm - mean_mm) / sd_mm) - low
    return np.asarray(np.maximum(np.maximum(high, low), fine) < WORTH_BELIEF)


def cost_s(mean_mm: FloatArray, sd_mm: FloatArray, stakes: Stakes, *, passes: int = LOOK_AHEAD) -> FloatArray:
    """Expected cost of all that is still to come for one slot, when the rule of removal is followed. [s]

    Parameters
    ----------
    mean_mm, sd_mm : array
        Of the belief in the excess, one shape. [mm]
    stakes : Stakes
    passes : int >= 0
        How many passes it looks ahead.
    """
    if stakes.barred:
        return np.zeros_like(mean_mm)
    if not stakes.may_file:
        return np.where(_is_open(mean_mm, sd_mm, stakes), ANSWER_S, 0.0)
    leave = left_s(mean_mm, sd_mm, stakes)
    if passes == 0:
        return leave
    files, amount = would_file(mean_mm, sd_mm, worth_mm=stakes.worth_mm)
    if not files.any():
        return leave
    mean = mean_mm - _PART_MEAN * amount
    spread = np.sqrt(sd_mm**2 + (_PART_SD * amount) ** 2 + HAND_ERROR_MM**2)
    sd = NARROWED_BY_PASS * sd_mm
    told = np.sqrt(np.maximum(spread**2 - sd**2, 0.0))
    later = cost_s(
        mean[..., None] + told[..., None] * _NODES,
        np.broadcast_to(sd[..., None], (*sd.shape, _NODES.size)),
        stakes,
        passes=passes - 1,
    )
    file = stakes.pass_s + PASS_STRING_S + AGAIN_S + later @ _WEIGHTS
    return np.where(files, file, leave)


def gain_s(mean_mm: float, sd_mm: float, after_mm: FloatArray, stakes: Stakes) -> FloatArray:
    """By how much runs of takes that narrow a belief lower the cost that is expected. [s]

    Parameters
    ----------
    mean_mm, sd_mm : float
        Belief in the excess now. [mm]
    after_mm : array, shape (r,)
        Standard deviation after each run. [mm]
    stakes : Stakes
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(RUN_NODES)
    after = np.minimum(after_mm, sd_mm)
    told = np.sqrt(np.maximum(sd_mm**2 - after**2, 0.0))
    means = mean_mm + told[:, None] * nodes
    then = cost_s(means, np.broadcast_to(after[:, None], means.shape), stakes)
    now = cost_s(np.array([mean_mm]), np.array([sd_mm]), stakes)
    return np.asarray(now[0] - then @ (weights / weights.sum()))
