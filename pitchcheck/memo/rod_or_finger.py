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
# How far notes lie from each other, as a part of the sharpness: a finger pushes as it likes, a rod goes down
# to the board. Medians, and spreads of the natural logarithm.
ROD_STRINGS, FINGER_STRINGS, STRINGS_SPREAD = 0.16, 0.38, 0.40  # the strings, each the middle of its notes
ROD_AGAIN, FINGER_AGAIN, AGAIN_SPREAD = 0.07, 0.38, 0.55  # notes of one place
NOTE_SPREAD = 0.7  # what it adds to the spreads that there are few notes: by one that could differ
LEAST_SCATTER = 0.04
READING_CENTS = 0.6  # of one note, on a phone, at least: the open strings tell how much it is
WIDE_SHARE, WIDE = 0.02, 2.0  # of one memo in fifty a spread is so much wider
ASKED = 30.0  # times as often what a course says is played, and not the other in the same order (ours)
HIGHEST = 4  # fret to which a rod is used
SCALE_MM = 650.0
FRETS = (1, 2)
LEAST = 1e-2  # of a sharpness, where a part of it or its logarithm is asked for


def finger_belief(
    notes: Sequence[tuple[Position, float]], stretches: Stretches, *, odds: float = 1 / ASKED
) -> float:
    """How likely the stopped notes of a memo were fretted by a finger, all of them, and not pressed: 0 to 1.

    Parameters
    ----------
    notes : sequence of (Position, float)
        Every note and how sharp it was heard; those of frets 1 and 2 are looked at, and open strings, which
        tell how far pitches scatter by themselves. [cent]
    stretches : Stretches
    odds : float > 0
        Of a finger against a rod, before anything is heard.
    """
    heard: dict[Position, list[float]] = defaultdict(list)
    opens: dict[Position, list[float]] = defaultdict(list)
    units: list[float] = []
    polymer: list[bool] = []
    for place, cents in notes:
        if place.stop is Stop.OPEN:
            opens[place].append(cents)
        if place.fret not in FRETS:
            continue
        number = place.string
        unit = stretches.stretch_factor[number] * (SCALE_MM / stretches.scale_mm[number]) ** 2
        heard[place].append(cents / unit)
        units.append(unit)
        polymer.append(stretches.make[number] in (Make.POLYMER, Make.WOUND_POLYMER))
    count = len(units)
    if not count:
        return odds / (1 + odds)
    middles = [[np.median(of) for place, of in heard.items() if place.fret == fret] for fret in FRETS]
    middles = [of for of in middles if of]
    sharp = float(np.mean([np.median(of) for of in middles]))
    mean, spread = POLYMER_FINGER if np.mean(polymer) > 0.5 else STEEL_FINGER
    finger = _density(sharp - mean, math.hypot(spread, FINGER_NOTE / math.sqrt(count)))
    positive = max(sharp, LEAST)
    wide = math.hypot(ROD_SPREAD, ROD_NOTE / math.sqrt(count))
    rod = _density(math.log(positive / ROD), wide) / positive
    noise = max(READING_CENTS, _scatter(list(opens.values()))[0]) / (np.median(units) * positive)
    for groups, rods, fingers, spread in (
        (middles, ROD_STRINGS, FINGER_STRINGS, STRINGS_SPREAD),
        (list(heard.values()), ROD_AGAIN, FINGER_AGAIN, AGAIN_SPREAD),
    ):
        scatter, free = _scatter(groups)
        if not free:
            continue
        wide = math.hypot(spread, NOTE_SPREAD / math.sqrt(free))
        found = max(scatter / positive, LEAST_SCATTER)
        finger *= _density(math.log(found / math.hypot(fingers, noise)), wide)
        rod *= _density(math.log(found / math.hypot(rods, noise)), wide)
    return odds * finger / (odds * finger + rod)


def all_stopped(grammar: Grammar) -> Stop | None:
    """How all notes of a course are stopped, where the other way could be played in its order; else None."""
    stops = {stop for stop, _ in grammar.course.steps} - {Stop.OPEN}
    frets = [fret for _, fret in grammar.course.steps if fret is not None]
    return stops.pop() if len(stops) == 1 and max(frets) <= HIGHEST else None


def other_way(position: Position) -> Position:
    """The place as a finger would stop it instead of the rod, or the rod instead of a finger."""
    other = {Stop.PRESS: Stop.FRET, Stop.FRET: Stop.PRESS}
    return Position(position.string, other.get(position.stop, position.stop), position.fret)


def _scatter(groups: Sequence[Sequence[float]]) -> tuple[float, int]:
    """Standard deviation within groups, from the mean size, which outliers hardly move; and its freedom."""
    several = [np.array(of) for of in groups if len(of) > 1]
    free = sum(of.size - 1 for of in several)
    if not free:
        return 0.0, 0
    off = np.concatenate([(of - of.mean()) * math.sqrt(of.size / (of.size - 1)) for of in several])
    return math.sqrt(math.pi / 2) * float(np.mean(np.abs(off))), free


def _density(off: float, spread: float) -> float:
    """Normal with wider tails."""
    return sum(
        share * math.exp(-0.5 * (off / (wide * spread)) ** 2) / (wide * spread)
        for share, wide in ((1 - WIDE_SHARE, 1.0), (WIDE_SHARE, WIDE))
    )
