"""The package's string over frets and board against the finite-element string, through its public function.

``stop_cents`` gives cents; with a stretch factor of 1 less those with 0 the rest cancels, and what is left is
the extra path over the speaking length.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from oracles.beam import Neck, extra_path_mm, shape
from pitchcheck.physics.stops import Setup, Touch, stop_cents
from pitchcheck.takes import Stop
from pitchcheck.tuning import fret_place
from pitchcheck.units import CENTS_PER_LOG

PATH = (
    0.005  # relative: 0.5 % of a press is 0.05 cent on a wound E2 near a good slot, 0.001 mm of slot height
)
SADDLE_BREAK_RAD = 0.25  # the package's own; stated again, so that a change of it is seen
TAIL_MM = 60.0
SHARE = 0.005  # relative, of press 1 over press 2: the ratio that carries the slot height
ROD_HALF_MM = 0.75

ELECTRIC = Neck(scale_mm=648.0, slot_mm=0.3, saddle_mm=2.9, fret_mm=1.1)
BASS = Neck(scale_mm=864.0, slot_mm=0.5, saddle_mm=3.6, fret_mm=1.2)
NYLON = Neck(scale_mm=650.0, slot_mm=0.6, saddle_mm=5.6, fret_mm=1.0)
UKULELE = Neck(scale_mm=432.0, slot_mm=0.05, saddle_mm=4.4, fret_mm=0.9)


def setup(neck: Neck, *, bend_mm: float, break_rad: float, stretch_factor: float) -> Setup:
    """The same string and neck in the package's terms, one case."""

    def one(value: float) -> np.ndarray:
        return np.array([value])

    tops = np.zeros((1, 4))
    tops[0, : len(neck.fret_tops_mm)] = neck.fret_tops_mm
    return Setup(
        scale_mm=one(neck.scale_mm),
        slot_height_mm=one(neck.slot_mm),
        nut_offset_mm=one(0.0),
        saddle_mm=one(0.0),
        action_12_mm=one((neck.slot_mm + neck.saddle_mm) / 2),
        relief_mm=one(0.0),
        fret_height_mm=one(neck.fret_mm),
        fret_error_mm=tops,
        break_rad=one(break_rad),
        stretch_factor=one(stretch_factor),
        bend_mm=one(bend_mm),
    )


def touch(
    *, force: float, behind_mm: float = 12.0, pad_mm: float = 8.0, rod_half_mm: float = ROD_HALF_MM
) -> Touch:
    return Touch(*(np.array([v]) for v in (force, behind_mm, pad_mm, rod_half_mm, 0.0)))


def package_path_mm(
    neck: Neck, hand: Touch, *, bend_mm: float, break_rad: float, stop: Stop, fret: int
) -> float:
    """Extra path by the package. [mm]"""
    stretched, bare = (
        stop_cents(
            setup(neck, bend_mm=bend_mm, break_rad=break_rad, stretch_factor=stretch_factor),
            hand,
            stop=stop,
            fret=fret,
        )[0]
        for stretch_factor in (1.0, 0.0)
    )
    return float(np.expm1(2 * (stretched - bare) / CENTS_PER_LOG) * neck.scale_mm)


def oracle_neck(neck: Neck, break_rad: float) -> Neck:
    """The package measures break angles from the fret plane, the oracle from the string's own line."""
    line = (neck.saddle_mm - neck.slot_mm) / neck.scale_mm
    return replace(
        neck,
        tail_mm=TAIL_MM,
        saddle_tail_mm=TAIL_MM,
        nut_break_rad=break_rad - line,
        saddle_break_rad=SADDLE_BREAK_RAD + line,
    )


STRINGS = [
    (ELECTRIC, 0.8, 0.1),
    (ELECTRIC, 2.5, 0.25),
    (replace(ELECTRIC, slot_mm=1.1), 2.5, 0.1),
    (replace(ELECTRIC, slot_mm=-0.05), 0.8, 0.15),
    (replace(ELECTRIC, fret_tops_mm=(0.05, 0.0, 0.05, 0.0)), 1.5, 0.1),
    (BASS, 4.5, 0.2),
    (NYLON, 1.3, 0.25),
    (UKULELE, 1.2, 0.2),
]


def press_paths_mm(
    neck: Neck, press: int, *, bend_mm: float, break_rad: float, board: bool
) -> tuple[float, float]:
    """Extra path of a press by the package and by the finite elements. [mm]"""
    middle = (fret_place(neck.scale_mm, press - 1) + fret_place(neck.scale_mm, press)) / 2
    held = tuple((middle + side * ROD_HALF_MM, -neck.fret_mm) for side in (-1.0, 1.0))
    lift = neck.fret_tops_mm[0] if neck.fret_tops_mm else 0.0  # slot height counts from frets 1 and 3
    seen = replace(oracle_neck(replace(neck, slot_mm=neck.slot_mm + lift), break_rad), board=board)
    hand = touch(force=0.2)
    ours = package_path_mm(neck, hand, bend_mm=bend_mm, break_rad=break_rad, stop=Stop.PRESS, fret=press)
    return ours, extra_path_mm(seen, stiffness_mm=bend_mm, held=held, element_mm=1.0)


