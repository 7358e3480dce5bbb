"""What else a phone hears in a memo: talk, bumps, a damped string, a gain that follows the loudness.

Conventions: full scale is 1 until a level is set; every sound is made by the generator that is passed in.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

from pitchcheck.types import FloatArray

# First three formants of five vowels. [Hz] G. E. Peterson, H. L. Barney (1952), J. Acoust. Soc. Am. 24,
# 175-184, men's means (from memory, rounded).
VOWELS = ((270, 2290, 3010), (530, 1840, 2480), (730, 1090, 2440), (570, 840, 2410), (300, 870, 2240))
FORMANT_WIDTH_HZ = (60.0, 90.0, 150.0)


def talk(rng: np.random.Generator, *, seconds: float, rate_hz: int) -> FloatArray:
    """Return syllables of a voice whose pitch glides, with hissing consonants between. Peak 1."""
    out: list[FloatArray] = []
    base = rng.uniform(85.0, 240.0)
    made = 0.0
    while made < seconds:
        length = rng.uniform(0.09, 0.28)
        count = round(length * rate_hz)
        if rng.random() < 0.25:
            hiss = rng.standard_normal(count) * 0.15
            out.append(_swell(np.diff(hiss, prepend=0.0), rng, sharp=rng.random() < 0.3))
        else:
            start, end = base * rng.uniform(0.85, 1.25), base * rng.uniform(0.8, 1.2)
            hz = np.linspace(start, end, count) * (1 + 0.01 * rng.standard_normal())
            phase = np.cumsum(hz) / rate_hz
            pulses = np.diff(np.floor(phase), prepend=0.0)
            breath = 0.02 * rng.standard_normal(count)
            voiced = lfilter([1.0], [1.0, -0.95], pulses) + breath
            for centre, width in zip(VOWELS[rng.integers(len(VOWELS))], FORMANT_WIDTH_HZ, strict=True):
                voiced = _resonance(
                    voiced, hz=centre * rng.uniform(0.9, 1.1), width_hz=width, rate_hz=rate_hz
                )
            out.append(_swell(voiced / (np.abs(voiced).max() + 1e-9), rng, sharp=rng.random() < 0.3))
        pause = 0.0 if rng.random() < 0.6 else rng.uniform(0.03, 0.2)
        out.append(np.zeros(round(pause * rate_hz)))
        made += length + pause
    sound = np.concatenate(out)
    return np.asarray(sound / np.abs(sound).max())


def bump(rng: np.random.Generator, *, rate_hz: int) -> FloatArray:
    """Return a knock on the instrument or the phone: a few dull resonances and a burst of noise. Peak 1."""
    count = round(rng.uniform(0.15, 0.5) * rate_hz)
    time_s = np.arange(count) / rate_hz
    sound = rng.standard_normal(count) * np.exp(-time_s / rng.uniform(0.003, 0.02))
    sound = lfilter([0.2], [1.0, -0.8], sound)
    for _ in range(rng.integers(2, 5)):
        hz, fall = rng.uniform(50.0, 400.0), rng.uniform(0.015, 0.06)
        sound = sound + rng.uniform(0.3, 1.0) * np.sin(2 * np.pi * hz * time_s) * np.exp(-time_s / fall)
    return np.asarray(sound / np.abs(sound).max())


def rustle(rng: np.random.Generator, *, seconds: float, rate_hz: int) -> FloatArray:
    """Return cloth or a chair: noise that swells and sinks. Peak 1."""
    count = round(seconds * rate_hz)
    noise = lfilter([1.0], [1.0, -rng.uniform(0.5, 0.95)], rng.standard_normal(count))
    swell = np.interp(np.linspace(0, 1, count), np.linspace(0, 1, 9), np.r_[0, rng.uniform(0, 1, 7), 0])
    sound = noise * swell
    return np.asarray(sound / np.abs(sound).max())


def follow_gain(sound: FloatArray, *, rate_hz: int, depth: float) -> FloatArray:
    """Return the sound as a phone's gain control leaves it: loud parts turned down by the power ``depth``.

    Quick to turn down (20 ms), slow to come back (0.8 s), as such controls are (from memory).
    """
    step = round(0.005 * rate_hz)
    count = sound.size // step
    level = np.sqrt(np.mean(sound[: count * step].reshape(count, step) ** 2, axis=1)) + 1e-4
    state, follow = level[0], np.empty(count)
    for i, now in enumerate(level):
        share = 0.005 / (0.02 if now > state else 0.8)
        state += min(share, 1.0) * (now - state)
        follow[i] = state
    gain = (follow / np.median(follow)) ** -depth
    whole = np.interp(np.arange(sound.size), (np.arange(count) + 0.5) * step, gain)
    return np.asarray(sound * whole)


def _swell(sound: FloatArray, rng: np.random.Generator, *, sharp: bool) -> FloatArray:
    rise = max(1, round(sound.size * (0.03 if sharp else rng.uniform(0.1, 0.4))))
    fall = max(1, round(sound.size * rng.uniform(0.2, 0.5)))
    shape = np.ones(sound.size)
    shape[:rise] = np.linspace(0, 1, rise)
    shape[-fall:] *= np.linspace(1, 0, fall)
    return np.asarray(sound * shape)


def _resonance(sound: FloatArray, *, hz: float, width_hz: float, rate_hz: int) -> FloatArray:
    radius = np.exp(-np.pi * width_hz / rate_hz)
    angle = 2 * np.pi * hz / rate_hz
    return np.asarray(lfilter([1 - radius], [1.0, -2 * radius * np.cos(angle), radius**2], sound))
