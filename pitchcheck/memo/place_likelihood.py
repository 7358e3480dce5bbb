"""How likely a sound is a pluck of each place: its pitch against the string's, and its likeness to a string.

Conventions: cents, + = sharp; densities per cent; logarithms are natural.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.instrument import Instrument
from pitchcheck.memo.sounds import Note, Sound
from pitchcheck.physics.materials import Make, string_constants
from pitchcheck.takes import Position, Stop
from pitchcheck.tuning import CENTS_PER_SEMITONE
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_OCTAVE

# Sharpness of fretted notes and presses over the string's stretch EA/T, on 60 simulated instruments:
# fretted on steel 0.002 to 0.10, median 0.025; press on steel 0.027 to 0.23, median 0.10; on polymers 0.08
# and 0.05 to 0.9. Mean and spread here, and of one in ten a wider spread. [cent per unit of stretch]
STEEL = {Stop.FRET: (0.028, 0.018), Stop.PRESS: (0.105, 0.035)}
POLYMER = {Stop.FRET: (0.08, 0.05), Stop.PRESS: (0.20, 0.11)}
OWN_CENTS = 3.0  # hand and drift, of one note
WIDE_SHARE, WIDE = 0.1, 2.5  # of one note in ten the spread is so much wider
OPEN_CENTS = 2.5  # an open string comes back to this
OPEN_WIDE_SHARE, OPEN_WIDE_CENTS = 0.1, 15.0  # or slips
UNHEARD_CENTS = 25.0  # a string may be so far off the others' tuning, before it was heard
ANY_CENTS = 6000.0  # a noise may have any pitch of five octaves
SOMETHING = 0.7  # share of the sounds that are plucks
SECOND_NOTE = 0.05  # likelihood of a note that the reading did not think the best (ours)
FRACTION = 1e-3  # of a lower note whose odd partials are silent: all the power lies on the best note's (ours)
LOWER, PURE = 0.7, 0.9
EXPLAINS = 8.0  # power of the share of the peaks explained: an octave explains 0.5 to 0.7 of a note's (ours)
NOISE = -30.0  # log odds of a sound without any note


@dataclass(frozen=True)
class Strings:
    """What is known of the open strings.

    Attributes
    ----------
    hz : dict of int to float
        Open pitch of each. [Hz]
    sd_cents : dict of int to float
        How far it may be off. [cent]
    """

    hz: Mapping[int, float]
    sd_cents: Mapping[int, float]


@dataclass(frozen=True)
class Stretches:
    """Stretch and make of each string: how sharp it is to be expected."""

    stretch_factor: Mapping[int, float]
    make: Mapping[int, Make]


def stretches_of(instrument: Instrument, *, offset_cents: Mapping[int, float]) -> Stretches:
    """Stretches of the strings at the pitch they are tuned to: EA/T grows as the tension falls."""
    constants = {
        s.number: string_constants(s, scale_mm=instrument.string_scale_mm(s.number))
        for s in instrument.strings
    }
    slack = {n: 2 ** (-2 * cents / CENTS_PER_OCTAVE) for n, cents in offset_cents.items()}
    steel = (Make.PLAIN_STEEL, Make.WOUND_STEEL)
    return Stretches(
        {n: c.stretch_factor * (slack[n] if c.make in steel else 1.0) for n, c in constants.items()},
        {n: c.make for n, c in constants.items()},
    )


def log_string(sound: Sound) -> float:
    """Log odds of a plucked string against a voice or a knock, but for its pitch: of its likeliest note."""
    return max((_log_note(sound, note) for note in sound.notes), default=NOISE)


def _log_note(sound: Sound, note: Note) -> float:
    """Log odds of a plucked string that sounds this note (ours)."""
    odds = 1.5
    odds += _steps(note.moved_cents, (8.0, 20.0, 60.0), (1.5, -1.5, -5.0, -8.0))
    odds += _steps(-note.purity, (-0.8, -0.5, -0.3), (1.5, -1.5, -3.0, -6.0))
    odds += _steps(note.fall_db_s, (-6.0, 1.0, 35.0, 60.0), (-3.0, -1.5, 0.0, -2.5, -6.0))
    odds += _steps(-note.rise_db, (-6.0, -2.0), (0.5, -2.0, -6.0))
    odds += _steps(-note.score, (-0.5, -0.35), (0.0, -1.0, -3.0))
    return odds + _steps(-sound.length_s, (-0.4, -0.25), (0.0, -1.5, -4.0))


def place_likelihoods(
    sounds: Sequence[Sound], positions: Sequence[Position], *, strings: Strings, stretches: Stretches
) -> tuple[FloatArray, FloatArray]:
    """Likelihood of each sound as a pluck of each place, and as nothing.

    Parameters
    ----------
    sounds : sequence of Sound, length T
    positions : sequence of Position, length P
    strings : Strings
    stretches : Stretches

    Returns
    -------
    array, shape (T, P)
        The share of plucks included.
    array, shape (T,)
        As nothing.
    """
    place = np.array([_centre(p, stretches)[0] for p in positions])
    spread = np.array([_centre(p, stretches)[1] for p in positions])
    wide = np.array([_centre(p, stretches)[2] for p in positions])
    wide_share = np.array([OPEN_WIDE_SHARE if p.stop is Stop.OPEN else WIDE_SHARE for p in positions])
    unsure = np.array([strings.sd_cents[p.string] for p in positions])
    hz = np.array([strings.hz[p.string] for p in positions])
    spread, wide = np.hypot(spread, unsure), np.hypot(wide, unsure)
    likely = np.zeros((len(sounds), len(positions)))
    nothing = np.zeros(len(sounds))
    for t, sound in enumerate(sounds):
        best = max((note.score for note in sound.notes), default=1.0)
        for rank, note in enumerate(sound.notes):
            off = CENTS_PER_OCTAVE * np.log2(note.hz / hz) - place
            density = (1 - wide_share) * _normal(off, spread) + wide_share * _normal(off, wide)
            worth = SOMETHING * _share(_log_note(sound, note)) * (note.score / best) ** EXPLAINS
            if rank:
                fraction = note.hz < LOWER * sound.notes[0].hz and sound.notes[0].purity > PURE
                worth *= FRACTION if fraction else SECOND_NOTE
            likely[t] = np.maximum(likely[t], worth * density)
        nothing[t] = (1 - SOMETHING) * _share(-log_string(sound)) / ANY_CENTS
    return likely, nothing


def _centre(position: Position, stretches: Stretches) -> tuple[float, float, float]:
    """Where a place lies above the open string, the usual spread, and the wide one. [cent]"""
    if position.stop is Stop.OPEN:
        return 0.0, OPEN_CENTS, OPEN_WIDE_CENTS
    steel = stretches.make[position.string] in (Make.PLAIN_STEEL, Make.WOUND_STEEL)
    mean, spread = (STEEL if steel else POLYMER)[position.stop]
    stretch = stretches.stretch_factor[position.string]
    usual = math.hypot(spread * stretch, OWN_CENTS)
    return CENTS_PER_SEMITONE * position.semitones + mean * stretch, usual, WIDE * usual


def _share(log_odds: float) -> float:
    """Part of the likelihood that the sound itself leaves: 1 for what is likely."""
    return math.exp(min(log_odds, 0.0))


def _normal(off: FloatArray, sd: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * (off / sd) ** 2) / (sd * math.sqrt(2 * math.pi)))


def _steps(value: float, limits: Sequence[float], odds: Sequence[float]) -> float:
    """Odds of the step in which a value lies."""
    return odds[int(np.searchsorted(limits, value))]
