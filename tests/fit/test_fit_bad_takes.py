"""A bad take is set aside where the others tell, and where they cannot, both readings stay believable."""

from __future__ import annotations

import numpy as np
import pytest

from helpers.planted import SIX, heard, job_of, shifted, truth_of, usual_fit, usual_takes
from pitchcheck.course import Thoroughness
from pitchcheck.fit import Fit, fit_instrument
from pitchcheck.survey import build_survey
from pitchcheck.takes import Position, Stop, Take

JOB = job_of()
TRUTH = truth_of(JOB, SIX)
BARELY_MM = (
    0.04  # half of what one of these slots is known to; a bad take believed moves it by 0.3 mm and more
)


def row_of(takes: tuple[Take, ...], string: int, fret: int, *, which: int = 0) -> int:
    """Row of one of the presses at a place."""
    return [t.row for t in takes if t.position == Position(string, Stop.PRESS, fret)][which]


def fitted(takes: tuple[Take, ...]) -> Fit:
    return fit_instrument(JOB, build_survey(takes))


def heights(fit: Fit) -> np.ndarray:
    return np.array([s.height_mm.median for s in fit.strings])


@pytest.mark.parametrize("which", [0, 1])
def test_a_press_too_sharp_for_any_slot_is_set_aside(which: int) -> None:
    """15 cents on a plain first string would be a millimetre, which fretted notes forbid."""
    row = row_of(usual_takes(), 1, 1, which=which)
    fit = fitted(shifted(usual_takes(), row, 15.0))
    assert heights(fit) == pytest.approx(heights(usual_fit()), abs=BARELY_MM)
    weights = {r.row: r.weight for r in fit.residuals}
    assert weights[row] < 0.1
    assert weights[row_of(usual_takes(), 1, 1, which=1 - which)] > 0.9


def test_one_bad_press_of_four_barely_moves_the_height() -> None:
    takes = heard(TRUTH, protocol=Thoroughness.THOROUGH)
    good = fitted(takes)
    for string in (4, 6):
        fit = fitted(shifted(takes, row_of(takes, string, 1, which=2), -15.0))
        assert heights(fit) == pytest.approx(heights(good), abs=BARELY_MM)


@pytest.mark.parametrize(("string", "off_cents"), [(4, -15.0), (1, 5.0), (6, -15.0)])
def test_of_two_presses_that_contradict_one_another_neither_is_believed_alone(
    string: int, off_cents: float
) -> None:
    """Each would give a slot that slots can have, so the interval must hold both."""
    fit = fitted(shifted(usual_takes(), row_of(usual_takes(), string, 1), off_cents))
    belief, before = fit.strings[string - 1].height_mm, usual_fit().strings[string - 1].height_mm
    assert belief.low <= SIX[string - 1] <= belief.high
    assert belief.high - belief.low > 1.1 * (before.high - before.low)
    others = [i for i in range(6) if i != string - 1]
    assert heights(fit)[others] == pytest.approx(heights(usual_fit())[others], abs=BARELY_MM)
