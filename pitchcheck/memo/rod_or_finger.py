"""Whether what a reading takes for presses was fretted by a finger: how sharp the notes are, all together.

A rod sharpens a note by how far it brings the string down, a finger by how hard it pushes; one hand plays all
strings, so all of them are one piece of evidence and not many. Conventions: sharpness per unit of stretch,
on a scale of 650 mm: cents over EA/T, times the square of scale over 650 mm.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from pitchcheck.memo.grammar import Grammar
from pitchcheck.memo.place_likelihood import Stretches
from pitchcheck.physics.materials import Make
from pitchcheck.takes import Position, Stop

# From five kinds of instrument with slots from on the fret to grossly high, by two simulators, careful hands
# and clumsy ones. Sharpness, the mean over frets 1 and 2 of medians over the strings: presses 0.065 to 0.24,
# fretted notes on steel 0.01 to 0.07, on nylon 0 to 0.13.
ROD, ROD_SPREAD = 0.125, 0.27  # median; spread of the natural logarithm
STEEL_FINGER, POLYMER_FINGER = (0.028, 0.016), (0.060, 0.024)  # mean, spread
ROD_NOTE, FINGER_NOTE = 0.3, 0.03  # what one note adds to the spreads
# How far notes lie from those medians, as a part of the sharpness: a finger pushes as it likes, a rod goes
# down to the board.
ROD_SCATTER, FINGER_SCATTER = 0.16, 0.42  # medians
SCATTER_SPREAD = 0.40  # of the natural logarithm; by one note more than there are frets, ``SCATTER_NOTE``
SCATTER_NOTE = 0.7
LEAST_SCATTER = 0.08
READING_CENTS = 1.0  # of one note and its open string, on a phone
WIDE_SHARE, WIDE = 0.02, 2.0  # of one memo in fifty a spread is so much wider
ASKED = 30.0  # times as often presses are played in such a course: they are what is asked for (ours)
SCALE_MM = 650.0
FRETS = (1, 2)
LEAST = 1e-2  # of a sharpness, where a part of it or its logarithm is asked for


def finger_belief(notes: Sequence[tuple[Position, float]], stretches: Stretches) -> float:
    """How likely presses of a memo were notes fretted by a finger, 0 to 1.

    Parameters
    ----------
    notes : sequence of (Position, float)
        Every note and how sharp it was heard; presses of frets 1 and 2 are looked at. [cent]
    stretches : Stretches
    """
    heard: dict[int, list[float]] = defaultdict(list)
    noise: list[float] = []
    polymer: list[bool] = []
    for place, cents in notes:
        if place.stop is not Stop.PRESS or place.fret not in FRETS:
            continue
        number = place.string
        unit = stretches.stretch_factor[number] * (SCALE_MM / stretches.scale_mm[number]) ** 2
        heard[place.fret].append(cents / unit)
        noise.append((READING_CENTS / unit) ** 2)
        polymer.append(stretches.make[number] in (Make.POLYMER, Make.WOUND_POLYMER))
    count = len(noise)
    if not count:
        return 1 / (1 + ASKED)
    sharp = float(np.mean([np.median(of) for of in heard.values()]))
    mean, spread = POLYMER_FINGER if np.mean(polymer) > 0.5 else STEEL_FINGER
    finger = _density(sharp - mean, math.hypot(spread, FINGER_NOTE / math.sqrt(count)))
    positive = max(sharp, LEAST)
    wide = math.hypot(ROD_SPREAD, ROD_NOTE / math.sqrt(count))
    rod = _density(math.log(positive / ROD), wide) / positive
    if count > len(heard):
        off = np.concatenate([np.array(of) - np.median(of) for of in heard.values()])
        usual = math.sqrt(math.pi / 2) * float(np.mean(np.abs(off))) * math.sqrt(count / (count - len(heard)))
        scatter = max(math.sqrt(max(usual**2 - float(np.mean(noise)), 0.0)) / positive, LEAST_SCATTER)
        spread = math.hypot(SCATTER_SPREAD, SCATTER_NOTE / math.sqrt(count - len(heard)))
        finger *= _density(math.log(scatter / FINGER_SCATTER), spread)
        rod *= _density(math.log(scatter / ROD_SCATTER), spread)
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
