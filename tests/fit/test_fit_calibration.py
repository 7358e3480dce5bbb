"""The 90 % intervals hold the truth nine times in ten on instruments that share the fit's own assumptions.

So this tests the fit's arithmetic, and test_fit_accuracy its assumptions.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from helpers.instruments import KINDS, random_instrument, same_takes_without_presses
from pitchcheck.course import Thoroughness
from pitchcheck.fit import fit_instrument
from pitchcheck.survey import build_survey

INSTRUMENTS = 50  # of each of five kinds
BELIEF = 0.90
# A coverage is a binomial proportion. The strings of one instrument err together, so n of them count as about
# n / (1 + (n - 1) r) independent ones; three standard errors are exceeded once in 370 by chance.
TOGETHER = 0.35  # [-] of strings of one instrument to be covered together, measured on these instruments
LIMIT_SD = 3.0


def allowed(strings: int, each: int) -> float:
    """How far a true 90 % may seem to be off."""
    count = strings / (1 + (each - 1) * TOGETHER)
    return LIMIT_SD * math.sqrt(BELIEF * (1 - BELIEF) / count)


CASES = [
    pytest.param(kind, press, id=f"{kind}-{name}")
    for kind in KINDS
    for press, name in ((True, "full"), (False, "fretted"))
]


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "press"), CASES)
def test_intervals_hold_the_truth(kind: str, press: bool) -> None:
    held: list[bool] = []
    each = 0
    for seed in range(INSTRUMENTS):
        settings, takes, truth = random_instrument(kind, np.random.default_rng([seed, 7]), Thoroughness.FULL)
        fit = fit_instrument(settings, build_survey(takes if press else same_takes_without_presses(takes)))
        for string in fit.strings:
            true_mm = truth.instrument.string(string.number).slot_height_mm
            held.append(string.height_mm.low <= true_mm <= string.height_mm.high)
        each = len(fit.strings)
    assert np.mean(held) == pytest.approx(BELIEF, abs=allowed(len(held), each))
