"""What is believed before anything is heard; every number with its origin.

Conventions: mean and standard deviation of a normal belief, of the logarithm where the name begins with
``log``. "Our choice" is a deliberate one, wide enough for instruments in use. What depends on whether the
fretwork was declared level stands in ``LEVEL`` and ``AS_IT_COMES`` (docs/decisions/0009).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pitchcheck.instrument import Fretwork, Instrument
from pitchcheck.physics.materials import Make
from pitchcheck.types import FloatArray

# Usual open gaps over fret 1 say 0 to 0.5 (common practice); new nuts come high. The slots of one nut were
# cut by one hand and come high or low together; each is off their mean by its own part. Our choice.
SLOT_HEIGHT_MM = (0.45, 0.40)
SLOT_OWN_MM = 0.25
LOG_FRET_HEIGHT = (math.log(1.02), 0.26)  # fret wire crowns 0.6 to 1.5 mm; from memory
NUT_OFFSET_MM = 0.33  # a saw kerf misplaced; our choice
NUT_OFFSET_STRING_MM = 0.085  # where in its slot each string bears; our choice
BREAK_RAD = (0.13, 0.05)  # angle behind the nut, 0.05 to 0.25: from memory
BREAK_TOLD_RAD = 0.02  # where it is told: fall to half a millimetre, posts at unlike distances; our choice
# How much of its elastic arch over the nut a string keeps: 0 none, 1 all (docs/decisions/0015). Steel by its
# yield strength: 0.9 and more where the arch is large; polymer creeps and keeps the root of what its modulus
# keeps, 0.7 to 1. Our choice, towards the elastic end, where a cut by leaf comes out shallower.
ARCH_PART = {"polymer": (0.92, 0.13), "steel": (0.93, 0.12)}
ACTION_MM = {"polymer": (3.0, 0.6), "steel": (2.0, 0.5)}  # at fret 12, common practice
ACTION_STRING_MM = 0.20  # string to string
SADDLE_MM = {  # extra speaking length: usual compensation by kind of string, common practice
    Make.PLAIN_STEEL: (1.1, 0.6),
    Make.WOUND_STEEL: (2.2, 0.6),
    Make.POLYMER: (1.3, 0.5),
    Make.WOUND_POLYMER: (1.3, 0.5),
}
FLOATING_STRETCH_ERROR = 0.10  # springs give way: 4 to 12 % less stretch, more if soft; from simulation
FLOATING_STRETCH_SHIFT = -0.08
ROD_HALF_MM = (0.6, 0.3)  # half the width on which a rounded rod of 5 to 6 mm holds the string flat
ROD_PLACE_MM = 0.7  # how far from the middle of the space a hand sets the rod; our choice
PRESS_SCATTER = 0.0135  # friction from press to press, relative; from simulation
GIVE_MM = (0.0010, 0.0005)  # [mm/N] how far the board gives under the rod; from simulation
ROD_FORCE_N = 16.0  # [N] a usual push on the rod; what differs from it looks like another fret height
SIDE_MM2 = (0.012, 0.008)  # mean square of a push sideways at the rod, 0.1 mm or so; our choice
SIDE_SCATTER_MM2 = 0.014  # its scatter from press to press; our choice
# Fretting force: a usual hand presses with 6 N (from memory), harder on strings above 75 N (simulation).
LOG_FORCE_N = (math.log(5.8), 0.3)
FORCE_RISES_FROM_N = 75.0
FORCE_POWER = 0.7
# From note to note, more on strings that take more force; from simulation.
LOG_FORCE_SCATTER = 0.30  # at 80 N
SCATTER_AT_N = 80.0
SCATTER_POWER = 0.45
SCATTER_RANGE = (0.15, 0.60)
FORCE_AT_12 = 1.10  # where spaces are narrow the fingertip pushes a little harder; from simulation
FINGER_BEHIND_MM = 9.0  # middle of the fingertip behind the fret; our choice
FINGER_BEHIND_PART = 0.40  # [-] of the space at most; our choice
FINGER_PAD_MM = 8.0  # its width; our choice
MODEL_CENTS = 0.06  # what the model leaves out; our choice
LEAF_SD_MM = 0.012  # how sharply a leaf tells touching from not touching; our choice


@dataclass(frozen=True)
class FretworkPriors:
    """Spreads that depend on what is declared of frets and board.

    Attributes
    ----------
    fret_error_mm : float
        Height of a single fret, all strings alike.
    fret_string_mm : float
        The same under one string: dents, wear.
    fret_place_mm, fret_edge_mm : float
        A single fret away from its place, and all frets' bearing edges alike (flat tops).
    board_space_mm, board_string_mm : float
        Board off its nominal depth under the frets, in one space, and there under one string.
    relief_mm : (float, float)
    tail_mm : (float, float)
        String beyond nut and saddle that shares the stretch, as far as it slides.
    tail_string : float
        Stretch factor of one string off the others by friction and tuner distance, relative.
    slide_space, slide_string : float
        Stretch in one space off the other spaces by friction at the frets, relative: all strings, one string.
    pull_cents : float
        A note pulled by a resonance of the body: every note of every string on its own.
    polymer_stretch, polymer_shared : float
        Relative error of a polymer's stretch factor, and the part of it that a set shares.
    rod_mm : float
        Rod set off the middle of the space by every press alike.
    neck_bends : float
        A neck that gives way under the rod: curvature over the moment. [1/(N m^2)]
    """

    fret_error_mm: float
    fret_string_mm: float
    fret_place_mm: float
    fret_edge_mm: float
    board_space_mm: float
    board_string_mm: float
    relief_mm: tuple[float, float]
    tail_mm: tuple[float, float]
    tail_string: float
    slide_space: float
    slide_string: float
    pull_cents: float
    polymer_stretch: float
    polymer_shared: float
    rod_mm: float
    neck_bends: float


SET_SHARE = 0.4  # [-] part of a stretch error that steel strings of one make share; our choice
# Levelled with a straightedge: the maker's figures; the rest as chosen for instruments of our simulation.
LEVEL = FretworkPriors(
    fret_error_mm=0.020,
    fret_string_mm=0.0,
    fret_place_mm=0.05,
    fret_edge_mm=0.0,
    board_space_mm=0.0,
    board_string_mm=0.0,
    relief_mm=(0.15, 0.10),
    tail_mm=(55.0, 28.0),
    tail_string=0.03,
    slide_space=0.0,
    slide_string=0.0,
    pull_cents=0.0,
    polymer_stretch=0.20,
    polymer_shared=SET_SHARE,
    rod_mm=0.0,
    neck_bends=0.0,
)
# No survey of real boards was found: sizes that repairers speak of (common practice, no source), our choice.
AS_IT_COMES = FretworkPriors(
    fret_error_mm=0.027,
    fret_string_mm=0.015,
    fret_place_mm=0.08,
    fret_edge_mm=0.20,
    board_space_mm=0.032,
    board_string_mm=0.018,
    relief_mm=(0.20, 0.30),
    tail_mm=(65.0, 55.0),
    tail_string=0.09,
    slide_space=0.020,
    slide_string=0.015,
    pull_cents=0.5,
    polymer_stretch=0.45,
    polymer_shared=0.8,
    rod_mm=1.5,
    neck_bends=0.0003,
)


def fretwork_priors(instrument: Instrument) -> FretworkPriors:
    """Spreads that fit what is declared of an instrument's frets."""
    return LEVEL if instrument.fretwork is Fretwork.LEVEL else AS_IT_COMES


def log_force(tension_n: float) -> float:
    """Logarithm of the usual fretting force on a string of some tension, in newtons."""
    return LOG_FORCE_N[0] + FORCE_POWER * max(0.0, math.log(tension_n / FORCE_RISES_FROM_N))


def log_force_scatter(tension_n: FloatArray) -> FloatArray:
    """Scatter of the logarithm of the fretting force from note to note, over the string's tension."""
    return np.clip(LOG_FORCE_SCATTER * (tension_n / SCATTER_AT_N) ** SCATTER_POWER, *SCATTER_RANGE)
