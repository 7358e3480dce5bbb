"""A neck that gives way under the rod: a beam clamped at the body, in closed form and on the bench."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fe_bench.instruments import Truth, draw
from fe_bench.sounding import Place, Strung
from pitchcheck.physics.stops import Setup, bent_neck_cents

STIFF_N_M2 = 380.0


def setup(scale_mm: float, stretch: float) -> Setup:
    """A string of which only scale and stretch count."""
    one = np.ones(1)
    return Setup(
        scale_mm=scale_mm * one,
        slot_height_mm=0.3 * one,
        nut_offset_mm=0 * one,
        saddle_mm=0 * one,
        action_12_mm=2 * one,
        relief_mm=0 * one,
        fret_height_mm=one,
        fret_error_mm=np.zeros((1, 4)),
        break_rad=0.1 * one,
        stretch_factor=stretch * one,
        bend_mm=one,
    )


def test_the_turn_of_a_beam_makes_the_strings_longer() -> None:
    # F a^2 / (2 EI) at the load of a cantilever (any table of beams), 12 mm above its middle: 20 N midway
    # behind fret 1 of 650 mm, the body from fret 14 on, EI = 400 N m2.
    arm_m = 0.650 * ((1 - 2 ** (-14 / 12)) - (1 - 2 ** (-1 / 12)) / 2)
    longer_mm = 12 * 20 * arm_m**2 / (2 * 400)
    cents = 600 / math.log(2) * 151 * longer_mm / 650
    found = bent_neck_cents(setup(650, 150), np.array([1 / 400]), np.array([20.0]), fret=1)
    assert found == pytest.approx([cents])
    assert bent_neck_cents(setup(650, 150), np.zeros(1), np.array([20.0]), fret=1) == pytest.approx([0.0])


@pytest.mark.parametrize("kind", ["electric", "classical"])
@pytest.mark.parametrize("fret", [1, 2])
def test_the_bench_sharpens_a_press_by_as_much(kind: str, fret: int) -> None:
    """All strings of an instrument with slots at the fret plane, with the dip that the formula leaves out.

    The strings rise farther to the saddle from a neck that dips by F a^3 / (3 EI), an eighth more at most.
    The tolerance is that of a straight line for the logarithm: a press 60 cents sharp is 7 % tighter and
    answers so much less.
    """
    truth = draw(kind, np.random.default_rng(5), slots=lambda _, count: [0.0] * count)
    scale = truth.neck.scale_mm
    bent = replace(truth.neck, bend_n_m2=STIFF_N_M2, body_mm=scale * (1 - 2 ** (-14 / 12)))
    for string in truth.strings:
        held, gave = (_press(replace(truth, neck=neck), string.number, fret) for neck in (truth.neck, bent))
        shared = setup(scale, string.stretch / (1 + string.tails_mm / scale))
        rod = Strung(truth)._rod(string, fret, _steady(truth).hand, np.random.default_rng(1))
        force_n = np.array([rod.force * string.tension_n])
        expected = float(bent_neck_cents(shared, np.array([1 / STIFF_N_M2]), force_n, fret=fret)[0])
        at_mm = scale * (1 - (2 ** (-fret / 12) + 2 ** (-(fret - 1) / 12)) / 2)
        dip_mm = float(force_n[0]) * (bent.body_mm - at_mm) ** 3 / 3 / STIFF_N_M2 / 1e6
        rise_mm = 2 * string.action_mm
        dipped_mm = ((rise_mm + dip_mm) ** 2 - rise_mm**2) / 2 / (scale - at_mm)
        expected += 600 / math.log(2) * (float(shared.stretch_factor[0]) + 1) * dipped_mm / scale
        assert gave - held == pytest.approx(expected, rel=0.08, abs=0.1)


def _steady(truth: Truth) -> Truth:
    hand = replace(truth.hand, rod_sd_mm=0.0, side_sd_mm=0.0, rod_over_sd=0.0, slide_sd=0.0)
    return replace(truth, hand=hand)


def _press(truth: Truth, number: int, fret: int) -> float:
    """A press over the open string, by a hand without scatter. [cent]"""
    own, rng = _steady(truth), np.random.default_rng(1)
    strung, string = Strung(own), own.string(number)
    open_, press = (
        strung.sounding(string, place, own.hand, rng).hz
        for place in (Place(number, "open"), Place(number, "press", fret))
    )
    return 1200 * math.log2(press / open_)
