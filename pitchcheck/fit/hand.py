"""What a hand adds from take to take, and how many times that of a careful hand it is.

Conventions: variances in cent^2, one a case; factors multiply standard deviations.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.fit import priors
from pitchcheck.fit.cases import Case, Coordinate, Slopes
from pitchcheck.takes import Stop
from pitchcheck.types import FloatArray


@dataclass(frozen=True)
class Scatter:
    """Overdispersion: how many times wider than believed of a careful hand and of the model.

    Attributes
    ----------
    hand : float >= 1
        Place of the rod and push sideways, from press to press; the mean push with them.
    slide : float >= 1
        Whatever else differs from press to press: friction, how far down.
    fret : float >= 1
        Touch of fretted notes.
    place : float >= 1
        What single places have of their own.
    hand_unsure : float >= 0
        Standard deviation of the square of ``hand`` that the takes leave open: few repeats tell little of it.
    neck, neck_unsure : float >= 0
        Mean and standard deviation of how far the neck bends under the rod, over what is believed of one that
        is held (``neck_bends`` of the priors).
    """

    hand: float = 1.0
    slide: float = 1.0
    fret: float = 1.0
    place: float = 1.0
    hand_unsure: float = 0.0
    neck: float = 0.0
    neck_unsure: float = 1.0

    @property
    def hand_4(self) -> float:
        """Mean of the fourth power of the hand's factor."""
        return self.hand**4 + self.hand_unsure**2


CAREFUL = Scatter()


@dataclass(frozen=True)
class HandParts:
    """Variance that a careful hand adds to each case, part by part, shape (c,). [cent^2]"""

    rod: FloatArray
    side: FloatArray
    slide: FloatArray
    touch: FloatArray
    model: FloatArray

    def total(self, scatter: Scatter) -> FloatArray:
        """Variance of a hand of some scatter."""
        return np.asarray(
            self.model
            + scatter.hand**2 * self.rod
            + scatter.hand_4 * self.side
            + scatter.slide**2 * self.slide
            + scatter.fret**2 * self.touch
        )


def hand_parts(cases: Sequence[Case], about: Slopes) -> HandParts:
    """Variance that hand and model add to each case: rod place, friction, touch, what the model leaves out.

    Touch is noise and no unknown of its own: the most likely touches of single notes would pull the shared
    unknowns to where notes answer the finger most (docs/decisions/0005).
    """
    press = np.array([c.kind.stop is Stop.PRESS for c in cases])
    note = np.array([c.kind.stop is not None for c in cases])
    slope = about.slope

    def pressed(at: Coordinate, size: float) -> FloatArray:
        return np.where(press, (slope[:, at] * size) ** 2, 0.0)

    return HandParts(
        rod=pressed(Coordinate.ROD_PLACE, priors.ROD_PLACE_MM),
        side=pressed(Coordinate.SIDE, priors.SIDE_SCATTER_MM2),
        slide=pressed(Coordinate.LOG_STRETCH_FACTOR, priors.PRESS_SCATTER),
        touch=about.touch_variance,
        model=np.where(note, priors.MODEL_CENTS**2, 0.0),
    )
