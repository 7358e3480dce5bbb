"""The package's forward model against the published compensation model and the guitar its authors measured.

Source: M. B. Anderson, R. G. Beausoleil (2024), J. Acoust. Soc. Am. 156(1), 683, by way of
published_compensation.py. Their finger kinks the string a distance d behind the fret without pressing it
below the line of the sounding part; here that is the force with which the string just lies on the fret.
Theirs ignores the fret behind; the shared ground is where their string clears it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from oracles.published_compensation import MEASURED_CENTS, MEASURED_STRINGS, PROTOTYPE, error_parts
from oracles.published_compensation import Setup as Published
from pitchcheck.physics.stops import END_SHORTENING, Setup, Touch, stop_cents
from pitchcheck.takes import Stop
from pitchcheck.tuning import fret_place

SHARED_CENTS = 0.005  # what a bending length of 0.002 mm leaves of the end conditions at fret 12
LIMP_MM = 0.002
POINT_MM = 0.02
FAR_UNDER_MM = 50.0  # a board that no finger reaches
READING_CENTS = 0.25  # steps in which the measured ranges are printed


def ours(p: Published, fret: int, *, bend_mm: float) -> float:
    """The package's error of a fretted note for the paper's setup. [cent]"""
    drop = p.nut_height + p.saddle_rise
    place = fret_place(p.scale, fret)
    sounding = p.scale - place + p.saddle_setback
    kink = place - p.finger
    depth = drop * p.finger / sounding
    force = (p.nut_height + depth) / (kink + p.nut_setback) + drop / sounding

    def one(value: float) -> np.ndarray:
        return np.array([value])

    return float(
        stop_cents(
            Setup(
                scale_mm=one(p.scale),
                slot_height_mm=one(p.nut_height),
                nut_offset_mm=one(p.nut_setback),
                saddle_mm=one(p.saddle_setback),
                action_12_mm=one((p.nut_height + drop) / 2),
                relief_mm=one(0.0),
                fret_height_mm=one(FAR_UNDER_MM),
                fret_error_mm=np.zeros((1, 4)),
                break_rad=one(0.0),
                stretch_factor=one(p.stretch),
                bend_mm=one(bend_mm),
            ),
            Touch(one(force), one(p.finger), one(POINT_MM), one(0.5), one(0.0)),
            stop=Stop.FRET,
            fret=fret,
        )[0]
    )


def clears_the_fret_behind(p: Published, fret: int) -> bool:
    """Whether the paper's straight string from nut to kink passes above the fret before the sounding one."""
    if fret == 1:
        return True
    place = fret_place(p.scale, fret)
    depth = (p.nut_height + p.saddle_rise) * p.finger / (p.scale - place + p.saddle_setback)
    run = place - p.finger + p.nut_setback
    back = place - p.finger - fret_place(p.scale, fret - 1)
    return back * (p.nut_height + depth) / run > depth


SETUPS = [
    replace(PROTOTYPE, finger=10.0),
    replace(PROTOTYPE, finger=10.0, saddle_setback=1.5, nut_setback=-0.5),
    Published(648.0, 0.4, 2.4, 144.0, 0.0, finger=10.0, saddle_setback=1.0),
    Published(648.0, 0.8, 2.4, 400.0, 0.0, finger=10.0),
]
SHARED = [(s, n) for s in SETUPS for n in range(1, 13) if clears_the_fret_behind(s, n)]


def test_there_is_shared_ground() -> None:
    assert {fret for _, fret in SHARED} >= {1, 2, 3}
    assert len(SHARED) >= 12


@pytest.mark.parametrize(("setup", "fret"), SHARED)
def test_a_limp_string_gives_the_published_cents(setup: Published, fret: int) -> None:
    parts = error_parts(setup)
    published = (parts.length + parts.mass + parts.tension)[fret - 1]
    assert ours(setup, fret, bend_mm=LIMP_MM) == pytest.approx(published, abs=SHARED_CENTS)


@pytest.mark.parametrize("name", MEASURED_STRINGS)
def test_the_measured_guitar_lies_in_the_measured_ranges(name: str) -> None:
    stretch_factor, stiffness = MEASURED_STRINGS[name]
    guitar = Published(652.0, 1.4, 5.5, stretch_factor, stiffness, finger=10.0, saddle_setback=-3.5)
    # The paper's B0 is the bending length over the string's length.
    for fret, (low, high) in zip((1, 12), MEASURED_CENTS[name], strict=True):
        found = ours(guitar, fret, bend_mm=stiffness * guitar.scale)
        assert low - READING_CENTS <= found <= high + READING_CENTS


def test_end_conditions_lie_between_the_papers_two() -> None:
    # Pinned at the saddle, clamped at the fret: 1 + B. Clamped at both ends: 1 + 2 B, which the paper finds
    # 30 to 45 % too high on the measured guitar.
    assert 1.0 <= END_SHORTENING < 2.0
