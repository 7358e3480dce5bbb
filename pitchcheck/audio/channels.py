"""Which channel of a recording holds the note.

Channels are chosen, never mixed: two microphones, or two of opposite polarity, would cancel partials. The one
taken is the one whose loudness rises and falls most, which a plucked note does and hum or a dead input does
not; an overloaded channel is passed over when another is sound. Full scale is 1.
"""

from __future__ import annotations

import numpy as np

from pitchcheck.types import FloatArray

STEP_S = 0.02  # [s] one step of loudness; shorter than a note's decay, longer than a period of the lowest
LIVE_DB = 40.0  # [dB] a channel that moves less than this below the liveliest one does not count
OVERLOADED_PART = 1e-3  # [-] share of samples at the peak that makes a channel overloaded
OVERLOAD_LEVEL = 0.98  # [-] of full scale; quieter peaks are not overload


def choose_channel(samples: FloatArray, *, rate_hz: float) -> int:
    """Index of the channel to read.

    Parameters
    ----------
    samples : array, shape (n, channels)
    rate_hz : float > 0

    Returns
    -------
    int
        0 when all are silent.
    """
    if samples.shape[1] == 1:
        return 0
    lively = np.array([_liveliness(channel, rate_hz=rate_hz) for channel in samples.T])
    order = np.argsort(-lively, kind="stable")
    live = [int(i) for i in order if lively[i] > lively[order[0]] * 10 ** (-LIVE_DB / 10)]
    sound = [i for i in live if not is_overloaded(samples[:, i])]
    return (sound or live or [0])[0]


def is_overloaded(channel: FloatArray) -> bool:
    """Whether a channel was overloaded: many samples at a peak near full scale."""
    level = np.abs(channel)
    peak = float(level.max(initial=0.0))
    return peak > OVERLOAD_LEVEL and float(np.mean(level > 0.999 * peak)) > OVERLOADED_PART


def _liveliness(channel: FloatArray, *, rate_hz: float) -> float:
    """Spread of the loudness in time: 95th less 10th percentile of the power of short steps."""
    step = max(1, round(STEP_S * rate_hz))
    count = channel.size // step
    if count < 2:
        return float(np.var(channel)) if channel.size else 0.0
    power = np.var(channel[: count * step].reshape(count, step), axis=1)
    low, high = np.percentile(power, [10, 95])
    return float(high - low)
