"""Sounds that are no good take: talking, taps, clipped, damped and doubled notes. Full scale 1, levels in dB.

All chance comes from the generator that is passed in. What talking and taps are made of is common knowledge
of acoustics, from memory: a voice is a row of pulses through moving resonances, in syllables of 0.1 to 0.4 s
whose pitch glides by semitones, with hissing consonants between; a tap is a short noise burst and the body's
resonances dying within a tenth of a second.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

from pitchcheck.types import FloatArray

VOICE_HZ = (85.0, 260.0)  # speaking pitch of low and high voices
VOWELS_HZ = ((730, 1090, 2440), (270, 2290, 3010), (300, 870, 2240), (530, 1840, 2480), (570, 840, 2410))
VOWEL_WIDTHS_HZ = (80.0, 100.0, 140.0)
DAMP_S = (0.015, 0.05)  # a hand laid on the string stops it in so long
BODY_HZ = (90.0, 450.0)


def at_level(samples: FloatArray, level_db: float) -> FloatArray:
    """Scale to that peak."""
    return np.asarray(samples * 10 ** (level_db / 20) / np.max(np.abs(samples)))


def talking(rng: np.random.Generator, *, rate_hz: float, seconds: float) -> FloatArray:
    """A few words after a short quiet. Peak 1."""
    out = np.zeros(round(seconds * rate_hz))
    voice_hz = float(np.exp(rng.uniform(*np.log(VOICE_HZ))))
    at = rng.uniform(0.05, 0.3)
    while at < seconds - 0.15:
        if rng.random() < 0.6:
            at += _add(out, _hiss(rng, rate_hz), at, rate_hz) - 0.01
        at += _add(out, _syllable(rng, rate_hz, voice_hz), at, rate_hz)
        at += rng.uniform(0.0, 0.05) if rng.random() < 0.8 else rng.uniform(0.15, 0.4)
    return at_level(out, 0.0)


def _add(out: FloatArray, part: FloatArray, at_s: float, rate_hz: float) -> float:
    first = round(at_s * rate_hz)
    room = out[first : first + part.size]
    room += part[: room.size]
    return part.size / rate_hz


def _syllable(rng: np.random.Generator, rate_hz: float, voice_hz: float) -> FloatArray:
    count = round(rng.uniform(0.09, 0.38) * rate_hz)
    time = np.arange(count) / count
    start, turn, end = rng.uniform(-3, 3, 3)  # semitones
    pitch = voice_hz * 2 ** ((start + (turn - start) * time + (end - turn) * time**2) / 12)
    pitch *= 1 + 0.004 * np.cumsum(rng.standard_normal(count)) / np.sqrt(count)
    phase = np.cumsum(pitch) / rate_hz
    pulses = np.diff(np.floor(phase), prepend=0.0) + 0.01 * rng.standard_normal(count)
    sound = lfilter([1.0], [1.0, -0.96], pulses)
    first, last = (np.array(VOWELS_HZ[i], float) for i in rng.integers(len(VOWELS_HZ), size=2))
    halves = []
    for shape in (first, last):
        part = sound
        for hz, width in zip(shape, VOWEL_WIDTHS_HZ, strict=True):
            r = np.exp(-np.pi * width / rate_hz)
            a = [1.0, -2 * r * np.cos(2 * np.pi * hz / rate_hz), r * r]
            part = lfilter([sum(a)], a, part)
        halves.append(part)
    sound = halves[0] * (1 - time) + halves[1] * time
    rise = rng.uniform(0.02, 0.08) * rate_hz
    fade = rng.uniform(0.03, 0.1) * rate_hz
    shape = np.minimum(1.0, np.arange(count) / rise) * np.minimum(1.0, np.arange(count)[::-1] / fade)
    return at_level(sound * shape, rng.uniform(-8, 0))


def _hiss(rng: np.random.Generator, rate_hz: float) -> FloatArray:
    count = round(rng.uniform(0.04, 0.13) * rate_hz)
    noise = np.diff(rng.standard_normal(count + 2), n=2)
    return at_level(noise * np.hanning(count), rng.uniform(-26, -12))


def tap(rng: np.random.Generator, *, rate_hz: float, seconds: float) -> FloatArray:
    """A knock on the body or the table. Peak 1."""
    count = round(seconds * rate_hz)
    out = np.zeros(count)
    first = round(rng.uniform(0.15, 0.4) * rate_hz)
    time = np.arange(count - first) / rate_hz
    width = max(1, round(rate_hz / rng.uniform(600, 6000)))
    knock = np.convolve(rng.standard_normal(time.size), np.ones(width) / width, mode="same")
    knock = at_level(knock * np.exp(-time / rng.uniform(0.003, 0.02)), 0.0)
    for _ in range(rng.integers(0, 5)):
        hz, quality = rng.uniform(*BODY_HZ), rng.uniform(8, 25)
        decay = quality / (np.pi * hz)
        knock += rng.uniform(0.1, 0.8) * np.exp(-time / decay) * np.sin(2 * np.pi * hz * time)
    out[first:] += knock
    return at_level(out, 0.0)


def damped(rng: np.random.Generator, samples: FloatArray, *, rate_hz: float, end_s: float) -> FloatArray:
    """The sound, stopped by a hand at ``end_s``."""
    time = np.arange(samples.size) / rate_hz - end_s
    return np.asarray(samples * np.exp(-np.maximum(time, 0.0) * 3 / rng.uniform(*DAMP_S)))


def clipped(rng: np.random.Generator, samples: FloatArray) -> FloatArray:
    """Too much gain: 4 to 20 dB over full scale, cut off there."""
    return np.clip(at_level(samples, rng.uniform(4, 20)), -1.0, 1.0)
