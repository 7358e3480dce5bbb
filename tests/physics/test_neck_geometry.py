"""Heights on a neck that is not straight, from straight lines and one parabola drawn here.

Slot height is defined as the height above the straight line through the tops of frets 1 and 3; relief as the
sag of the board under a straightedge; action over fret 12 as the gap under the open string. Nothing here
uses the package's formulas: lines are numpy's polynomials through two points.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pitchcheck.instrument import MeterQuantity
from pitchcheck.physics import gauging
from pitchcheck.physics.stops import Setup, board_height, fret_top, nut_edge, saddle_height

SCALE_MM = 648.0
ROUNDING_MM = 1e-9
TOPS_MM = (0.05, -0.02, 0.03, 0.01)  # of frets 1 to 4, off the nominal plane
NECK = Setup(
    scale_mm=np.array([SCALE_MM]),
    slot_height_mm=np.array([0.4]),
    nut_offset_mm=np.array([0.0]),
    saddle_mm=np.array([0.0]),
    action_12_mm=np.array([1.6]),
    relief_mm=np.array([0.0]),
    fret_height_mm=np.array([1.1]),
    fret_error_mm=np.array([TOPS_MM]),
    break_rad=np.array([0.2]),
    stretch_factor=np.array([200.0]),
    bend_mm=np.array([2.0]),
)
BOWED = replace(NECK, relief_mm=np.array([0.25]))


def place(fret: float) -> float:
    """Distance of a fret from the nut in equal temperament. [mm]"""
    return float(SCALE_MM * (1 - 2 ** (-fret / 12)))


def line(points: list[tuple[float, float]], x: float) -> float:
    """Height at x of the straight line through two points."""
    (xa, xb), (ya, yb) = zip(*points, strict=True)
    return float(np.polynomial.Polynomial.fit([xa, xb], [ya, yb], 1)(x))


def string_at(neck: Setup, x: float) -> float:
    """Height of the straight open string."""
    nut_y = float(nut_edge(neck, capo=0)[1][0])
    return line([(0.0, nut_y), (SCALE_MM, float(saddle_height(neck)[0]))], x)


@pytest.mark.parametrize("neck", [NECK, BOWED], ids=["straight", "bowed"])
def test_slot_height_counts_from_the_line_through_frets_1_and_3(neck: Setup) -> None:
    tops = [(place(n), float(fret_top(neck, n)[0])) for n in (1, 3)]
    assert tops[0][1] == pytest.approx(TOPS_MM[0])
    assert tops[1][1] == pytest.approx(TOPS_MM[2])
    edge = float(nut_edge(neck, capo=0)[1][0])
    assert edge - line(tops, 0.0) == pytest.approx(0.4, abs=ROUNDING_MM)


def test_a_first_fret_that_stands_up_lifts_the_nut_that_is_called_level() -> None:
    up = replace(NECK, fret_error_mm=np.array([[0.05, 0.0, 0.0, 0.0]]))
    # By similar triangles 0.05 x3 / (x3 - x1) above the plane, more than the fret itself.
    lifted = 0.05 * place(3) / (place(3) - place(1))
    assert nut_edge(up, capo=0)[1][0] - 0.4 == pytest.approx(lifted, abs=ROUNDING_MM)


def test_relief_is_the_sag_under_a_straightedge_over_half_the_scale() -> None:
    level = replace(BOWED, fret_error_mm=np.zeros((1, 4)))
    ends = (place(1), place(1) + SCALE_MM / 2)
    board = [(x, float(board_height(level, np.array([x]))[0])) for x in ends]
    middle = sum(ends) / 2
    sag = line(board, middle) - float(board_height(level, np.array([middle]))[0])
    assert sag == pytest.approx(0.25, abs=ROUNDING_MM)


@pytest.mark.parametrize("neck", [NECK, BOWED], ids=["straight", "bowed"])
def test_action_is_the_gap_over_fret_12(neck: Setup) -> None:
    gap = string_at(neck, place(12)) - float(fret_top(neck, 12)[0])
    assert gap == pytest.approx(1.6, abs=ROUNDING_MM)


@pytest.mark.parametrize("neck", [NECK, BOWED], ids=["straight", "bowed"])
def test_gauges_read_the_gaps_of_these_lines(neck: Setup) -> None:
    neck = replace(neck, board_mm=np.array([0.03]), bend_mm=np.array([0.0]))  # limp: straight lines
    first = float(fret_top(neck, 1)[0])
    held = [(0.0, float(nut_edge(neck, capo=0)[1][0])), (place(2), float(fret_top(neck, 2)[0]))]
    board = float(board_height(neck, np.array([0.0]))[0])
    truth = {
        MeterQuantity.CLEARANCE_OPEN: string_at(neck, place(1)) - first,
        MeterQuantity.CLEARANCE_THIRD: line(held, place(1)) - first,
        MeterQuantity.SLOT_FLOOR: held[0][1] - board,
        MeterQuantity.FRET_HEIGHT: 1.1 - 0.03,
        MeterQuantity.ACTION_12: 1.6,
        MeterQuantity.RELIEF: float(neck.relief_mm[0]),
    }
    for what, gap_mm in truth.items():
        assert gauging.gauge_mm(neck, what=what)[0] == pytest.approx(gap_mm, abs=ROUNDING_MM), what


def test_a_stiff_string_stands_above_the_straight_line_by_its_arch_at_either_end() -> None:
    # Beyond some bending lengths a kink of angle theta leaves the string lambda theta / 2 above the line of
    # its two straight parts: equation 3 of docs/model.md. Over fret 1 the arches at both ends count as the
    # straight line does.
    arched = replace(NECK, arch_part=np.array([0.5]))
    over_nut_mm, over_saddle_mm = 0.5 * 2.0 * 0.2 / 2, 0.5 * 2.0 * 0.25 / 2
    nut, saddle = (-float(NECK.nut_offset_mm[0]), 0.0), (SCALE_MM + float(NECK.saddle_mm[0]), 0.0)
    open_mm = line([(nut[0], over_nut_mm), (saddle[0], over_saddle_mm)], place(1))
    for what, more_mm in (
        (MeterQuantity.CLEARANCE_OPEN, open_mm),
        (MeterQuantity.CLEARANCE_THIRD, (1 - place(1) / place(2)) * over_nut_mm),
    ):
        raised = gauging.gauge_mm(arched, what=what) - gauging.gauge_mm(NECK, what=what)
        assert raised[0] == pytest.approx(more_mm, abs=ROUNDING_MM)


def test_held_behind_fret_3_a_stiff_string_arches_over_fret_2_as_well() -> None:
    # The same half arch at fret 2, of the kink by which the string goes down to the board before the finger:
    # 9 mm of the space lie under the finger, or 0.40 of a narrow space (our choice, beside the constant).
    space_mm = place(3) - place(2)
    kink = 1.1 / (space_mm - min(9.0, 0.40 * space_mm))
    limp = replace(NECK, bend_mm=np.array([0.0]))
    for what, part in (
        (MeterQuantity.CLEARANCE_OPEN, 0.0),
        (MeterQuantity.CLEARANCE_THIRD, place(1) / place(2)),
    ):
        raised = gauging.gauge_mm(NECK, what=what) - gauging.gauge_mm(limp, what=what)
        assert raised[0] == pytest.approx(part * 2.0 * kink / 2, abs=ROUNDING_MM)


def test_a_board_that_is_higher_is_nearer_the_frets() -> None:
    assert board_height(NECK, np.array([0.0]))[0] == pytest.approx(-1.1, abs=ROUNDING_MM)
    raised = replace(NECK, board_mm=np.array([0.2]))
    assert board_height(raised, np.array([0.0]))[0] == pytest.approx(-0.9, abs=ROUNDING_MM)


def test_a_line_through_two_points_away_from_the_nut() -> None:
    at = [np.array([value]) for value in (20.0, 1.0, 60.0, 3.0, 30.0, 100.0)]
    x0, y0, x1, y1, between, beyond = at
    assert gauging._line(x0, y0, x1, y1, between)[0] == pytest.approx(1.5)
    assert gauging._line(x0, y0, x1, y1, beyond)[0] == pytest.approx(5.0)
    assert gauging._line(x0, y0, x1, y1, x0)[0] == pytest.approx(1.0)
