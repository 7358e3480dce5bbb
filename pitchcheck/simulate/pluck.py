"""The sound of one plucked string, from its pitch and inharmonicity.

Conventions: time runs from the first sample of the clip; full scale is 1; levels are decibels re full scale.
Pure: chance comes from the generator that is passed in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.errors import BadValue, check_positive
from pitchcheck.simulate.body import Body
from pitchcheck.simulate.room import SILENT_ROOM, Room, amplitude, room_noise
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_OCTAVE

HIGHEST_PARTIAL_HZ = 8000.0  # above it little is left of a plucked string, and interpolation stays exact
PHASE_SPREAD_RAD = 0.4  # of the partials around those of an ideal pluck, chosen here
BLOCK = 512  # samples per block of the synthesis; speed only
WARP_SPARE = 32  # samples the spline wants beyond the last one read
WARP_ORDER = 5  # spline order of the glide's time warp: error below -80 dB of a partial at 8 kHz, 48 kHz rate


@dataclass(frozen=True)
class Tone:
    """A string's settled pitch and inharmonicity B: f_k = k hz sqrt(1 + B k^2). [Hz, -]"""

    hz: float
    inharmonicity: float


@dataclass(frozen=True)
class PluckSound:
    """How one stroke sounds. The defaults are a plain string on a guitar, chosen here."""

    start_s: float = 0.15  # quiet before the pluck
    place: float = 0.2  # pluck point, as a fraction of the speaking length from the saddle
    tilt: float = 1.1  # partial k weighs k^-tilt
    level_db: float = -12.0  # peak of the note
    decay_s: float = 1.4  # amplitude to 1/e, of a partial of low frequency
    decay_corner_hz: float = 1500.0  # a partial here dies twice as fast
    glide_cents: float = 1.0  # how far above the settled pitch the note starts
    second_level: float = 0.35  # other polarisation, amplitude re the first
    second_cents: float = 0.15  # its pitch re the first
    second_decay: float = 1.5  # its decay time re the first
    attack_s: float = 0.0015
    thump_db: float = -24.0  # peak of the finger's knock re the note's
    thump_s: float = 0.012  # its decay


def pluck(
    rng: np.random.Generator,
    *,
    tone: Tone,
    sound: PluckSound,
    rate_hz: float,
    duration_s: float,
    body: Body | None = None,
    room: Room = SILENT_ROOM,
) -> Clip:
    """Sound of one pluck in a room.

    Parameters
    ----------
    rng : numpy Generator
        Phases, knock and noise; nothing else is random.
    tone : Tone
        Settled pitch and inharmonicity. [Hz, -]
    sound : PluckSound
    rate_hz : float > 0
        Samples per second. [Hz]
    duration_s : float > ``sound.start_s``
        Length of the clip. [s]
    body : Body, optional
        Pulls partials off the law.
    room : Room
        Noise and hum; by default none.

    Returns
    -------
    Clip

    Raises
    ------
    BadValue
        If the pitch or the rate is not positive, the pitch lies above half the rate, or the clip ends before
        the pluck.

    References
    ----------
    Partials: H. Fletcher (1964), J. Acoust. Soc. Am. 36(1), 203-209. Glide: tension grows with the square of
    the amplitude (K. A. Legge, N. H. Fletcher (1984), J. Acoust. Soc. Am. 76, 5-12), so it dies
    twice as fast.
    """
    check_positive("tone.hz", tone.hz, unit="Hz")
    check_positive("rate_hz", rate_hz, unit="Hz")
    top_hz = min(rate_hz / 2, HIGHEST_PARTIAL_HZ)
    if tone.hz >= top_hz:
        raise BadValue(f"tone.hz is {tone.hz} Hz; it must be below {top_hz} Hz. Give a lower one.")
    if duration_s <= sound.start_s:
        raise BadValue(
            f"the clip of {duration_s} s ends before the pluck at {sound.start_s} s. Make it longer."
        )
    count = round(duration_s * rate_hz)
    first = round(sound.start_s * rate_hz)
    ahead = _ahead_s(sound, np.arange(count - first) / rate_hz)
    needed = count - first + round(ahead[-1] * rate_hz) + WARP_SPARE
    note = _warp(_partials(rng, tone, sound, body, rate_hz, needed), ahead * rate_hz)
    note *= np.sin(np.pi / 2 * np.minimum(np.arange(note.size) / (sound.attack_s * rate_hz), 1.0)) ** 2
    note *= amplitude(sound.level_db) / np.max(np.abs(note))
    note += _thump(rng, sound, rate_hz, note.size)
    samples = room_noise(rng, room=room, count=count, rate_hz=rate_hz)
    samples[first:] += note
    return Clip(samples, rate_hz)


