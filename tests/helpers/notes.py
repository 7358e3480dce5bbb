"""Test notes whose pitch is known exactly: stiff strings made here, and recorded notes moved by exact ratios.

A made note follows f_k(t) = k f sqrt(1 + B k^2) (1 + g exp(-2 t / tau)): Fletcher (1964) for the stiffness,
Legge and Fletcher (1984) for the glide, with the phase integrated in closed form. Every random number comes
from the generator that is handed in.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soundfile
from scipy import signal

from pitchcheck.clip import Clip
from pitchcheck.units import CENTS_PER_LOG

RATE_HZ = 48_000.0
NOTES = Path(__file__).parents[2] / "fixtures" / "notes"


@dataclass(frozen=True)
class Strung:
    """How a made note sounds; ``beat`` is the second polarisation's share, levels are over the note's rms."""

    hz: float
    inharmonicity: float = 5e-5
    seconds: float = 2.0
    partials: int = 25
    snr_db: float = 40.0
    decay_s: float = 0.8
    glide_cents: float = 0.0
    glide_ratio: float = 1.0  # decay time of the glide's law over the note's own
    beat: float = 0.0
    beat_hz: float = 0.7
    hum: float = 0.0
    hum_hz: float = 50.0
    fundamental_db: float = 0.0
    scatter_cents: float = 0.0
    lead_s: float = 0.0
    pluck: float = 0.17


@dataclass(frozen=True)
class Made:
    """A made note: its sound and the Cramer-Rao bound of its pitch. [cent]"""

    clip: Clip
    bound_cents: float


def make_note(rng: np.random.Generator, strung: Strung) -> Made:
    """Sound of a string, and how well any unbiased reading of it could know the pitch."""
    s = strung
    t = np.arange(int(s.seconds * RATE_HZ)) / RATE_HZ
    tau_s = s.glide_ratio * s.decay_s
    bent = t + np.expm1(s.glide_cents / CENTS_PER_LOG) * (tau_s / 2) * -np.expm1(-2 * t / tau_s)
    k = np.arange(1.0, s.partials + 1)
    hz = k * s.hz * np.sqrt(1 + s.inharmonicity * k**2)
    k, hz = k[hz < 0.45 * RATE_HZ], hz[hz < 0.45 * RATE_HZ]
    level = np.abs(np.sin(np.pi * k * s.pluck)) / k + 1e-4
    level[0] *= 10 ** (-s.fundamental_db / 20)
    decay = s.decay_s / (1 + 0.03 * k + 0.001 * k**2)
    own = np.exp(rng.normal(size=k.size) * s.scatter_cents / CENTS_PER_LOG)
    start = rng.uniform(0, 2 * np.pi, (2, k.size))
    x = np.zeros(t.size)
    for i in range(k.size):
        angle = 2 * np.pi * hz[i] * own[i] * bent + start[0, i]
        x += level[i] * np.exp(-t / decay[i]) * np.cos(angle)
        if s.beat:
            turn = 2 * np.pi * s.beat_hz * np.sqrt(k[i]) * t + start[1, i]
            x += s.beat * level[i] * np.exp(-t / (1.5 * decay[i])) * np.cos(angle + turn)
    rms = float(np.sqrt(np.mean(x**2)))
    sigma = rms * 10 ** (-s.snr_db / 20)
    lead = int(s.lead_s * RATE_HZ)
    x = np.concatenate([np.zeros(lead), x])
    x = x + sigma * rng.normal(size=x.size)
    x = add_hum(x, rng, level=s.hum * rms, hum_hz=s.hum_hz)
    bound = bound_cents(
        hz=s.hz, inharmonicity=s.inharmonicity, level=level, decay_s=decay, seconds=s.seconds, sigma=sigma
    )
    return Made(Clip(0.3 * x / np.abs(x).max(), RATE_HZ), bound)


def bound_cents(
    *, hz: float, inharmonicity: float, level: np.ndarray, decay_s: np.ndarray, seconds: float, sigma: float
) -> float:
    """Least standard deviation of the fundamental of damped stiff partials in white noise. [cent]

    Rife and Boorstyn (1974), extended to several decaying partials tied by f_k = k f sqrt(1 + B k^2), with
    f, B, and the level and phase of each partial unknown: the phase costs each partial the mean of its time,
    B couples them.
    """
    t = np.arange(int(seconds * RATE_HZ / 8)) * 8 / RATE_HZ
    k = np.arange(1.0, level.size + 1)
    weight = 8 * (level[:, None] * np.exp(-t / decay_s[:, None])) ** 2 / (2 * sigma**2)
    mean = (weight @ t) / weight.sum(axis=1)
    own = (2 * np.pi) ** 2 * np.sum(weight * (t - mean[:, None]) ** 2, axis=1)  # information on each f_k
    f = k * hz * np.sqrt(1 + inharmonicity * k**2)
    slope = np.stack(
        [f, f * 0.5 * k**2 / (1 + inharmonicity * k**2) * 1e-4]
    )  # per unit of ln f, and of B / 1e-4
    return float(CENTS_PER_LOG * np.sqrt(np.linalg.inv((slope * own) @ slope.T)[0, 0]))


def add_hum(x: np.ndarray, rng: np.random.Generator, *, level: float, hum_hz: float = 50.0) -> np.ndarray:
    """Mains hum, a little off its nominal frequency, with six harmonics."""
    if level == 0:
        return x
    t = np.arange(x.size) / RATE_HZ
    phase = rng.uniform(0, 2 * np.pi, 7)
    return x + level * sum(
        np.cos(2 * np.pi * hum_hz * 1.0003 * j * t + phase[j - 1]) / j for j in range(1, 8)
    )


def add_noise(x: np.ndarray, rng: np.random.Generator, *, snr_db: float) -> np.ndarray:
    """White noise that far below the rms of ``x``."""
    return x + rng.normal(size=x.size) * float(np.sqrt(np.mean(x**2))) * 10 ** (-snr_db / 20)


@dataclass(frozen=True)
class Pair:
    """Two notes a known interval apart. ``expected_hz`` may be up to 40 cents off."""

    kind: str
    lower: Clip
    upper: Clip
    expected_hz: tuple[float, float]
    cents: float
    bound_cents: float = 0.0  # of the difference; 0 when it is not known


def made_pair(rng: np.random.Generator, kind: str, strung: Strung, *, ratio: float) -> Pair:
    """Open and stopped note of one string: B grows as the square of the pitch (a shorter string)."""
    stopped = replace(
        strung,
        hz=strung.hz * ratio,
        inharmonicity=strung.inharmonicity * ratio**2,
        glide_cents=rng.uniform(0, 10) if strung.glide_cents else 0.0,
        pluck=strung.pluck * rng.uniform(0.85, 1.15),
    )
    low, high = make_note(rng, strung), make_note(rng, stopped)
    hint = 2 ** (rng.uniform(-40, 40, 2) / 1200)
    bound = float(np.hypot(low.bound_cents, high.bound_cents))
    expected = (strung.hz * hint[0], stopped.hz * hint[1])
    return Pair(kind, low.clip, high.clip, expected, float(1200 * np.log2(ratio)), bound)


def recorded_pairs(folder: Path = NOTES) -> Iterator[Pair]:
    """Pairs of recorded notes with their exact interval, as they are."""
    with (folder / "pairs.csv").open() as table:
        for row in csv.DictReader(table):
            low, high = (_load(folder / row[which]) for which in ("lower", "upper"))
            kind = row["kind"] + ("-shaped" if row["shaped"] == "1" else "")
            expected = (float(row["expected_lower_hz"]), float(row["expected_upper_hz"]))
            yield Pair(kind, low, high, expected, float(row["true_cents"]))


def vary(
    rng: np.random.Generator, pair: Pair, *, seconds: float, snr_db: float | None, hum: float = 0.0
) -> Pair:
    """Shorten a pair, and bury it in noise and hum."""
    clips = []
    for clip in (pair.lower, pair.upper):
        x = clip.samples[: int(seconds * clip.rate_hz)]
        rms = float(np.sqrt(np.mean(x**2)))
        x = add_hum(x, rng, level=hum * rms)
        clips.append(Clip(x if snr_db is None else add_noise(x, rng, snr_db=snr_db), clip.rate_hz))
    return replace(pair, lower=clips[0], upper=clips[1])


def octave_pair(rng: np.random.Generator, pair: Pair) -> Pair:
    """Lower note of a pair against itself an octave up (every second sample kept), tilted at random."""
    low = pair.lower
    x = signal.resample_poly(low.samples, 1, 2)
    return replace(
        pair,
        kind="octave",
        upper=Clip(tilted(x, rng), low.rate_hz),
        expected_hz=(pair.expected_hz[0], 2 * pair.expected_hz[0]),
        cents=1200.0,
    )


def tilted(x: np.ndarray, rng: np.random.Generator, *, most_db: float = 6.0) -> np.ndarray:
    """Scale the spectrum by a smooth random curve (zero phase: no pitch changes) and change the decay."""
    spectrum = np.fft.rfft(x, 2 * x.size)
    octave = np.log2(np.maximum(np.fft.rfftfreq(2 * x.size, 1 / RATE_HZ), 20.0) / 20.0)
    gain_db = np.interp(octave, np.arange(11), rng.uniform(-most_db / 2, most_db / 2, 11))
    y = np.fft.irfft(spectrum * 10 ** (gain_db / 20))[: x.size]
    return np.asarray(y * np.exp(-np.arange(x.size) / RATE_HZ * rng.uniform(0.0, 0.8)))


def _load(path: Path) -> Clip:
    samples, rate_hz = soundfile.read(path)
    return Clip(samples, float(rate_hz))
