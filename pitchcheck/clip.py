"""A stretch of sound that carries its sampling rate, so that the two can never part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.errors import BadValue, check_positive
from pitchcheck.types import FloatArray


@dataclass(frozen=True, repr=False)
class Clip:
    """One channel of sound.

    Attributes
    ----------
    samples : array of float64, shape (n,)
        Full scale is 1. Finite.
    rate_hz : float > 0
        Samples per second. There is no default.
    start_s : float
        Where the first sample lies in its recording. [s]
    """

    samples: FloatArray
    rate_hz: float
    start_s: float = 0.0

    def __post_init__(self) -> None:
        check_positive("rate_hz", self.rate_hz, unit="Hz")
        if self.samples.ndim != 1:
            raise BadValue(
                f"samples have shape {self.samples.shape}; a clip is one channel. Choose one channel first."
            )
        if not np.isfinite(self.samples).all():
            raise BadValue(
                "samples hold values that are not finite numbers; the file is damaged. Record it again."
            )

    def __repr__(self) -> str:
        """Return one line: how long, and at which rate."""
        return f"<Clip of {self.duration_s:.3f} s at {self.rate_hz:g} Hz>"

    @property
    def duration_s(self) -> float:
        """Length of the clip. [s]"""
        return float(self.samples.size / self.rate_hz)

    def between(self, start_s: float, end_s: float) -> Clip:
        """Part of the clip between two times counted from its own first sample."""
        first = max(0, round(start_s * self.rate_hz))
        last = min(self.samples.size, round(end_s * self.rate_hz))
        return Clip(self.samples[first:last], self.rate_hz, self.start_s + first / self.rate_hz)
