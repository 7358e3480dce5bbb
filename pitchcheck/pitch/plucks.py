"""Finding plucks in a clip: where each begins and where its sound ends.

Times are seconds from the clip's first sample. Levels are root-mean-square amplitudes in short steps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.types import FloatArray

STEP_S = 0.005  # [s] one level; shorter than the rise of any pluck at the microphone (ours)
LOOK_BACK_S = 0.04  # [s] a pluck rises above the level this long before it (ours)
RISE_DB = 8.0  # [dB] rise that makes a pluck (ours; a bass rises slowest, by 10 dB and more)
BELOW_LOUDEST_DB = 30.0  # [dB] quieter rises beside a loud note are handling noise
APART_S = 0.25  # [s] plucks closer than this are one pluck and its thump
END_ABOVE_FLOOR_DB = 3.0  # [dB] a note has ended when it is this close to the floor
FLOOR_HEARD_S = 0.03  # [s] of room noise before the first pluck that give a level
PEAK_WITHIN_S = 0.4  # [s] a note is loudest within this time
GONE_DB = 45.0  # [dB] below its peak a note has ended, whatever the room
GONE_FOR_S = 0.03  # [s] and it must stay there so long
SHORTEST_SOUND_S = 0.09  # [s] a bang shorter than this carries no note
MIN_LEVEL = 1e-5  # full scale 1: digital silence and dither lie below


@dataclass(frozen=True)
class Pluck:
    """One pluck within a clip.

    Attributes
    ----------
    onset_s, end_s : float
        Start of the rise, and end of the sound or start of the next pluck. [s]
    """

    onset_s: float
    end_s: float


def levels(clip: Clip, *, step_s: float = STEP_S) -> FloatArray:
    """Root-mean-square level of each step, the mean taken off. Shape (duration / step,)."""
    step = max(1, round(step_s * clip.rate_hz))
    count = clip.samples.size // step
    if count == 0:
        return np.zeros(0)
    blocks = clip.samples[: count * step].reshape(count, step)
    return np.asarray(np.sqrt(np.mean((blocks - clip.samples.mean()) ** 2, axis=1)))


def find_plucks(clip: Clip) -> tuple[Pluck, ...]:
    """Find the plucks in a clip, in order.

    Parameters
    ----------
    clip : Clip
        Any length. A clip that begins inside a note counts as plucked at 0 s.

    Returns
    -------
    tuple of Pluck
        Empty when nothing rises above the floor.
    """
    level = levels(clip)
    if level.size * STEP_S < SHORTEST_SOUND_S:
        return ()
    smooth = np.convolve(level**2, np.ones(3) / 3, mode="same") ** 0.5
    top = float(smooth.max())
    if top < MIN_LEVEL:
        return ()
    onsets = _onsets(smooth, top)
    plucks = []
    for i, first in enumerate(onsets):
        last = onsets[i + 1] if i + 1 < len(onsets) else smooth.size
        end = first + _end(smooth[first:last], _floor(smooth[: onsets[0]]))
        pluck = Pluck(first * STEP_S, clip.duration_s if end == smooth.size else end * STEP_S)
        if pluck.end_s - pluck.onset_s >= SHORTEST_SOUND_S:
            plucks.append(pluck)
    return tuple(plucks)


def _floor(before: FloatArray) -> float:
    """Level of the room before the first pluck; 0 when it was not heard."""
    return float(np.median(before)) if before.size * STEP_S > FLOOR_HEARD_S else 0.0


def _onsets(smooth: FloatArray, top: float) -> list[int]:
    """Return the steps at which a rise begins."""
    back = round(LOOK_BACK_S / STEP_S)
    before = np.concatenate([np.full(back, smooth[:1].min()), smooth[:-back]])
    before[:back] = np.minimum.accumulate(smooth[:back])
    rise_db = 20 * np.log10(np.maximum(smooth, 1e-12) / np.maximum(before, 1e-12))
    loud = smooth > top * 10 ** (-BELOW_LOUDEST_DB / 20)
    rising = (rise_db > RISE_DB) & loud
    onsets: list[int] = []
    apart = round(APART_S / STEP_S)
    if smooth[:back].max() > top * 0.3:  # the clip begins inside a note
        onsets.append(0)
    for step in np.flatnonzero(rising):
        if not onsets or step - onsets[-1] > apart:
            onsets.append(max(0, int(step) - 1))
    return onsets


def _end(smooth: FloatArray, floor: float) -> int:
    """Return the step at which the sound has sunk to the floor, or the last."""
    start = smooth[: max(1, round(PEAK_WITHIN_S / STEP_S))]
    after_peak = int(np.argmax(start))
    gone = max(floor * 10 ** (END_ABOVE_FLOOR_DB / 20), float(start.max()) * 10 ** (-GONE_DB / 20))
    held = round(GONE_FOR_S / STEP_S)
    below = np.convolve(smooth[after_peak:] < gone, np.ones(held), mode="valid") >= held - 0.5
    return after_peak + int(np.argmax(below)) if below.any() else int(smooth.size)