@pytest.mark.parametrize("press", [1, 2, 3])
@pytest.mark.parametrize(("neck", "bend_mm", "break_rad"), STRINGS)
def test_press_paths_agree(neck: Neck, bend_mm: float, break_rad: float, press: int) -> None:
    # The same problem: the rod holds the string at both edges of its flat, nothing else is below.
    ours, theirs = press_paths_mm(neck, press, bend_mm=bend_mm, break_rad=break_rad, board=False)
    assert ours == pytest.approx(theirs, rel=PATH)


@pytest.mark.parametrize(("neck", "bend_mm", "break_rad"), STRINGS)
def test_a_solid_board_beside_the_rod_leaves_the_share_of_press_1(
    neck: Neck, bend_mm: float, break_rad: float
) -> None:
    # The package lets the string bow below the board between and beside the rod's edges. A board that does
    # not give lengthens every press by 1 to 3 %, all alike, as if the frets were higher; their ratio stays.
    ours, theirs = zip(
        *(press_paths_mm(neck, n, bend_mm=bend_mm, break_rad=break_rad, board=True) for n in (1, 2)),
        strict=True,
    )
    assert all(1.0 < solid / soft < 1.035 for soft, solid in zip(ours, theirs, strict=True))
    assert ours[0] / ours[1] == pytest.approx(theirs[0] / theirs[1], rel=SHARE)


@pytest.mark.parametrize("fret", [1, 2, 3, 12])
@pytest.mark.parametrize(
    ("neck", "bend_mm", "force"),
    [
        (ELECTRIC, 0.8, 0.10),
        (ELECTRIC, 2.5, 0.05),
        (replace(ELECTRIC, slot_mm=0.9), 0.8, 0.08),
        (BASS, 4.5, 0.06),
        (NYLON, 1.3, 0.10),
    ],
)
def test_fret_paths_agree(neck: Neck, bend_mm: float, force: float, fret: int) -> None:
    behind = min(12.0, 0.4 * (fret_place(neck.scale_mm, fret) - fret_place(neck.scale_mm, fret - 1)))
    pad = 6.0
    middle = fret_place(neck.scale_mm, fret) - behind
    loads = tuple((middle + pad * ((i + 0.5) / 5 - 0.5), force / 5) for i in range(5))
    expected = extra_path_mm(oracle_neck(neck, 0.15), stiffness_mm=bend_mm, loads=loads, element_mm=1.0)
    hand = touch(force=force, behind_mm=behind, pad_mm=pad)
    found = package_path_mm(neck, hand, bend_mm=bend_mm, break_rad=0.15, stop=Stop.FRET, fret=fret)
    assert found == pytest.approx(expected, rel=PATH)


STRETCH = 300.0  # a plain steel string's
# Relative: the tension for it comes from straight lines, which are up to a fifth shorter than the path.
SHRUNK = 0.25


@pytest.mark.parametrize("slot_mm", [0.3, 1.1])
def test_a_press_bends_a_tighter_string_more_sharply(slot_mm: float) -> None:
    # lambda = sqrt(EI / T): pressed, T grows by 1 + stretch x strain, and the string follows its supports
    # more closely. The finite elements are given the length that belongs to the tension reached.
    neck, bend_mm, hand = replace(ELECTRIC, slot_mm=slot_mm), 2.5, touch(force=0.2)
    middle = fret_place(neck.scale_mm, 1) / 2
    held = tuple((middle + side * ROD_HALF_MM, -neck.fret_mm) for side in (-1.0, 1.0))
    shown = replace(oracle_neck(neck, 0.2), board=False)

    def ours(stretch_factor: float) -> float:
        cents = [
            stop_cents(
                setup(neck, bend_mm=bend_mm, break_rad=0.2, stretch_factor=s), hand, stop=Stop.PRESS, fret=1
            )[0]
            for s in (stretch_factor, 0.0)
        ]
        grown = np.expm1(2 * (cents[0] - cents[1]) / CENTS_PER_LOG)
        return float(grown / stretch_factor * neck.scale_mm)

    def theirs(length_mm: float) -> float:
        rested = shape(shown, stiffness_mm=bend_mm, element_mm=1.0).path_extra_mm
        return shape(shown, stiffness_mm=length_mm, held=held, element_mm=1.0).path_extra_mm - rested

    strain = ours(STRETCH) / neck.scale_mm
    shrunk = theirs(bend_mm / (1 + STRETCH * strain) ** 0.5) - theirs(bend_mm)
    assert ours(STRETCH) - ours(1.0) == pytest.approx(shrunk, rel=SHRUNK)
