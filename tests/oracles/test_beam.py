"""The finite-element string must itself be right before it may judge the package."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from oracles.beam import Neck, extra_path_mm, partials, shape
from pitchcheck.tuning import fret_place

EXACT = 2e-4  # relative: 0.5 mm cubic elements; halving them moves the figures by less than this
THIN_MM = 0.01  # sqrt(EI/T) of a string with next to no stiffness, for polyline geometry
THIN = 4e-3  # relative: such a kink is narrower than an element, which costs 0.3 % of path
WORDS = 0.012  # the docs give whole per cents

PLAIN = Neck(scale_mm=648.0, slot_mm=0.3, saddle_mm=2.9, fret_mm=1.1)


@pytest.mark.parametrize("stiffness_mm", [0.8, 2.5, 8.0])
def test_a_string_lifted_in_the_middle_has_the_exact_shape(stiffness_mm: float) -> None:
    # T y' - EI y''' constant, pinned at both ends, no slope in the middle: closed form.
    half, lift = 60.0, 1.5
    bare = Neck(2 * half, 0.0, 0.0, 5.0, frets=0, tail_mm=0.0, saddle_tail_mm=0.0)
    t = np.tanh(half / stiffness_mm)
    slope = lift / (half - stiffness_mm * t)
    path = slope**2 * (half - 1.5 * stiffness_mm * t + half / (2 * np.cosh(half / stiffness_mm) ** 2))
    found = extra_path_mm(bare, stiffness_mm=stiffness_mm, held=((half, lift),))
    assert found == pytest.approx(path, rel=EXACT)


@pytest.mark.parametrize("stiffness_mm", [0.5, 2.5, 6.0])
def test_its_vibration_follows_fletchers_stiff_string(stiffness_mm: float) -> None:
    # H. Fletcher (1964), J. Acoust. Soc. Am. 36, 203: f_k = k f0 sqrt(1 + B k^2), B = pi^3 E d^4 / (64 T L^2)
    # for pinned ends; with EI = E pi d^4 / 64 that is B = pi^2 EI / (T L^2).
    length, k = 648.0, np.arange(1, 21)
    stiffness = np.pi**2 * stiffness_mm**2 / length**2
    law = k * np.sqrt(1 + stiffness * k**2)
    np.testing.assert_allclose(partials(length, stiffness_mm=stiffness_mm, count=20), law, rtol=1e-6)


@pytest.mark.parametrize("press", [1, 2])
def test_without_stiffness_a_press_is_a_polyline(press: int) -> None:
    n = PLAIN
    rod = (fret_place(n.scale_mm, press - 1) + fret_place(n.scale_mm, press)) / 2
    corners = [(0.0, n.slot_mm), (rod, -n.fret_mm), (n.fret_place(press), 0.0), (n.scale_mm, n.saddle_mm)]
    if press == 2:
        corners.insert(1, (n.fret_place(1), 0.0))
    path = sum(np.hypot(c - a, d - b) for (a, b), (c, d) in pairwise(corners))
    extra = path - np.hypot(n.scale_mm, n.saddle_mm - n.slot_mm)
    found = extra_path_mm(n, stiffness_mm=THIN_MM, held=((rod, -n.fret_mm),))
    assert found == pytest.approx(extra, rel=THIN)


@pytest.mark.parametrize(
    ("nut_break_rad", "press_1", "press_2"), [(0.0, 1.09, 1.09), (0.1, 1.14, 1.10), (0.25, 1.22, 1.12)]
)
def test_what_stiffness_adds_to_a_low_e_as_the_docs_state(
    nut_break_rad: float, press_1: float, press_2: float
) -> None:
    # docs/model.md: stiffness length 2.5 mm, near a good slot. Our own figures, so a change detector.
    neck = replace(PLAIN, nut_break_rad=nut_break_rad)
    for press, stated in ((1, press_1), (2, press_2)):
        rod = (neck.fret_place(press - 1) + neck.fret_place(press)) / 2
        held = ((rod, -neck.fret_mm),)
        stiff = extra_path_mm(neck, stiffness_mm=2.5, held=held)
        limp = extra_path_mm(PLAIN, stiffness_mm=THIN_MM, held=held, element_mm=0.25)
        assert stiff / limp == pytest.approx(stated, abs=WORDS)


@pytest.mark.parametrize("stiffness_mm", [0.8, 2.5])
def test_halving_the_elements_changes_nothing_that_matters(stiffness_mm: float) -> None:
    neck = replace(PLAIN, nut_break_rad=0.15, saddle_break_rad=0.2)
    held = ((neck.fret_place(1) / 2, -neck.fret_mm),)
    coarse, fine = (
        extra_path_mm(neck, stiffness_mm=stiffness_mm, held=held, element_mm=e) for e in (0.5, 0.25)
    )
    assert coarse == pytest.approx(fine, rel=2 * EXACT)


def test_contacts_only_push_and_nothing_sinks_in() -> None:
    finger = (PLAIN.fret_place(3) - 10.0, -0.5)
    rest = shape(PLAIN, stiffness_mm=1.0, held=(finger,))
    assert rest.on_frets == (2, 3)
    for fret in range(1, PLAIN.frets + 1):
        y = np.interp(PLAIN.fret_place(fret), rest.x_mm, rest.y_mm)
        assert y > -1e-6


def test_a_high_slot_lifts_the_string_off_the_fret_behind() -> None:
    high = replace(PLAIN, slot_mm=1.2)
    rest = shape(high, stiffness_mm=0.8, held=((high.fret_place(2) - 12.0, -0.2),))
    assert rest.on_frets == (2,)
