"""What the overtones of the open strings say of their bending lengths.

Conventions: f_k = k f0 sqrt(1 + B k^2) with B = pi^2 lambda^2 / L^2 (equation 10 of docs/model.md);
logarithms of lambda in mm. Through a string's build the bending length also tells its stretch.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pitchcheck.instrument import Instrument
from pitchcheck.survey import Survey
from pitchcheck.takes import Take

MODEL_ERROR = 0.06  # [-] of lambda: ends that are not pinned, worn windings; our choice
ROUGHEST = 0.25  # [-] relative uncertainty of one B beyond which it is not used; our choice


@dataclass(frozen=True)
class BendingLength:
    """Logarithm of a bending length in mm, and its standard uncertainty."""

    log_mm: float
    sd: float


def bending_lengths(instrument: Instrument, surveys: Iterable[Survey]) -> dict[int, BendingLength]:
    """Bending length of every string whose open notes tell it.

    Parameters
    ----------
    instrument : Instrument
    surveys : iterable of Survey
        Open takes with ``stiffness``; those without one, or with a rough one, are left out.

    Returns
    -------
    dict from string number to BendingLength
    """
    logs: dict[int, list[tuple[float, float]]] = {}
    for survey in surveys:
        for take in survey.opens:
            if take.position.capo == 0 and _is_sharp(take):
                assert take.inharmonicity is not None
                assert take.inharmonicity_sd is not None
                length = (
                    instrument.string_scale_mm(take.position.string) * math.sqrt(take.inharmonicity) / math.pi
                )
                sd = take.inharmonicity_sd / take.inharmonicity / 2
                logs.setdefault(take.position.string, []).append((math.log(length), sd))
    found = {}
    for number, pairs in logs.items():
        values = np.array([v for v, _ in pairs])
        spread = float(np.median(np.abs(values - np.median(values)))) * 1.48
        sd = max(spread, float(np.median([s for _, s in pairs]))) / math.sqrt(len(pairs))
        found[number] = BendingLength(float(np.median(values)), math.hypot(sd, MODEL_ERROR))
    return found


def _is_sharp(take: Take) -> bool:
    """Whether a take's B is known well enough to be used."""
    b, sd = take.inharmonicity, take.inharmonicity_sd
    return b is not None and sd is not None and b > 0 and sd < ROUGHEST * b
