"""From a found note to its law: tracks, phases unwrapped from the strong partials outwards, then all together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.clip import Clip, FloatArray
from pitchcheck.pitch.law import Law, fit_law
from pitchcheck.pitch.slopes import (
    WEAKEST,
    Slopes,
    envelopes,
    fit_slopes,
    glide_integral,
    phase_left,
)
from pitchcheck.pitch.tracks import Tracks, law_hz, take_tracks

GLIDE_TIMES = (0.5, 1.0, 2.0)  # glide law's decay time over the note's own
ROUNDS = 4


@dataclass(frozen=True)
class Heard:
    """A stretch of a note, reduced as far as one note can be."""

    tracks: Tracks
    envelope: FloatArray
    slopes: tuple[Slopes, ...]
    law: Law
    hz: float
    stiffness: float
    decay_s: float


def hear(clip: Clip, *, hz: float, stiffness: float) -> Heard | None:
    """Read a stretch that begins after the attack. None when no partial stands out."""
    tracks = take_tracks(clip, hz=hz, stiffness=stiffness)
    envelope = envelopes(tracks.z, tracks.noise, tracks.time_s)
    strength = np.sum(envelope**2, axis=1) / tracks.noise
    order = np.argsort(-strength)
    decay_s = decay_time(tracks, envelope, int(order[0]))
    model_hz, model_b, glide, tau_s = hz, stiffness, 0.0, decay_s
    for turn in range(ROUNDS):
        last = turn >= ROUNDS - 2
        few = strength > (WEAKEST if last else max(WEAKEST, 0.02 * strength[order[0]]))
        if turn == 0:
            few &= tracks.number <= max(4, tracks.number[order[0]])
        if not few.any():
            return None
        kept = _only(tracks, few)
        own_hz = law_hz(kept.number, hz=model_hz, stiffness=model_b)
        path = (
            2
            * np.pi
            * (
                (own_hz - kept.hz)[:, None] * kept.time_s
                + own_hz[:, None] * glide * glide_integral(kept.time_s, tau_s=tau_s)
            )
        )
        phase = phase_left(kept, envelope[few], path)
        if not last:
            phase = np.unwrap(phase, axis=1)
        taus = [decay_s * ratio for ratio in GLIDE_TIMES]
        if glide:
            # keep the path's glide inside the phases: it may have another time than the one tried
            phase = phase + 2 * np.pi * own_hz[:, None] * glide * glide_integral(kept.time_s, tau_s=tau_s)
        referred = replace(kept, hz=own_hz)
        slopes = tuple(fit_slopes(referred, envelope[few], phase, tau_s=tau) for tau in taus)
        law = fit_law(slopes, stiffness=model_b)
        model_hz *= 1 + law.sharp
        model_b = max(0.0, model_b + law.stiffer)
        glide, tau_s = law.glide, law.tau_s
    return Heard(referred, envelope[few], slopes, law, model_hz, model_b, decay_s)


def _only(tracks: Tracks, few: np.ndarray) -> Tracks:
    return replace(
        tracks, number=tracks.number[few], hz=tracks.hz[few], z=tracks.z[few], noise=tracks.noise[few]
    )


def decay_time(tracks: Tracks, envelope: FloatArray, which: int) -> float:
    """Time in which a track falls to 1/e, from a straight line through its logarithm. [s]"""
    weight = envelope[which] ** 2
    level = np.log(envelope[which])
    time = tracks.time_s - np.average(tracks.time_s, weights=weight)
    slope = np.sum(weight * time * level) / np.sum(weight * time**2)
    return float(np.clip(-1 / slope if slope < -0.05 else 20.0, 0.03, 20.0))
