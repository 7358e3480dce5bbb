"""Is the uncertainty of an interval true? Errors over reported uncertainties, on made notes of many kinds.

600 pairs: plain, gliding, of weak fundamental, humming, beating, off the law; 0.3 to 2 s, 20 to 40 dB. Of 600
normal errors with exact uncertainties the spread lies within 0.91 to 1.09 in 998 of 1,000 draws, and more
than 12 beyond 4 sd (2 %) in none of a million: a failure is no chance.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from bench.bench_pitch import made, score, together
from helpers.notes import Pair

COUNT = 100  # pairs of each kind
MOST_SPREAD = 1.25  # asked for; more would be a promise not kept
LEAST_SPREAD = 0.8  # asked for; a reading that doubts itself more than it must helps a tech less
BEYOND = 4.0
MOST_BEYOND = 0.02
MOST_REFUSED = 0.01
KINDS = ("plain", "glide", "weak fundamental", "hum", "beating", "off the law")


def pairs(kind: str) -> Iterator[Pair]:
    if kind == "hum":
        return made(kind, COUNT, hum=0.03)
    if kind == "off the law":
        return made(kind, COUNT, scatter_cents=1.3)
    return made(kind, COUNT)


@pytest.mark.slow
def test_the_uncertainty_of_an_interval_is_true() -> None:
    scores = {kind: score(together, list(pairs(kind))) for kind in KINDS}
    z = np.concatenate([s.normalised for s in scores.values()])
    refused = np.mean([not np.isfinite(e) for s in scores.values() for e in s.errors])
    assert LEAST_SPREAD < np.std(z) < MOST_SPREAD
    assert np.mean(np.abs(z) > BEYOND) <= MOST_BEYOND
    assert refused <= MOST_REFUSED
