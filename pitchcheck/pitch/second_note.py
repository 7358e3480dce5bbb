"""A second note in the sound: do the peaks that the note leaves over make a series of their own?

Amplitudes are relative to the strongest peak of the note. Mains hum is no second note.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pitchcheck.pitch.coarse import MOST_INHARMONICITY, find_series
from pitchcheck.pitch.peaks import Peaks

# relative distance within which a peak belongs to the note (10 cents: partials off the law, beats)
NEAR = 0.006
MAINS_HZ = (50.0, 60.0)  # [Hz] public mains
# [Hz] hum lies so close to a harmonic of the mains, which wander by 0.1 Hz and more: a tenth harmonic by 1 Hz
MAINS_NEAR_HZ = 1.5
FEWEST = 3  # peaks that make a second note: one or two may be the body or a whistle
ITSELF = 0.035  # relative distance within which a series is the note itself, split by beats (60 cents)
FAINT = 0.05  # amplitude share below which peaks are not looked at (-26 dB)
HEARD = 0.25  # share above which a second note is worth a doubt: neighbouring strings ring at up to 0.5
LOUD = 0.7  # share above which no one can say which note is meant


@dataclass(frozen=True)
class SecondNote:
    """A second note.

    Attributes
    ----------
    hz : float
        Its fundamental. [Hz]
    share : float
        Its strongest peak over the strongest of the note.
    """

    hz: float
    share: float


def second_note(peaks: Peaks, *, hz: float, inharmonicity: float) -> SecondNote | None:
    """Find a second note beside the one that was read, given by its law. None when there is none.

    Parameters
    ----------
    peaks : Peaks
    hz, inharmonicity : float
        Law of the note that was read.
    """
    if peaks.hz.size == 0:
        return None
    mine = belongs(peaks, hz=hz, inharmonicity=inharmonicity)
    left = ~mine & ~on_mains(peaks)
    if not mine.any() or np.count_nonzero(left) < FEWEST:
        return None
    loudest = float(peaks.amplitude[mine].max())
    left &= peaks.amplitude > FAINT * loudest
    rest = Peaks(peaks.hz[left], peaks.amplitude[left], peaks.width_hz)
    for series in find_series(rest)[:1]:
        beats = abs(np.log(series.hz / hz)) < ITSELF
        if np.count_nonzero(series.matched) >= FEWEST and not beats:
            return SecondNote(series.hz, float(rest.amplitude[series.matched].max()) / loudest)
    return None


def belongs(peaks: Peaks, *, hz: float, inharmonicity: float) -> npt.NDArray[np.bool_]:
    """Which peaks lie on the law. Shape (peaks,)."""
    rough = peaks.hz / hz
    stiff = min(max(inharmonicity, 0.0), MOST_INHARMONICITY)
    number = np.maximum(np.round(rough / np.sqrt(1 + stiff * rough**2)), 1.0)
    away = np.abs(peaks.hz - number * hz * np.sqrt(1 + stiff * number**2))
    return np.asarray(away < NEAR * peaks.hz + peaks.width_hz)


def on_mains(peaks: Peaks) -> npt.NDArray[np.bool_]:
    """Which peaks lie on a harmonic of the mains, as hum does. Shape (peaks,)."""
    away = [np.abs(peaks.hz - mains * np.round(peaks.hz / mains)) for mains in MAINS_HZ]
    return np.asarray(np.min(away, axis=0) < MAINS_NEAR_HZ)
