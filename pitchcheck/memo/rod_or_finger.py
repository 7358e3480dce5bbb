"""Whether what a reading takes for presses was fretted by a finger: how sharp the notes are, all together.

A rod sharpens a note by how far it brings the string down, a finger by how hard it pushes; one hand plays all
strings, so all of them are one piece of evidence and not many. Conventions: sharpness per unit of stretch,
on a scale of 650 mm: cents over EA/T, times the square of scale over 650 mm.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping

import numpy as np

from pitchcheck.memo.grammar import Grammar
from pitchcheck.memo.place_likelihood import Stretches
from pitchcheck.physics.materials import Make
from pitchcheck.takes import Position, Stop

# Medians over the strings of one memo, mean of frets 1 and 2, on five kinds of instrument with slots from on
# the fret to grossly high, by two simulators and clumsy hands: presses 0.065 to 0.24, fretted notes on steel
# 0.01 to 0.07, on nylon 0 to 0.13.
ROD, ROD_SPREAD = 0.125, 0.27  # median; spread of the natural logarithm
STEEL_FINGER, POLYMER_FINGER = (0.028, 0.016), (0.060, 0.024)  # mean, spread
ROD_STRING, FINGER_STRING = 0.25, 0.025  # what one string adds to the spreads
WIDE_SHARE, WIDE = 0.02, 2.0  # of one memo in fifty the spread is so much wider
ASKED = 100.0  # times as often presses are played in such a course: they are what is asked for (ours)
SCALE_MM = 650.0
FRETS = (1, 2)
LEAST = 1e-3  # of a sharpness, for its logarithm


def finger_belief(sharp_cents: Mapping[Position, float], stretches: Stretches) -> float:
    """How likely presses of a memo were notes fretted by a finger, 0 to 1.

    Parameters
    ----------
    sharp_cents : dict of Position to float
        How sharp each place was heard; presses of frets 1 and 2 are looked at. [cent]
    stretches : Stretches
    """
    heard: dict[int, list[float]] = defaultdict(list)
    polymer: list[bool] = []
    for place, cents in sharp_cents.items():
        if place.stop is not Stop.PRESS or place.fret not in FRETS:
            continue
        number = place.string
        unit = stretches.stretch_factor[number] * (SCALE_MM / stretches.scale_mm[number]) ** 2
        heard[place.fret].append(cents / unit)
        polymer.append(stretches.make[number] in (Make.POLYMER, Make.WOUND_POLYMER))
    if not heard:
        return 1 / (1 + ASKED)
    sharp = float(np.mean([np.median(of) for of in heard.values()]))
    strings = max(len(of) for of in heard.values())
    mean, spread = POLYMER_FINGER if np.mean(polymer) > 0.5 else STEEL_FINGER
    finger = _density(sharp - mean, math.hypot(spread, FINGER_STRING / math.sqrt(strings)))
    positive = max(sharp, LEAST)
    wide = math.hypot(ROD_SPREAD, ROD_STRING / math.sqrt(strings))
    rod = _density(math.log(positive / ROD), wide) / positive
    return finger / (finger + ASKED * rod)


def may_be_fretted(grammar: Grammar) -> bool:
    """Whether notes fretted in the same order would be read as this course: one of presses only."""
    return {stop for stop, _ in grammar.course.steps} == {Stop.OPEN, Stop.PRESS}


def fretted(position: Position) -> Position:
    """The place as a finger would stop it."""
    return Position(position.string, Stop.FRET, position.fret) if position.stop is Stop.PRESS else position


def _density(off: float, spread: float) -> float:
    """Normal with wider tails."""
    return sum(
        share * math.exp(-0.5 * (off / (wide * spread)) ** 2) / (wide * spread)
        for share, wide in ((1 - WIDE_SHARE, 1.0), (WIDE_SHARE, WIDE))
    )