def _partials(
    rng: np.random.Generator,
    tone: Tone,
    sound: PluckSound,
    body: Body | None,
    rate_hz: float,
    count: int,
) -> FloatArray:
    """Sum of the decaying partials of both polarisations, without glide; at least ``count`` samples."""
    k = np.arange(1, int(HIGHEST_PARTIAL_HZ / tone.hz) + 1)
    hz = k * tone.hz * np.sqrt(1 + tone.inharmonicity * k**2)
    keep = hz < min(HIGHEST_PARTIAL_HZ, 0.45 * rate_hz)
    k, hz = k[keep], hz[keep]
    if body is not None:
        hz = hz * 2 ** (body.pull_cents(hz) / CENTS_PER_OCTAVE)
    weight = np.sin(np.pi * k * sound.place) * k ** (-sound.tilt)
    loss = (1 + hz / sound.decay_corner_hz) / sound.decay_s
    second_hz = hz * 2 ** (sound.second_cents / CENTS_PER_OCTAVE)
    exponent = np.concatenate([-loss + 2j * np.pi * hz, -loss / sound.second_decay + 2j * np.pi * second_hz])
    level = np.concatenate([weight, sound.second_level * weight])
    size = level * np.exp(1j * rng.normal(0, PHASE_SPREAD_RAD, level.size))
    blocks = -(-count // BLOCK)
    starts = np.exp(np.outer(np.arange(blocks) * BLOCK / rate_hz, exponent)) * size
    within = np.exp(np.outer(exponent, np.arange(BLOCK) / rate_hz))
    # Real part of a complex product as two real ones: half the work.
    return np.asarray((starts.real @ within.real - starts.imag @ within.imag).ravel(), dtype=np.float64)


def _ahead_s(sound: PluckSound, time_s: FloatArray) -> FloatArray:
    """How far a gliding note has run ahead: the integral of g exp(-2 t / decay). [s]"""
    sharp = 2 ** (sound.glide_cents / CENTS_PER_OCTAVE) - 1
    return np.asarray(-sharp * sound.decay_s / 2 * np.expm1(-2 * time_s / sound.decay_s), dtype=np.float64)


def _warp(note: FloatArray, ahead: FloatArray) -> FloatArray:
    """Read the note ``ahead`` samples early, sample by sample."""
    from scipy.ndimage import map_coordinates

    if not ahead.any():
        return note[: ahead.size]
    read_at = np.arange(ahead.size) + ahead
    return np.asarray(map_coordinates(note, [read_at], order=WARP_ORDER, mode="nearest"), dtype=np.float64)


def _thump(rng: np.random.Generator, sound: PluckSound, rate_hz: float, count: int) -> FloatArray:
    """Knock of the finger: smoothed noise that dies at once."""
    time_s = np.arange(count) / rate_hz
    width = max(1, round(rate_hz / 2000))  # smoothing: a dull knock, mostly below 1 kHz
    noise = np.convolve(rng.standard_normal(count), np.full(width, 1 / width), mode="same")
    knock = noise * np.exp(-time_s / sound.thump_s)
    return np.asarray(
        knock * amplitude(sound.level_db + sound.thump_db) / np.max(np.abs(knock)), dtype=np.float64
    )
