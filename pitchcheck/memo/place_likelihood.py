"""How likely a sound is a pluck of each place: its pitch against the string's, and its likeness to a string.

Conventions: cents, + = sharp; densities per cent; logarithms are natural.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from pitchcheck.instrument import Instrument
from pitchcheck.memo.sounds import Note, Sound
from pitchcheck.physics.materials import Make, string_constants
from pitchcheck.physics.stops import rough_press_cents
from pitchcheck.takes import Position, Stop
from pitchcheck.tuning import CENTS_PER_SEMITONE, fret_place
from pitchcheck.types import FloatArray, IntArray
from pitchcheck.units import CENTS_PER_LOG, CENTS_PER_OCTAVE

# Sharpness. A press: by straight lines (physics.stops.rough_press_cents), of which two in three lie within
# 0.72 to 1.36 times, on all presets with slots from good to grossly high, a clumsy hand too. A fretted note:
# the finger's part per unit of stretch EA/T, on polymers growing with shortness, and what the slot adds. From
# simulation.
SLOTS_MM = (0.1, 0.3, 0.5, 0.8, 1.2, 1.8)  # [mm] heights that are met
SLOT_SHARES = (0.14, 0.3, 0.22, 0.17, 0.11, 0.06)  # and how often (ours)
FRET_MM = 1.05  # [mm]
PRESS_SPREAD = 0.28  # [-] relative
STEEL_FINGER, POLYMER_FINGER = (0.030, 0.018), (0.06, 0.035)  # [cent per unit of stretch] mean, spread
POLYMER_SCALE_MM = 650.0  # [mm] on which it is so much
OWN_CENTS = 3.0  # hand and drift, of one note
# [-] part of its sharpness by which one place scatters: a rod set 2.5 mm aside; a finger
PRESS_AGAIN, FRET_AGAIN = 0.15, 0.35
TINY = 1e-12
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
RINGS_ON_S = 8.0  # [s] how long a note may ring on
# of the sounds that are no plucks, in which what rings is heard again: under speech, or damped (ours)
RING_SHARE = 0.3
RING_CENTS = 6.0  # how far its pitch then lies from what it was (ours)


@dataclass(frozen=True)
class Strings:
    """What is known of the open strings.

    Attributes
    ----------
    hz : dict of int to float
        Open pitch of each. [Hz]
    sd_cents : dict of int to float
        How far it may be off. [cent]
    sharp_cents : dict of Position to float
        How sharp stopped notes of a place were heard; places not heard are missing. [cent]
    """

    hz: Mapping[int, float]
    sd_cents: Mapping[int, float]
    sharp_cents: Mapping[Position, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Stretches:
    """Stretch, make and scale length of each string: how sharp it is to be expected. [-, mm]"""

    stretch_factor: Mapping[int, float]
    make: Mapping[int, Make]
    scale_mm: Mapping[int, float]


@dataclass(frozen=True)
class NotesHeard:
    """Notes that the sounds may be, all in one row, and what the sounds say whatever the tuning.

    Attributes
    ----------
    sound : array, shape (N,)
        Place of each note's sound among the sounds, rising.
    hz : array, shape (N,)
        [Hz]
    worth : array, shape (N,)
        Probability that the sound is a pluck of this note, but for its pitch; the share of plucks included.
    nothing : array, shape (T,)
        Likelihood of each sound as nothing.
    """

    sound: IntArray
    hz: FloatArray
    worth: FloatArray
    nothing: FloatArray


def stretches_of(instrument: Instrument, *, offset_cents: Mapping[int, float]) -> Stretches:
    """Stretches of the strings at the pitch they are tuned to: EA/T grows as the tension falls."""
    scales = {s.number: instrument.string_scale_mm(s.number) for s in instrument.strings}
    constants = {s.number: string_constants(s, scale_mm=scales[s.number]) for s in instrument.strings}
    slack = {n: 2 ** (-2 * cents / CENTS_PER_OCTAVE) for n, cents in offset_cents.items()}
    steel = (Make.PLAIN_STEEL, Make.WOUND_STEEL)
    return Stretches(
        {n: c.stretch_factor * (slack[n] if c.make in steel else 1.0) for n, c in constants.items()},
        {n: c.make for n, c in constants.items()},
        scales,
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
    odds += _steps(-note.rise_db, (-10.0, -6.0, -2.0), (0.5, -0.5, -2.0, -6.0))
    odds += _steps(-note.score, (-0.5, -0.35), (0.0, -1.0, -3.0))
    return odds + _steps(-sound.length_s, (-0.4, -0.25), (0.0, -1.5, -4.0))


def notes_heard(sounds: Sequence[Sound]) -> NotesHeard:
    """Return what the sounds say whatever the tuning."""
    rows, hz, worths = [], [], []
    for t, sound in enumerate(sounds):
        best = max((note.score for note in sound.notes), default=1.0)
        for rank, note in enumerate(sound.notes):
            worth = SOMETHING * _share(_log_note(sound, note)) * (note.score / best) ** EXPLAINS
            if rank:
                fraction = note.hz < LOWER * sound.notes[0].hz and sound.notes[0].purity > PURE
                worth *= FRACTION if fraction else SECOND_NOTE
            rows.append(t)
            hz.append(note.hz)
            worths.append(worth)
    nothing = [
        (1 - SOMETHING)
        * _share(-log_string(sound))
        * ((1 - RING_SHARE) / ANY_CENTS + RING_SHARE * _ring_density(sounds, t))
        for t, sound in enumerate(sounds)
    ]
    return NotesHeard(np.array(rows, dtype=np.int_), np.array(hz), np.array(worths), np.array(nothing))


def place_likelihoods(
    heard: NotesHeard, positions: Sequence[Position], *, strings: Strings, stretches: Stretches
) -> FloatArray:
    """Likelihood of each sound as a pluck of each place, the share of plucks included.

    Parameters
    ----------
    heard : NotesHeard
        Of T sounds.
    positions : sequence of Position, length P
    strings : Strings
    stretches : Stretches

    Returns
    -------
    array, shape (T, P)
    """
    share, centre, spread = _expected(positions, strings, stretches)
    open_hz = np.array([strings.hz[p.string] for p in positions])
    interval = CENTS_PER_OCTAVE * np.log2(heard.hz[:, None] / open_hz)
    density = np.zeros_like(interval)
    for part in range(len(share)):
        density += share[part] * _normal(interval - centre[part], spread[part])
    likely = np.zeros((heard.nothing.size, len(positions)))
    np.maximum.at(likely, heard.sound, heard.worth[:, None] * density)
    return likely


def _ring_density(sounds: Sequence[Sound], index: int) -> float:
    """How likely the pitch of a sound is if it is no pluck, and one rang on when it began. [1/cent]"""
    sound = sounds[index]
    rings = [s for s in sounds[:index] if s.notes and sound.onset_s - s.onset_s < RINGS_ON_S]
    if not sound.notes or not rings:
        return 1 / ANY_CENTS
    off = CENTS_PER_OCTAVE * np.log2(sound.notes[0].hz / np.array([s.notes[0].hz for s in rings]))
    share = 0.5 ** np.arange(len(rings), 0, -1)  # each is often damped before the next is played
    return float(share @ _normal(off, np.full(off.shape, RING_CENTS))) + TINY


def _expected(
    positions: Sequence[Position], strings: Strings, stretches: Stretches
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mixture of normals at which each place is to be heard above its open string: shares, centres, spreads.

    Each of shape (twice the slots, P); the second half are the wider ones. [-, cent, cent]
    """
    ways = len(SLOTS_MM)
    slots = np.array(SLOT_SHARES)[:, None]
    share = np.concatenate([slots * (1 - WIDE_SHARE), slots * WIDE_SHARE])
    shares = np.tile(share, (1, len(positions)))
    centre = np.zeros((2 * ways, len(positions)))
    spread = np.zeros_like(centre)
    for column, position in enumerate(positions):
        unsure = strings.sd_cents[position.string]
        if position.stop is Stop.OPEN:
            shares[:, column] = [*slots[:, 0] * (1 - OPEN_WIDE_SHARE), *slots[:, 0] * OPEN_WIDE_SHARE]
            spread[:ways, column], spread[ways:, column] = OPEN_CENTS, OPEN_WIDE_CENTS
        else:
            sharp, own = _sharpness(position, stretches)
            if position in strings.sharp_cents:
                known = strings.sharp_cents[position]
                sharp, own = np.full(ways, known), np.full(ways, _again_cents(position, known))
            centre[:, column] = CENTS_PER_SEMITONE * position.semitones + np.tile(sharp, 2)
            spread[:, column] = np.concatenate([own, WIDE * own])
        spread[:, column] = np.hypot(spread[:, column], unsure)
    return shares, centre, spread


