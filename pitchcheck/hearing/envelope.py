"""The shape of a sound in time: whether it is cut off at the top, how fast it rises, whether it dies away.

Conventions: seconds since the onset; levels in dB.
"""

from __future__ import annotations

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.types import FloatArray

FULL = 0.999  # of full scale: a converter at its end
FULL_SAMPLES = 3  # so many samples there are no accident
TOP_FROM, BELOW_FROM = 0.98, 0.94  # of the highest sample
# samples in the top part per sample in the part below: a sine has 1.36, a flat top many (derived)
CROWDED = 4.0
CROWD_SHARE = 0.005  # of all samples: fewer do no harm
LOUD_ENOUGH = 0.05  # [full scale] tops below are too coarsely written to tell
TOPS_S = 0.6  # [s] after the onset in which a note is loudest
STEP_S = 0.01  # [s]
ATTACK_WITHIN_S = 0.4  # [s]
ATTACK_SHARE = 0.5  # of the peak's power
STEADY_DB = 1.5  # [dB] scatter of tenths of a second, below which a sound neither dies nor swells


def is_clipped(clip: Clip, *, onset_s: float) -> bool:
    """Whether the sound is cut off at the top: at full scale, or flat at a lower level."""
    samples = clip.between(onset_s, onset_s + TOPS_S).samples
    if samples.size == 0:
        return False
    if reaches_full_scale(clip.samples):
        return True
    return _flat_tops(samples) or _flat_tops(-samples)


def attack_s(clip: Clip, *, onset_s: float) -> float:
    """Time from the onset until the sound has half of its greatest power. [s]"""
    level = block_power(clip.between(onset_s, onset_s + ATTACK_WITHIN_S), STEP_S)
    if level.size == 0:
        return 0.0
    return float(np.argmax(level >= ATTACK_SHARE * level.max())) * STEP_S


def is_steady(clip: Clip, *, onset_s: float) -> bool:
    """Whether a sound keeps its level, as a fan or a crowd does and no string."""
    level = block_power(clip.between(onset_s + 0.1, clip.duration_s), 0.1)
    return bool(level.size >= 5 and np.std(10 * np.log10(np.maximum(level, 1e-12))) < STEADY_DB)


def _flat_tops(samples: FloatArray) -> bool:
    """Whether many samples crowd at the top, as on a flat top even under noise; a wave's crest is thin."""
    top = float(samples.max())
    if top < LOUD_ENOUGH:
        return False
    crowd = int(np.count_nonzero(samples >= TOP_FROM * top))
    below = int(np.count_nonzero(samples >= BELOW_FROM * top)) - crowd
    return crowd >= CROWD_SHARE * samples.size and crowd > CROWDED * below


def block_power(clip: Clip, step_s: float) -> FloatArray:
    """Mean square of each block of a clip, the clip's mean taken off. Shape (duration / step,)."""
    step = max(1, round(step_s * clip.rate_hz))
    count = clip.samples.size // step
    if not count:
        return np.zeros(0)
    blocks = clip.samples[: count * step].reshape(count, step) - clip.samples.mean()
    return np.asarray(np.mean(blocks**2, axis=1))


def reaches_full_scale(samples: FloatArray) -> bool:
    """Whether samples reach the end of the converter."""
    return int(np.count_nonzero(np.abs(samples) >= FULL)) >= FULL_SAMPLES
