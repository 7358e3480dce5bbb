"""The bench's finite elements against the other finite elements, exact limits and published laws."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.optimize import brentq

from fe_bench.instruments import Hand, draw
from fe_bench.kinds import KINDS
from fe_bench.player import Place, Player, still
from fe_bench.rod import Rod, Sag
from fe_bench.string_fe import Lie, Support, element, end_turn, rest, sounding_length
from oracles.beam import BEND, MASS, STRETCH, Neck, _assemble, shape

PATH = 2e-4  # relative: what 0.5 mm cubic elements leave (oracles/test_beam.py); these are half as long
FINE_MM = 0.25
ROD = 4e-3  # relative: the cubic mesh puts a load on its nearest node, up to 0.1 mm away


def test_an_element_holds_the_beam_without_tension_and_the_string_without_bending() -> None:
    # Textbook beam: 12 EI / l3, 6 EI / l2, 4 EI / l, 2 EI / l. A string: T / l and no couples.
    beam = element(np.array([3.0]), 1e-4 + 0j, 2.0)[0].real
    turn = np.array([1, 3.0, 1, 3.0])
    np.testing.assert_allclose(beam, 2.0 / 27 * BEND * turn * turn[:, None], rtol=1e-3)
    string = element(np.array([50.0]), 1.0 + 0j, 1e-6)[0].real
    np.testing.assert_allclose(string[np.ix_([0, 2], [0, 2])], np.array([[1, -1], [-1, 1]]) / 50, rtol=1e-3)
    assert np.abs(string[1:4:2]).max() < 2e-3


@pytest.mark.parametrize("bend_mm", [0.7, 2.5, 5.0])
def test_an_element_is_exact_however_long(bend_mm: float) -> None:
    ends = ((0.0, 0.3), (648.0, 2.0))
    one = rest(Lie((*ends, (18.0, -1.0))), bend_mm=bend_mm)
    many = rest(
        Lie((*ends, (18.0, -1.0)), tuple(Support(float(x), -9.0) for x in range(1, 60))), bend_mm=bend_mm
    )
    assert many.bowed_mm.sum() == pytest.approx(one.bowed_mm.sum(), rel=1e-9)
    assert many.path_mm() == pytest.approx(
        one.path_mm(), rel=2e-4
    )  # a chord's exact length differs with the piece


@pytest.mark.parametrize("bend_mm", [0.8, 2.5, 5.0])
@pytest.mark.parametrize("break_rad", [0.0, 0.2])
@pytest.mark.parametrize(("slot_mm", "press"), [(0.3, 1), (0.3, 2), (1.1, 1), (1.1, 2), (0.1, 4)])
def test_the_path_of_a_press_is_that_of_the_other_finite_elements(
    bend_mm: float, break_rad: float, slot_mm: float, press: int
) -> None:
    tops = (0.03, -0.02, 0.01, 0.0)
    neck = Neck(
        648.0, slot_mm, 2.6, 1.1, tail_mm=40.0, nut_break_rad=break_rad, fret_tops_mm=tops, board=False
    )
    rod = (neck.fret_place(press - 1) + neck.fret_place(press)) / 2
    cubic = shape(neck, stiffness_mm=bend_mm, held=((rod, -1.1),), element_mm=FINE_MM)
    cubic_open = shape(neck, stiffness_mm=bend_mm, element_mm=FINE_MM)
    line = (2.6 - slot_mm) / 648.0
    ends = (
        (-40.0, slot_mm - (line + break_rad) * 40),
        (0.0, slot_mm),
        (648.0, 2.6),
        (668.0, 2.6 + line * 20),
    )
    frets = tuple(Support(neck.fret_place(n), neck.fret_top(n), name=str(n)) for n in range(1, 9))
    ours = rest(Lie((*ends, (rod, -1.1)), frets), bend_mm=bend_mm)
    ours_open = rest(Lie(ends, frets), bend_mm=bend_mm)
    assert tuple(int(n) for n in ours.push) == cubic.on_frets
    found = float(
        ours.bowed_mm.sum() - ours_open.bowed_mm.sum()
    )  # both: half the integral of the slope squared
    assert found == pytest.approx(cubic.path_extra_mm - cubic_open.path_extra_mm, rel=PATH)
    for fret in (1, 2, 3):
        y = np.interp(neck.fret_place(fret), cubic.x_mm, cubic.y_mm)
        assert ours.height(neck.fret_place(fret)) == pytest.approx(y, abs=2e-4)


def test_a_load_brings_the_string_down_as_far_in_both() -> None:
    neck = Neck(648.0, 0.4, 2.6, 5.0, tail_mm=40.0, nut_break_rad=0.1, board=False)
    node = neck.fret_place(2) - 10.0
    cubic = shape(neck, stiffness_mm=1.5, held=(), loads=((node, 0.05),), element_mm=FINE_MM)
    at = float(cubic.x_mm[np.argmin(np.abs(cubic.x_mm - node))])
    line = 2.2 / 648.0
    ends = ((-40.0, 0.4 - (line + 0.1) * 40), (0.0, 0.4), (648.0, 2.6), (668.0, 2.6 + line * 20))
    frets = tuple(Support(neck.fret_place(n), 0.0, name=str(n)) for n in range(1, 9))
    ours = rest(Lie(ends, frets, ((at, 0.05),)), bend_mm=1.5)
    assert ours.height(at) == pytest.approx(float(np.interp(at, cubic.x_mm, cubic.y_mm)), abs=2e-4)
    # held there instead, it pulls with that force
    held = rest(Lie((*ends, (at, ours.height(at))), frets), bend_mm=1.5)
    assert held.pull[at] == pytest.approx(0.05, rel=1e-9)


@pytest.mark.parametrize("bend_mm", [0.8, 2.5, 4.5])
@pytest.mark.parametrize(("behind_mm", "clamped"), [(17.0, True), (120.0, False)])
def test_a_stopped_string_sounds_as_a_vibrating_beam_over_its_supports(
    bend_mm: float, behind_mm: float, clamped: bool
) -> None:
    # Eigenvalues of the whole string, part behind the fret and tail included, by cubic elements.
    length, tail = 610.0, 15.0
    mesh = np.concatenate(
        [
            np.linspace(-behind_mm, -5, 40)[:-1],
            np.linspace(-5, 15, 81)[:-1],
            np.linspace(15, length - 15, 150)[:-1],
            np.linspace(length - 15, length + tail, 121),
        ]
    )
    energy = _assemble(mesh, STRETCH, -1) + bend_mm**2 * _assemble(mesh, BEND, -3)
    mass = _assemble(mesh, MASS, 1)
    fixed = [2 * int(np.argmin(np.abs(mesh - x))) for x in (-behind_mm, 0.0, length, length + tail)]
    if clamped:
        fixed.append(1)
    free = np.setdiff1d(np.arange(2 * mesh.size), fixed)
    first = eigh(
        energy.toarray()[np.ix_(free, free)],
        mass.toarray()[np.ix_(free, free)],
        eigvals_only=True,
        subset_by_index=(0, 0),
    )
    k = float(np.sqrt(first[0]))
    turns = (
        end_turn(behind_mm, bend_mm=bend_mm, clamped=clamped),
        end_turn(tail, bend_mm=bend_mm, clamped=False),
    )
    law, partial = sounding_length(length, turns, bend_mm=bend_mm)
    assert partial == pytest.approx(
        np.pi / k, rel=1.2e-5
    )  # 0.02 cent: the inertia beyond the ends is left out
    # both ends free to turn: no shortening; Anderson and Beausoleil 2024: one clamped, one lambda
    assert sounding_length(length, (0.0, 0.0), bend_mm=bend_mm)[0] == pytest.approx(length)
    assert law < length - 0.8 * bend_mm


def test_a_fretted_note_of_a_string_without_bending_follows_the_polyline() -> None:
    # cents = 600 log2 (1 + kappa q) + 600 log2 (1 + q) + 1200 log2 (l0 / l): docs of the published models.
    rng = np.random.default_rng(1)
    truth = draw("electric", rng)
    hand = replace(still(truth.hand), finger_n=3.0)
    s = replace(truth.strings[0], bend_mm=0.02, slot_mm=0.5, tails_mm=0.0, nut_mm=0.0)
    neck = replace(truth.neck, relief_mm=0.0, fret_places_mm=(), board_give=1e-9)
    s = replace(s, fret_tops_mm=(0.0,) * 15)
    player = Player(replace(truth, neck=neck, strings=(s,), hand=hand), rng)
    sound = player.strung.sounding(s, Place(1, "press", 1), hand, rng)
    (_, nut), saddle = player.strung.ends(s)[1], player.strung.ends(s)[2]
    x1, half = neck.place(1), hand.rod_half_mm
    corners = [(0.0, nut), (x1 / 2 - half, -neck.fret_mm), (x1 / 2 + half, -neck.fret_mm), (x1, 0.0), saddle]
    path = sum(np.hypot(c - a, d - b) for (a, b), (c, d) in pairwise(corners))
    whole = np.hypot(saddle[0], saddle[1] - nut)
    q = (path - whole) / whole
    ratio = whole / np.hypot(saddle[0] - x1, saddle[1]) * np.sqrt((1 + s.stretch * q) * (1 + q))
    bare = player.exact_hz(Place(1, "open"))
    assert 1200 * np.log2(sound.hz / bare / ratio) == pytest.approx(
        0.0, abs=0.1
    )  # 0.02 mm of bending is left


def test_the_gap_is_that_of_straight_lines() -> None:
    # docs/model.md, gauge geometry: held behind fret 3 on a nearly limp string the gap is 0.4856 h.
    rng = np.random.default_rng(2)
    truth = draw("electric", rng)
    strings = tuple(replace(s, bend_mm=0.05, fret_tops_mm=(0.0,) * 15, nut_mm=0.0) for s in truth.strings)
    neck = replace(truth.neck, relief_mm=0.0, fret_places_mm=())
    player = Player(replace(truth, neck=neck, strings=strings), rng)
    for s in strings:
        if 0.05 < s.slot_mm < 0.6:
            assert player.gap_mm(s.number, held=3) == pytest.approx(0.4856 * s.slot_mm, rel=0.02)


@pytest.mark.parametrize("kind", list(KINDS))
def test_a_leaf_tells_on_which_side_the_gap_is(kind: str) -> None:
    player = Player(draw(kind, np.random.default_rng(4)), np.random.default_rng(5))
    for s in player.truth.strings[:3]:
        gap, bare = player.gap_mm(s.number), player.exact_hz(Place(s.number, "open"))
        free = player.exact_hz(Place(s.number, "leaf", 1, 0, gap - 0.03))
        lifted = player.exact_hz(Place(s.number, "leaf", 1, 0, gap + 0.03))
        assert free == bare
        assert 95 < 1200 * np.log2(lifted / bare) < 112


def test_filing_lowers_the_slot_and_the_press_by_what_the_slope_says() -> None:
    truth = draw("electric", np.random.default_rng(6), hand=still(Hand()), slots=lambda rng, n: [0.8] * n)
    player = Player(truth, np.random.default_rng(7))
    before = player.exact_hz(Place(1, "press", 1)) / player.exact_hz(Place(1, "open"))
    player.file(1, 0.2)
    after = player.exact_hz(Place(1, "press", 1)) / player.exact_hz(Place(1, "open"))
    assert player.slot_mm(1) == pytest.approx(0.6)
    slope = 1200 * np.log2(before / after) / 0.2
    assert 10 < slope < 30  # method, section 4: 14 cents/mm near a good slot, more on a higher one


def test_a_press_that_is_not_down_is_flat_of_one_that_is() -> None:
    truth = draw("electric", np.random.default_rng(8))
    calm = still(truth.hand)
    down = Player(replace(truth, hand=replace(calm, rod_over_n=5.0)), np.random.default_rng(1))
    light = Player(replace(truth, hand=replace(calm, rod_down=0.7)), np.random.default_rng(1))
    harder = Player(replace(truth, hand=replace(calm, rod_over_n=25.0)), np.random.default_rng(1))
    for string in range(1, 7):
        at = Place(string, "press", 1)
        rise = 1200 * np.log2(down.exact_hz(at) / light.exact_hz(at))
        assert rise > 1.5  # the warning sign of the method: clearly harder, and it rises
        assert 0 < 1200 * np.log2(harder.exact_hz(at) / down.exact_hz(at)) < 2.5  # method, section 4


def test_a_bending_neck_lengthens_the_string_less_where_it_is_held() -> None:
    # Beam formula, clamped at the body: end deflection P l^3 / 3 EI, turn P l^2 / 2 EI.
    free = Sag(at=0.0, force=20.0, support=0.0, body=350.0, stiffness=3e8)
    assert free(0.0) == pytest.approx(20 * 350**3 / 3 / 3e8)
    assert free.turn() == pytest.approx(20 * 350**2 / 2 / 3e8)
    held = Sag(at=18.0, force=20.0, support=50.0, body=350.0, stiffness=3e8)
    assert held(50.0) == pytest.approx(0.0, abs=1e-12)
    assert abs(held.turn()) < 0.1 * free.turn()


def test_the_same_seed_plays_the_same_notes_and_another_does_not() -> None:
    def notes(seed: int) -> list[float]:
        player = Player(draw("bass", np.random.default_rng(1)), np.random.default_rng(seed))
        return [player.play(Place(1, "press", n)) for n in (1, 2)]

    assert notes(1) == notes(1)
    assert notes(1) != notes(2)


def test_capo_and_open_under_it_are_a_semitone_apart_per_fret() -> None:
    player = Player(draw("acoustic", np.random.default_rng(9), hand=still(Hand())), np.random.default_rng(1))
    for string in (1, 6):
        bare = player.exact_hz(Place(string, "open", None, 1))
        cents = 1200 * np.log2(player.exact_hz(Place(string, "fret", 3, 1)) / bare) - 200
        assert -3 < cents < 15
        assert 90 < 1200 * np.log2(bare / player.exact_hz(Place(string, "open"))) < 125


def test_the_secular_equation_is_solved() -> None:
    # The same condition written out for two clamped ends, its root by bisection.
    bend, length = 2.0, 300.0

    def gap(k: float) -> float:
        q = np.sqrt(k * k + 1 / bend**2)
        return float(k * length - np.pi - 2 * np.arctan(k / q))  # clamped: y' = 0, so tan(phase) = k / q

    k = brentq(gap, 0.5 * np.pi / length, 2 * np.pi / length)
    found, _ = sounding_length(length, (1e12, 1e12), bend_mm=bend)
    assert found == pytest.approx(np.pi / k, rel=1e-9)


@pytest.mark.parametrize(("slot_mm", "bend_mm"), [(0.3, 0.8), (0.3, 2.5), (1.0, 1.8)])
def test_a_rod_on_the_board_leaves_the_string_where_the_other_finite_elements_do(
    slot_mm: float, bend_mm: float
) -> None:
    # The same two loads, on a board that is everywhere there and on one that is there beside the rod only.
    neck = Neck(648.0, slot_mm, 2.6, 1.1, tail_mm=40.0, nut_break_rad=0.1)
    line = (2.6 - slot_mm) / 648.0
    ends = (
        (-40.0, slot_mm - (line + 0.1) * 40),
        (0.0, slot_mm),
        (648.0, 2.6),
        (668.0, 2.6 + line * 20),
    )
    frets = tuple(Support(neck.fret_place(n), 0.0, name=f"fret {n}") for n in range(1, 6))
    rod = Rod(17.0, 18.6, -1.1, 1e-9, 0.30, 0.0)
    pressed = rod.press(Lie(ends, frets + rod.under(bend_mm)), bend_mm=bend_mm, tension=1.0)
    ours = (
        rest(pressed, bend_mm=bend_mm).bowed_mm.sum() - rest(Lie(ends, frets), bend_mm=bend_mm).bowed_mm.sum()
    )
    cubic = shape(neck, stiffness_mm=bend_mm, loads=pressed.loads, element_mm=0.2)
    bare = shape(neck, stiffness_mm=bend_mm, element_mm=0.2)
    assert ours == pytest.approx(cubic.path_extra_mm - bare.path_extra_mm, rel=ROD)
