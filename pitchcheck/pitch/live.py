"""A reading that refines while the note still rings: sound goes in piece by piece, readings come out.

It keeps the sound of one pluck and reads it by the same code as a recording, each time more of it has come.
It knows no clock: time is counted in samples.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.clip import Clip, FloatArray
from pitchcheck.errors import check_positive
from pitchcheck.pitch.plucks import find_plucks
from pitchcheck.pitch.read_note import read_note
from pitchcheck.pitch.reading import Reading, Unreadable

DUE_S = (0.2, 0.24, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0)  # [s] of sound after the onset at which a reading is tried
KEPT_S = 2.6  # [s] of sound kept: the longest stretch read, and the room before it


@dataclass(frozen=True)
class Refined:
    """One step of a refinement.

    Attributes
    ----------
    reading : Reading
    sounded_s : float
        How long the note had sounded. [s]
    final : bool
        True for the last: the note has ended, or has been heard for 2 s.
    """

    reading: Reading
    sounded_s: float
    final: bool


class LiveNote:
    """Reads one note while it rings.

    Parameters
    ----------
    rate_hz : float > 0
        Samples per second of what will be heard.
    expected_hz : float, optional
        Pitch it should have. [Hz]
    """

    def __init__(self, *, rate_hz: float, expected_hz: float | None = None) -> None:
        check_positive("rate_hz", rate_hz, unit="Hz")
        self._rate_hz = rate_hz
        self._expected_hz = expected_hz
        self._samples: FloatArray = np.zeros(0)
        self._due = 0
        self._final = False

    def hear(self, samples: FloatArray) -> Refined | None:
        """Take more sound; return a reading when a new one is due and can be given.

        Parameters
        ----------
        samples : array of float64, shape (n,)
            What came since the last call, full scale 1.

        Returns
        -------
        Refined or None
            None before the pluck, between the steps, after the final reading, and while nothing can be read.
        """
        if self._final:
            return None
        self._samples = np.concatenate([self._samples, samples])
        clip = Clip(self._samples, self._rate_hz)
        plucks = find_plucks(clip)
        if not plucks:
            self._samples = self._samples[-round(KEPT_S * self._rate_hz / 2) :]
            return None
        pluck = plucks[0]
        sounded_s = clip.duration_s - pluck.onset_s
        ended = pluck.end_s < clip.duration_s
        due = sum(sounded_s >= due for due in DUE_S)
        if due == self._due and not ended:
            return None
        self._due = due
        self._final = ended or due == len(DUE_S)
        heard_s = min(pluck.end_s, pluck.onset_s + DUE_S[-1])
        try:
            reading = read_note(clip.between(0.0, heard_s), expected_hz=self._expected_hz)
        except Unreadable:
            return None
        return Refined(reading, min(sounded_s, heard_s - pluck.onset_s), self._final)
