"""What the fit believes before it hears anything is what docs/beliefs.md says, in its users' terms.

The page is not trusted alone: heights are drawn from the fit's own unknowns, and expected notes are
those of the independent finite elements.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from bench.bench_beliefs import NOTES, instrument, main
from helpers import marks
from oracles.beam import Neck, extra_path_mm
from pitchcheck.fit.cases import CaseKind, Coordinate
from pitchcheck.fit.unknowns import CaseRequest, build_unknowns
from pitchcheck.takes import Stop

PRESS_1 = CaseKind(Stop.PRESS, 1, 0)
DRAWS = 20_000


def test_the_page_says_what_the_code_believes() -> None:
    assert main(["--check"]) == 0


def drawn() -> np.ndarray:
    """Slot heights of strings 1 and 2, shape (draws, 2), from the unknowns of an electric. [mm]"""
    found = build_unknowns(instrument("electric"), [CaseRequest(PRESS_1, 1), CaseRequest(PRESS_1, 2)])
    z = np.random.default_rng(7).standard_normal((DRAWS, len(found.names)))
    heights = found.centre[:, Coordinate.SLOT_HEIGHT] + z @ found.spread[:, Coordinate.SLOT_HEIGHT].T
    return np.asarray(heights)


def millimetres(cell: str) -> float:
    return float(cell.split()[0])


def test_slots_drawn_from_the_beliefs_lie_as_the_page_says() -> None:
    row = marks.rows("beliefs.md", "beliefs")["slot height"]
    heights = drawn()
    # standard errors of a mean and a standard deviation: 0.7 and 0.5 % of the spread; four of them
    spread = millimetres(row[2])
    assert heights.mean() == pytest.approx(millimetres(row[1]), abs=0.03 * spread)
    assert heights[:, 0].std() == pytest.approx(spread, rel=0.02)
    assert (heights[:, 0] - heights[:, 1]).std() == pytest.approx(millimetres(row[3]), rel=0.02)
    # nine of ten new and used nuts come between a slot cut into the frets' plane and one 1.2 mm high
    assert np.mean((heights > -0.33) & (heights < 1.23)) == pytest.approx(0.90, abs=0.01)


def test_expected_presses_are_those_of_finite_elements() -> None:
    """Within 4 %: the oracle's board does not give, its ends are pinned and its path has no other terms."""
    one = instrument("electric")
    found = build_unknowns(one, [CaseRequest(CaseKind(Stop.PRESS, fret, 0), 1) for fret in (1, 2)])
    u = dict(zip(Coordinate, found.centre[0], strict=True))
    scale, height = one.scale_mm, u[Coordinate.SLOT_HEIGHT]
    neck = Neck(
        scale_mm=scale,
        slot_mm=height,
        saddle_mm=2 * u[Coordinate.ACTION_12] - height,
        fret_mm=math.exp(u[Coordinate.LOG_FRET_HEIGHT]),
        tail_mm=60.0,
        nut_break_rad=u[Coordinate.BREAK],
    )
    kappa, bend = (math.exp(u[at]) for at in (Coordinate.LOG_STRETCH_FACTOR, Coordinate.LOG_BEND))
    stated = {f"{stop.value} {fret}": i for i, (stop, fret) in enumerate(NOTES)}
    rows = [line.split("|") for line in marks.cut("beliefs.md", "hands")[1].splitlines()][2:]
    for fret in (1, 2):
        middle = (neck.fret_place(fret - 1) + neck.fret_place(fret)) / 2
        half = u[Coordinate.ROD_HALF]
        held = tuple((middle + side * half, -neck.fret_mm) for side in (-1.0, 1.0))
        path = extra_path_mm(neck, stiffness_mm=bend, held=held, loads=(), element_mm=2.0)
        strain = path / scale
        cents = 600 / math.log(2) * (math.log1p(kappa * strain) + math.log1p(strain))
        expected = float(rows[stated[f"press {fret}"]][3])
        assert expected == pytest.approx(cents, rel=0.04)