def log_surprise(position: Position, sharp_cents: float, stretches: Stretches) -> float:
    """Logarithm of how likely a place is so sharp, against what is taken for granted once it was heard."""
    sharp, own = _sharpness(position, stretches)
    wide = np.concatenate([own, WIDE * own])
    shares = np.concatenate([np.array(SLOT_SHARES) * (1 - WIDE_SHARE), np.array(SLOT_SHARES) * WIDE_SHARE])
    density = float(np.sum(shares * _normal(sharp_cents - np.tile(sharp, 2), wide)))
    again = (1 - WIDE_SHARE) / (_again_cents(position, sharp_cents) * math.sqrt(2 * math.pi))
    return math.log(max(density, TINY)) - math.log(again)


def _again_cents(position: Position, sharp_cents: float) -> float:
    """How far a note stopped again at a place lies from the one before. [cent]"""
    part = PRESS_AGAIN if position.stop is Stop.PRESS else FRET_AGAIN
    return math.hypot(part * sharp_cents, OWN_CENTS)


def _sharpness(position: Position, stretches: Stretches) -> tuple[FloatArray, FloatArray]:
    """How sharp a place is under each slot, and the usual spread. [cent]"""
    number = position.string
    return _sharpness_of(
        position.stop,
        position.fret or 1,
        stretches.stretch_factor[number],
        stretches.scale_mm[number],
        stretches.make[number],
    )


