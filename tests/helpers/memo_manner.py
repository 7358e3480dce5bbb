"""Manners of players and phones beyond the usual: what varies in memos that were made to be hard.

Everything comes from the generator that is passed in; all choices are ours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import fftconvolve

from pitchcheck.simulate.player import Hand
from pitchcheck.types import FloatArray


@dataclass(frozen=True)
class Manner:
    """How somebody plays and a phone hears. The defaults are the usual memo's."""

    level_db: float = 0.0  # loudness from pluck to pluck, standard deviation
    string_db: float = 0.0  # the same from string to string
    ring_s: tuple[float, float] = (1.3, 3.0)
    pause_s: tuple[float, float] = (0.25, 0.8)
    talks_over: float = 0.0  # share of notes over which somebody speaks
    touches: float = 0.0  # share of presses that sound softly as the rod comes down or is lifted
    undamped: bool = False  # other strings ring until they are played again
    tunes_first: bool = False  # plucks every open string once before beginning
    strums: bool = False  # runs over all strings before beginning
    returns: float = 0.0  # share of strings played once more at the end
    echo_s: float = 0.0  # time in which the room falls by 60 dB; 0 for none
    echo_db: float = 0.0  # of all echoes together, re the direct sound
    gain_depth: float | None = None  # None is left to the memo
    apart_cents: float = 5.0  # tuning of the strings against each other, standard deviation
    slips: float | None = None  # share of notes skipped, doubled, damped; None is left to the plan
    hand: Hand | None = None


USUAL = Manner()


def any_manner(rng: np.random.Generator) -> Manner:
    """Draw a manner."""

    def maybe(share: float) -> bool:
        return bool(rng.random() < share)

    shortest = rng.uniform(0.7, 2.0)
    hand = Hand(
        rod_sd_mm=rng.uniform(0.5, 2.5),
        side_sd_mm=rng.uniform(0.05, 0.35),
        drift_cents=rng.uniform(0.1, 0.8),
        force_sd=rng.uniform(0.2, 0.5),
    )
    return Manner(
        level_db=rng.uniform(1.0, 6.0),
        string_db=rng.uniform(0.0, 5.0),
        ring_s=(shortest, shortest + rng.uniform(0.3, 2.5)),
        pause_s=(0.1, rng.uniform(0.3, 4.0)),
        talks_over=rng.uniform(0.05, 0.3) if maybe(0.3) else 0.0,
        touches=rng.uniform(0.1, 0.6) if maybe(0.4) else 0.0,
        undamped=maybe(0.2),
        tunes_first=maybe(0.1),
        strums=maybe(0.1),
        returns=rng.uniform(0.1, 0.4) if maybe(0.2) else 0.0,
        echo_s=rng.uniform(0.2, 0.8) if maybe(0.6) else 0.0,
        echo_db=rng.uniform(-18.0, -6.0),
        gain_depth=rng.uniform(0.2, 0.8) if maybe(0.5) else 0.0,
        apart_cents=rng.uniform(2.0, 12.0),
        slips=rng.uniform(0.0, 0.12),
        hand=hand,
    )


def in_a_room(rng: np.random.Generator, sound: FloatArray, *, manner: Manner, rate_hz: int) -> FloatArray:
    """The sound with the echoes of a room: noise that dies away evenly, alike in all bands."""
    if not manner.echo_s:
        return sound
    count = round(manner.echo_s * rate_hz)
    tail = rng.standard_normal(count) * 10 ** (-3 * np.arange(count) / count)
    tail *= 10 ** (manner.echo_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return np.asarray(fftconvolve(sound, tail)[: sound.size])
