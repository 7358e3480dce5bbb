"""Does something turn the gain up and down by itself? Heard from the room after a note, and from its decay.

Conventions: seconds; levels in dB, root mean square.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.hearing.envelope import block_power
from pitchcheck.pitch.plucks import Pluck
from pitchcheck.types import FloatArray

STEP_S = 0.05
RECOVERS_DB = 4.0  # the room rises so much in the second after a note: its own noise does by 2 (ours)
RECOVERY_S = 1.0
SWELLS_DB = 3.0  # a note grows by so much after its attack: beating strings do so once, not every time (ours)
ATTACK_S = (0.15, 0.35)
AFTER_S = (0.5, 1.5)
DUCKED_DB = 6.0  # after a note the room is so much quieter than before anything was played (ours)


def is_pumping(clip: Clip, plucks: Sequence[Pluck], *, room_db: float) -> bool:
    """Whether the gain follows the sound.

    Parameters
    ----------
    clip : Clip
        Single plucks that ring out.
    plucks : sequence of Pluck
        Where they are.
    room_db : float
        The room while nothing was played.

    Returns
    -------
    bool
        True when it shows at half of the plucks or more, and at two at least (at one, if there is only one).
    """
    if not plucks:
        return False
    level = 10 * np.log10(np.maximum(block_power(clip, STEP_S), 1e-12))
    shown = 0
    for i, pluck in enumerate(plucks):
        until = plucks[i + 1].onset_s if i + 1 < len(plucks) else clip.duration_s
        shown += (
            _swells(level, pluck) or _recovers(level, pluck, until) or _ducked(level, pluck, until, room_db)
        )
    return shown >= min(2, len(plucks)) and 2 * shown >= len(plucks)


def _swells(level: FloatArray, pluck: Pluck) -> bool:
    """Whether a note grows after its attack."""
    first = _part(level, pluck.onset_s + ATTACK_S[0], pluck.onset_s + ATTACK_S[1])
    later = _part(level, pluck.onset_s + AFTER_S[0], min(pluck.onset_s + AFTER_S[1], pluck.end_s))
    return bool(first.size and later.size and later.max() > first.max() + SWELLS_DB)


def _recovers(level: FloatArray, pluck: Pluck, until_s: float) -> bool:
    """Whether the room rises after the note has gone."""
    after = _part(level, pluck.end_s, min(pluck.end_s + RECOVERY_S, until_s - 2 * STEP_S))
    if after.size < 8:
        return False
    third = after.size // 3
    return bool(np.median(after[-third:]) > np.median(after[:third]) + RECOVERS_DB)


def _ducked(level: FloatArray, pluck: Pluck, until_s: float, room_db: float) -> bool:
    """Whether the room is quieter after the note than while nothing was played."""
    after = _part(level, pluck.end_s + STEP_S, min(pluck.end_s + RECOVERY_S, until_s - 2 * STEP_S))
    return bool(after.size >= 4 and np.median(after) < room_db - DUCKED_DB)


def _part(level: FloatArray, start_s: float, end_s: float) -> FloatArray:
    return level[max(0, round(start_s / STEP_S)) : max(0, int(end_s / STEP_S))]
