"""What is said of a fit: at both sides of every limit, from records put together here."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from pitchcheck.fit import remarks
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.hand import Scatter
from pitchcheck.fit.posterior import _is_shift
from pitchcheck.fit.result import MisfitCause, UnsettledKind
from pitchcheck.takes import Position, Stop


def state(**parts: object) -> SimpleNamespace:
    """A posterior by its parts: two strings pressed, all as it should be."""
    own = SimpleNamespace(names=("fret height",), cases=())
    places = ((0, Position(1, Stop.PRESS, 1)), (0, Position(2, Stop.PRESS, 2)))
    whole = {
        "problem": SimpleNamespace(strings=(1, 2, 3), pressed={1, 2}, places=places, unknowns=own),
        "gauges": (),
        "leaves": (),
        "scatter": Scatter(),
        "press_chi_square": (1.0, 2.0),
        "press_strain": np.array([0.5, -0.6]),
        "press_shift": (0.0, 1.0),
        "solution": SimpleNamespace(weight=np.array([1.0, 1.0]), z=np.array([0.0])),
    }
    given = whole | parts
    shift, sd = given["press_shift"]
    return SimpleNamespace(**given, off_alike=_is_shift(shift, sd))


USUAL_FRETS = Belief.normal(1.0, 0.05)


@pytest.mark.parametrize(
    ("parts", "strings"),
    [
        ({}, None),
        ({"scatter": Scatter(hand=4.8)}, None),
        ({"scatter": Scatter(hand=5.2)}, (1, 2)),
        ({"scatter": Scatter(slide=5.2)}, (1, 2)),
        ({"press_shift": (3.9, 1.0)}, None),
        ({"press_shift": (4.1, 1.0)}, (1, 2)),
        ({"press_shift": (-4.1, 1.0)}, (1, 2)),
        ({"press_shift": (6.2, 2.0)}, (1, 2)),
        ({"press_shift": (5.8, 2.0)}, None),
        # each strain counted up to 3 sd; over four times the freedom
        ({"press_strain": np.array([2.2, 1.9]), "press_chi_square": (0.0, 2.0)}, (1, 2)),
        ({"press_strain": np.array([2.2, 1.7]), "press_chi_square": (0.0, 2.0)}, None),
        ({"press_strain": np.array([9.0, 0.0]), "press_chi_square": (0.0, 2.3)}, None),
        ({"press_strain": np.array([9.0, 0.0]), "press_chi_square": (0.0, 2.2)}, (1, 2)),
        ({"press_strain": np.array([9.0, 9.0]), "scatter": Scatter(hand=1.7)}, None),  # a rough hand
        ({"press_strain": np.array([9.0, 9.0]), "scatter": Scatter(slide=1.5)}, (1, 2)),
        ({"solution": SimpleNamespace(weight=np.array([1.0, 0.28]), z=np.zeros(1))}, (2,)),
        ({"solution": SimpleNamespace(weight=np.array([1.0, 0.32]), z=np.zeros(1))}, None),
    ],
)
def test_presses_are_unsettled(parts: dict[str, object], strings: tuple[int, ...] | None) -> None:
    found = remarks.unsettled(state(**parts), fret_height_mm=USUAL_FRETS)
    assert [(u.kind, u.strings) for u in found] == (
        [] if strings is None else [(UnsettledKind.PRESSES, strings)]
    )


@pytest.mark.parametrize(
    ("mean", "told"), [(0.41, True), (0.43, False), (1.0, False), (1.77, False), (1.79, True)]
)
def test_frets_that_cannot_be_are_said(mean: float, told: bool) -> None:
    # 95 % of the belief outside of 0.5 to 1.7 mm: 1.645 sd.
    found = remarks.unsettled(state(), fret_height_mm=Belief.normal(mean, 0.05))
    assert [u.kind for u in found] == ([UnsettledKind.FRET_HEIGHT] if told else [])
    if told:
        assert found[0].expected_mm == pytest.approx(mean)
        assert found[0].sd_mm == pytest.approx(0.05, rel=1e-3)
        assert found[0].strings == (1, 2, 3)


@pytest.mark.parametrize(
    ("parts", "cause"),
    [
        ({}, None),
        ({"scatter": Scatter(hand=1.95)}, None),
        ({"scatter": Scatter(hand=2.05)}, MisfitCause.UNSTEADY_HAND),
        ({"scatter": Scatter(slide=2.05, hand=1.5)}, MisfitCause.NOT_DOWN),
        ({"scatter": Scatter(slide=2.05, hand=2.0)}, MisfitCause.NOT_DOWN),
        ({"scatter": Scatter(hand=2.05), "press_chi_square": (1.0, 0.9)}, None),
        ({"press_shift": (-4.5, 1.0)}, MisfitCause.NOT_DOWN),
        ({"press_shift": (4.5, 1.0)}, MisfitCause.NECK_BENDS),
        ({"press_strain": np.array([3.0, 3.0])}, MisfitCause.NOT_DOWN),
    ],
)
def test_presses_that_do_not_fit_have_a_likely_cause(
    parts: dict[str, object], cause: MisfitCause | None
) -> None:
    found = remarks.press_misfit(state(**parts))
    assert (found and found.cause) == cause
    if found is not None:
        strain = np.abs(state(**parts).press_strain)
        worst = 1 if strain[1] > strain[0] else 0
        assert found.strings == ((2, 1) if worst else (1, 2))
        assert found.again == (Position(2, Stop.PRESS, 2) if worst else Position(1, Stop.PRESS, 1))
        assert (found.chi_square, found.freedom) == (1.0, 2.0)


@pytest.mark.parametrize(
    ("height", "cause"),
    [
        (0.08, MisfitCause.NOT_DOWN),
        (0.12, MisfitCause.UNEVEN),
        (0.45, MisfitCause.UNEVEN),
        (0.55, MisfitCause.NECK_BENDS),
    ],
)
def test_the_side_to_which_presses_miss_tells_the_cause(height: float, cause: MisfitCause) -> None:
    told = state(
        scatter=Scatter(slide=3.0), solution=SimpleNamespace(weight=np.ones(2), z=np.array([height]))
    )
    found = remarks.press_misfit(told)
    assert found is not None
    assert found.cause is cause
