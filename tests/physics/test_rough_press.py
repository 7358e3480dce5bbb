"""A press by straight lines: two triangles to the board and back, written out."""

from __future__ import annotations

import math

import numpy as np
import pytest

from helpers.planted import job_of
from pitchcheck.fit import cases, priors
from pitchcheck.fit.cases import CaseKind
from pitchcheck.fit.unknowns import CaseRequest, build_unknowns
from pitchcheck.physics.stops import _rough_strain, press_force, rough_press_cents
from pitchcheck.takes import Stop

SCALE = 650.0


def space(fret: int) -> float:
    return SCALE * (2 ** (-(fret - 1) / 12) - 2 ** (-fret / 12))


@pytest.mark.parametrize("fret", [1, 2, 5])
def test_a_press_stretches_two_legs_down_to_the_board_and_up_again(fret: int) -> None:
    # A leg over half a space that falls by h is longer by h^2 / 2 / (half a space); behind fret 1 the string
    # comes from the slot, else it drapes over fret 1 first.
    slot, depth, stretch = 0.5, 1.1, 150.0
    half = space(fret) / 2
    down = slot + depth if fret == 1 else depth
    longer = (down**2 + depth**2) / (2 * half)
    if fret > 1:
        longer += slot**2 / (2 * SCALE * (1 - 2 ** (-1 / 12)))
    cents = 1200 / math.log(2) / 2 * (stretch + 1) * longer / SCALE
    found = rough_press_cents(stretch, scale_mm=SCALE, slot_mm=slot, fret_mm=depth, fret=fret)
    assert found == pytest.approx(cents)


@pytest.mark.parametrize("fret", [1, 3])
def test_its_strain_and_force_are_those_of_the_legs(fret: int) -> None:
    instrument = job_of("electric").instrument
    kind = CaseKind(Stop.PRESS, fret, 0)
    u = build_unknowns(instrument, [CaseRequest(kind, 1)]).centre
    setup = cases._setup(np.array([SCALE]), u)
    slot, depth = float(setup.slot_height_mm[0]), float(setup.fret_height_mm[0])
    down = slot + depth if fret == 1 else depth
    strain = (down**2 + depth**2) / space(fret) / SCALE
    assert _rough_strain(setup, Stop.PRESS, fret)[0] == pytest.approx(strain)
    assert _rough_strain(setup, Stop.FRET, fret)[0] == 0.0
    # of the tension each leg pulls up by its slope
    assert press_force(setup, fret=fret, capo=0)[0] == pytest.approx((down + depth) / (space(fret) / 2))
    assert press_force(setup, fret=fret, capo=fret)[0] == pytest.approx(2 * depth / (space(fret) / 2))


def test_springs_give_way_by_four_to_twelve_percent() -> None:
    # The range that simulation gave, its middle taken as the mean (docs: what is believed beforehand).
    less = -priors.FLOATING_STRETCH_SHIFT
    assert less == pytest.approx((0.04 + 0.12) / 2)