@lru_cache(maxsize=4096)  # strings are learned in rounds, and each round asks for the same again
def _sharpness_of(
    stop: Stop, fret: int, stretch: float, scale_mm: float, make: Make
) -> tuple[FloatArray, FloatArray]:
    """The same by what of the string it hangs on; nobody may write into the arrays."""
    if stop is Stop.PRESS:
        sharp = np.array(
            [
                rough_press_cents(stretch, scale_mm=scale_mm, slot_mm=mm, fret_mm=FRET_MM, fret=fret)
                for mm in SLOTS_MM
            ]
        )
        return sharp, np.hypot(PRESS_SPREAD * sharp, OWN_CENTS)
    steel = make in (Make.PLAIN_STEEL, Make.WOUND_STEEL)
    mean, sd = STEEL_FINGER if steel else POLYMER_FINGER
    short = 1.0 if steel else (POLYMER_SCALE_MM / scale_mm) ** 2
    strain = np.square(SLOTS_MM) / (2 * fret_place(scale_mm, 1) * scale_mm) / max(1.0, fret / 2)
    sharp = stretch * (mean * short + CENTS_PER_LOG / 2 * strain)
    return sharp, np.full(len(SLOTS_MM), math.hypot(stretch * sd * short, OWN_CENTS))


def _share(log_odds: float) -> float:
    """Part of the likelihood that the sound itself leaves: 1 for what is likely."""
    return math.exp(min(log_odds, 0.0))


def _normal(off: FloatArray, sd: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * (off / sd) ** 2) / (sd * math.sqrt(2 * math.pi)))


def _steps(value: float, limits: Sequence[float], odds: Sequence[float]) -> float:
    """Odds of the step in which a value lies."""
    return odds[bisect_left(limits, value)]
