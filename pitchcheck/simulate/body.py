"""The body of an imaginary instrument: resonances that pull partials a little off the stiff-string law.

Conventions: a pull is in cents of the partial's own frequency. The body belongs to the instrument, so the
same note is pulled alike every time it is played.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.types import FloatArray

MODES = 14  # chosen here: about as many as stand out of a guitar's response below 2.5 kHz
MODE_RANGE_HZ = (90.0, 2500.0)
MODE_QUALITY = (15.0, 40.0)


@dataclass(frozen=True)
class Mode:
    """One resonance: where it lies, how sharp it is, and the most it pulls a partial. [Hz, -, cent]"""

    hz: float
    quality: float
    pull_cents: float


@dataclass(frozen=True)
class Body:
    """All resonances of one body; none at all is a rigid one."""

    modes: tuple[Mode, ...] = ()

    def pull_cents(self, hz: FloatArray) -> FloatArray:
        """Shift of a partial at each frequency. [cent]

        The reactive part of a resonance, x / (1 + x^2): a partial is pushed away from a resonance beside it,
        most at half a bandwidth's distance, not at all on top of it.
        """
        total = np.zeros_like(hz)
        for mode in self.modes:
            x = 2 * mode.quality * (hz - mode.hz) / mode.hz
            total += mode.pull_cents * 2 * x / (1 + x**2)
        return total


def random_body(rng: np.random.Generator, *, pull_cents: float) -> Body:
    """Draw a body whose resonances pull by at most about ``pull_cents`` each.

    Parameters
    ----------
    rng : numpy Generator
    pull_cents : float >= 0
        Size of the strongest pulls; 1 to 2 for a lively acoustic body, 0.3 for a solid one (chosen here; real
        recorded notes lie a median of 1.3 cents rms off the law). [cent]
    """
    low, high = np.log(MODE_RANGE_HZ)
    hz = np.exp(np.sort(rng.uniform(low, high, MODES)))
    quality = rng.uniform(*MODE_QUALITY, MODES)
    pull = pull_cents * rng.uniform(0.2, 1.0, MODES)
    return Body(tuple(Mode(float(f), float(q), float(c)) for f, q, c in zip(hz, quality, pull, strict=True)))
