"""Which way each unknown moves a note, from lengths and tensions alone."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from helpers.fits import make_job
from pitchcheck.fit.cases import CaseKind, Coordinate
from pitchcheck.fit.priors import fretwork_priors
from pitchcheck.fit.unknowns import CaseRequest, PassEffects, Removal, build_unknowns, removal_name
from pitchcheck.takes import Stop

SCALE_MM = 648.0
INSTRUMENT = make_job().instrument


def answer(kind: CaseKind, name: str, at: Coordinate) -> float:
    """How much one standard deviation of an unknown moves a coordinate of the case."""
    unknowns = build_unknowns(INSTRUMENT, [CaseRequest(kind, 1)])
    return float(unknowns.spread[0, at, unknowns.column(name)])


def test_a_fret_towards_the_saddle_sharpens_its_note_and_flattens_what_is_played_behind_a_capo_on_it() -> (
    None
):
    # Pitch goes with one over the sounding length (Mersenne): d cents = 1200 / ln 2 x moved / length. Under a
    # capo the fret it stands behind is the nut, so the open string gets sharper and the interval smaller.
    length_mm = SCALE_MM * 2 ** (-3 / 12)
    moved_mm = fretwork_priors(INSTRUMENT).fret_place_mm
    cents = 1200 / math.log(2) * moved_mm / length_mm
    stopped, behind = (CaseKind(Stop.FRET, fret, capo) for fret, capo in ((3, 0), (5, 3)))
    assert answer(stopped, "place 3", Coordinate.OFFSET_CENTS) == pytest.approx(cents, rel=1e-9)
    assert answer(behind, "place 3", Coordinate.OFFSET_CENTS) == pytest.approx(-cents, rel=1e-9)


def test_edges_that_all_lie_off_move_an_interval_by_the_difference_of_its_ends() -> None:
    moved_mm = fretwork_priors(INSTRUMENT).fret_edge_mm
    fifth, third = (SCALE_MM * 2 ** (-n / 12) for n in (5, 3))
    cents = 1200 / math.log(2) * moved_mm * (1 / fifth - 1 / third)
    assert answer(CaseKind(Stop.FRET, 5, 3), "edges", Coordinate.OFFSET_CENTS) == pytest.approx(cents)


def test_the_bodys_pull_on_a_capoed_open_note_is_taken_off() -> None:
    # The interval is the stopped note less the open one under the same capo: each is pulled on its own.
    kind = CaseKind(Stop.FRET, 5, 3)
    up, down = (answer(kind, f"own pull 1 {fret}", Coordinate.OFFSET_CENTS) for fret in (5, 3))
    assert up > 0
    assert down == pytest.approx(-up)


def test_what_was_filed_off_is_missing_from_the_next_pass_and_half_of_it_over_fret_12() -> None:
    # The saddle stays: similar triangles over half the scale.
    passes = (PassEffects(removed={1: Removal(0.20, 0.02)}), PassEffects(action_shift_mm=0.1))
    kind = CaseKind(Stop.PRESS, 1, 0)
    requests = [CaseRequest(kind, 1, 0), CaseRequest(kind, 1, 1), CaseRequest(kind, 2, 1)]
    unknowns = build_unknowns(INSTRUMENT, requests, passes)
    first, second, other = unknowns.centre
    assert second[Coordinate.SLOT_HEIGHT] - first[Coordinate.SLOT_HEIGHT] == pytest.approx(-0.20)
    assert second[Coordinate.ACTION_12] - first[Coordinate.ACTION_12] == pytest.approx(0.1 - 0.10)
    assert other[Coordinate.SLOT_HEIGHT] == pytest.approx(first[Coordinate.SLOT_HEIGHT])
    column = unknowns.column(removal_name(1, 0))
    assert unknowns.spread[1, Coordinate.SLOT_HEIGHT, column] == pytest.approx(-0.02)
    assert unknowns.spread[1, Coordinate.ACTION_12, column] == pytest.approx(-0.01)
    assert not unknowns.spread[0, :, column].any()
    assert not unknowns.spread[2, :, column].any()


def test_a_short_string_has_a_nut_and_frets_of_its_own() -> None:
    # A fifth string of a banjo begins at fret 5: its own nut, and its first fret is the neck's sixth.
    short = replace(INSTRUMENT.strings[4], nut_at_fret=5)
    instrument = replace(INSTRUMENT, strings=(*INSTRUMENT.strings[:4], short, INSTRUMENT.strings[5]))
    requests = [CaseRequest(CaseKind(Stop.FRET, 1, 0), number) for number in (1, 5)]
    unknowns = build_unknowns(instrument, requests)
    usual, own = (
        {n for i, n in enumerate(unknowns.names) if spread[:, i].any()} for spread in unknowns.spread
    )
    assert {"nut", "slots", "fret 1", "place 1"} <= usual
    assert {"nut at fret 5", "slots at fret 5", "fret 6", "place 6"} <= own
    assert not {"nut", "slots", "fret 1", "place 1"} & own
    assert not {name for name in usual if "at fret 5" in name}
