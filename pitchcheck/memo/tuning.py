"""By how much all strings may be off their notes: what the sounds suggest, and how likely that is beforehand.

Conventions: cents, + = sharp of what the notes say.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np

from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_OCTAVE

LOWEST_CENTS, HIGHEST_CENTS = -750.0, 450.0  # tuned down a fifth, or up a third: beyond it the set is another
NEAR_CENTS = 25.0  # sounds so near a string's note speak for an offset
MOST = 9  # offsets looked at
APART_CENTS = 45.0  # two offsets closer than this are one
# Shares before anything is heard (ours): in tune within a clock of 20 cents; down a semitone or a tone; else.
IN_TUNE_SHARE, IN_TUNE_CENTS = 0.85, 15.0
WHOLE_SHARE, WHOLE_CENTS = 0.08, 12.0
# Strings are made for their pitch: tuned up they soon break, so beyond a semitone up an offset gets rarer, by
# a factor of e every ``RARER_CENTS`` (ours).
UP_CENTS, RARER_CENTS = 100.0, 60.0
# Slack strings buzz: below a fourth down, an offset gets rarer as fast.
DOWN_CENTS = -550.0
# Usual tunings of six strings, as semitones by which strings are apart from the usual one; common practice,
# no source: the last string down; it and the first; a suspended fourth (D A D G A D); chords on open strings.
USUAL_SHIFTS = (
    {6: -2},
    {6: -2, 1: -2},
    {6: -2, 2: -2, 1: -2},
    {6: -2, 3: -1, 2: -2, 1: -2},
    {6: -2, 5: -2, 1: -2},
    {5: 2, 4: 2, 3: 1},
    {4: 2, 3: 2, 2: 2},
    {6: -4, 5: -2, 4: -2, 2: 1},
)
USUAL_SHARE = 4e-3  # how likely each of them is, before anything is heard (ours)
WHOLE = {-100.0: 0.45, -200.0: 0.35, -300.0: 0.07, -400.0: 0.05, -500.0: 0.03, 100.0: 0.03, 200.0: 0.02}


def suggest_offsets(sounds_hz: Sequence[float], nominal_hz: Mapping[int, float]) -> tuple[float, ...]:
    """Offsets at which many sounds lie on many strings, most likely first; 0 is always among them. [cent]

    Parameters
    ----------
    sounds_hz : sequence of float
        Pitches of what may be plucks. [Hz]
    nominal_hz : dict of int to float
        Notes of the open strings. [Hz]
    """
    grid, log_prior = _offsets()
    sounds = np.asarray(sounds_hz, dtype=np.float64)
    hits = np.zeros((len(nominal_hz), grid.size))
    for row, hz in enumerate(nominal_hz.values()):
        if sounds.size:
            off = CENTS_PER_OCTAVE * np.log2(sounds / hz)
            hits[row] = np.sum(np.exp(-0.5 * ((off[:, None] - grid) / NEAR_CENTS) ** 2), axis=0)
    score = np.sum(np.minimum(hits, 2.0), axis=0) + log_prior * 0.3
    chosen: list[float] = [0.0]
    for index in np.argsort(-score, kind="stable"):
        if len(chosen) >= MOST:
            break
        if all(abs(grid[index] - other) >= APART_CENTS for other in chosen):
            chosen.append(float(grid[index]))
    return tuple(_settle(offset, sounds, nominal_hz) for offset in chosen)


@cache
def _offsets() -> tuple[FloatArray, FloatArray]:
    """Offsets that are looked at, and how likely each is before anything is heard. [cent, log 1/cent]"""
    grid = np.arange(LOWEST_CENTS, HIGHEST_CENTS + 1.0, 5.0)
    return grid, np.log([offset_density(o) for o in grid])


def offset_density(offset_cents: float) -> float:
    """How likely an offset is before anything is heard. [1/cent]"""
    density = IN_TUNE_SHARE * _normal(offset_cents, IN_TUNE_CENTS)
    for whole, share in WHOLE.items():
        density += WHOLE_SHARE * share * _normal(offset_cents - whole, WHOLE_CENTS)
    rest = 1 - IN_TUNE_SHARE - WHOLE_SHARE
    beyond = max(0.0, offset_cents - UP_CENTS, DOWN_CENTS - offset_cents)
    return density + rest * math.exp(-beyond / RARER_CENTS) / (UP_CENTS - DOWN_CENTS + 2 * RARER_CENTS)


def _settle(offset: float, sounds: FloatArray, nominal_hz: Mapping[int, float]) -> float:
    """Move an offset to the middle of the sounds that speak for it, each string's lowest."""
    near: list[float] = []
    for hz in nominal_hz.values():
        off = CENTS_PER_OCTAVE * np.log2(sounds / hz) - offset
        close = off[np.abs(off) < APART_CENTS]
        if close.size:
            near.append(float(np.median(close)))
    return offset + float(np.median(near)) if len(near) > 1 else offset


def _normal(off: float, sd: float) -> float:
    return math.exp(-0.5 * (off / sd) ** 2) / (sd * math.sqrt(2 * math.pi))
