"""What is believed beforehand of every case: centres, spreads and what cases share, added up by hand.

Sizes are those of ``priors``; the tests write out which of them belong to what, with which sign, and how they
add up. Covariances are of coordinates, over the unknowns, which are standard normal.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from helpers.planted import job_of
from pitchcheck.fit import priors, unknowns
from pitchcheck.fit.cases import CaseKind, Coordinate
from pitchcheck.fit.hand import Scatter
from pitchcheck.fit.priors import AS_IT_COMES, LEVEL
from pitchcheck.fit.unknowns import CaseRequest, PassEffects, Removal, Unknowns, build_unknowns
from pitchcheck.instrument import BehindNut, Fretwork, Instrument, Length, MeterQuantity, Tailpiece
from pitchcheck.physics.materials import string_constants
from pitchcheck.takes import Stop

STEEL = replace(job_of("electric").instrument, action_12=None)  # frets declared level
NYLON = replace(job_of("classical").instrument, action_12=None, fretwork=Fretwork.UNKNOWN)
PRESS_1, PRESS_2 = CaseKind(Stop.PRESS, 1, 0), CaseKind(Stop.PRESS, 2, 0)
FRET_1, FRET_5_CAPO_3 = CaseKind(Stop.FRET, 1, 0), CaseKind(Stop.FRET, 5, 3)
C = Coordinate


def covariance(found: Unknowns, a: tuple[int, C], b: tuple[int, C]) -> float:
    """Of a coordinate of a case with one of another."""
    return float(found.spread[a] @ found.spread[b])


def same(instrument: Instrument, kind: CaseKind, at: C, *, others: dict[str, float]) -> None:
    """Variance of a coordinate, and its covariance with other cases by name."""
    requests = {
        "itself": CaseRequest(kind, 2),
        "another string": CaseRequest(kind, 3),
        "another space": CaseRequest(PRESS_2 if kind.stop is Stop.PRESS else FRET_1, 2),
        "another pass": CaseRequest(kind, 2, 1),
    }
    passes = (PassEffects(), PassEffects())
    found = build_unknowns(instrument, list(requests.values()), passes)
    for i, name in enumerate(requests):
        if name in others:
            assert covariance(found, (0, at), (i, at)) == pytest.approx(others[name], rel=1e-9, abs=1e-18), (
                name
            )


@pytest.mark.parametrize(
    ("instrument", "p"), [(STEEL, LEVEL), (NYLON, AS_IT_COMES)], ids=["level", "as it comes"]
)
def test_spreads_of_what_belongs_to_nut_neck_and_hand(
    instrument: Instrument, p: priors.FretworkPriors
) -> None:
    all_, own = priors.SLOT_HEIGHT_MM[1] ** 2, priors.SLOT_OWN_MM**2
    support = unknowns.SUPPORT_CHANGED_MM**2
    same(
        instrument,
        FRET_1,
        C.SLOT_HEIGHT,
        others={"itself": all_ + own, "another string": all_, "another pass": all_ + own},
    )
    found = build_unknowns(instrument, [CaseRequest(PRESS_1, 2, 1)], (PassEffects(),) * 2)
    assert covariance(found, (0, C.SLOT_HEIGHT), (0, C.SLOT_HEIGHT)) == pytest.approx(all_ + own + support)
    nut, string = priors.NUT_OFFSET_MM**2, priors.NUT_OFFSET_STRING_MM**2
    same(
        instrument,
        PRESS_1,
        C.NUT_OFFSET,
        others={"itself": nut + string, "another string": nut, "another pass": nut + string},
    )
    _, action = priors.ACTION_MM["steel" if p is LEVEL else "polymer"]
    each, later = priors.ACTION_STRING_MM**2, unknowns.ACTION_CHANGED_MM**2
    same(
        instrument,
        PRESS_1,
        C.ACTION_12,
        others={"itself": action**2 + each, "another string": action**2, "another pass": action**2 + each},
    )
    found = build_unknowns(instrument, [CaseRequest(PRESS_1, 2, 1)], (PassEffects(),) * 2)
    assert covariance(found, (0, C.ACTION_12), (0, C.ACTION_12)) == pytest.approx(action**2 + each + later)
    relief = p.relief_mm[1] ** 2
    assert covariance(found, (0, C.RELIEF), (0, C.RELIEF)) == pytest.approx(
        relief + unknowns.RELIEF_CHANGED_MM**2
    )
    same(
        instrument,
        PRESS_1,
        C.RELIEF,
        others={"itself": relief, "another string": relief, "another pass": relief},
    )
    crown = priors.LOG_FRET_HEIGHT[1] ** 2
    same(
        instrument,
        PRESS_1,
        C.LOG_FRET_HEIGHT,
        others={"itself": crown, "another string": crown, "another space": crown},
    )
    for k, at in enumerate((C.FRET_ERROR_1, C.FRET_ERROR_2, C.FRET_ERROR_3, C.FRET_ERROR_4)):
        dents = p.fret_string_mm**2 if k < 3 else 0.0
        same(
            instrument,
            PRESS_1,
            at,
            others={
                "itself": p.fret_error_mm**2 + dents,
                "another string": p.fret_error_mm**2,
                "another space": p.fret_error_mm**2 + dents,
            },
        )
    for at, sd in (
        (C.BREAK, priors.BREAK_RAD[1]),
        (C.ARCH_PART, priors.ARCH_PART["steel" if instrument is STEEL else "polymer"][1]),
        (C.ROD_HALF, priors.ROD_HALF_MM[1]),
        (C.GIVE, priors.GIVE_MM[1]),
    ):
        same(
            instrument, PRESS_1, at, others={"itself": sd**2, "another string": sd**2, "another pass": sd**2}
        )
    same(
        instrument,
        PRESS_1,
        C.BOARD,
        others={
            "itself": p.board_space_mm**2 + p.board_string_mm**2,
            "another string": p.board_space_mm**2,
            "another space": 0.0,
        },
    )
    for at, size in ((C.SIDE, priors.SIDE_MM2[1]), (C.NECK_BENDS, p.neck_bends)):
        alike = dict.fromkeys(("itself", "another string", "another space", "another pass"), size**2)
        same(instrument, PRESS_1, at, others=alike)
    aside = (p.rod_mm * min(1.0, instrument.scale_mm * (1 - 2 ** (-1 / 12)) / 36.0)) ** 2
    same(
        instrument,
        PRESS_1,
        C.ROD_PLACE,
        others={"itself": aside, "another string": aside, "another pass": aside},
    )
    found = build_unknowns(instrument, [CaseRequest(PRESS_1, 2, 1)], (PassEffects(),) * 2)
    assert covariance(found, (0, C.ROD_PLACE), (0, C.ROD_PLACE)) == pytest.approx(
        aside + (0.5 * p.rod_mm) ** 2
    )
    same(
        instrument,
        FRET_1,
        C.LOG_FORCE,
        others={"itself": priors.LOG_FORCE_N[1] ** 2, "another string": priors.LOG_FORCE_N[1] ** 2},
    )
    found = build_unknowns(instrument, [CaseRequest(FRET_1, 2, 1)], (PassEffects(),) * 2)
    assert covariance(found, (0, C.LOG_FORCE), (0, C.LOG_FORCE)) == pytest.approx(
        priors.LOG_FORCE_N[1] ** 2 + 0.2**2
    )


@pytest.mark.parametrize(
    ("instrument", "p"), [(STEEL, LEVEL), (NYLON, AS_IT_COMES)], ids=["level", "as it comes"]
)
def test_stretch_and_bending_hang_together_by_the_build(
    instrument: Instrument, p: priors.FretworkPriors
) -> None:
    scale = instrument.scale_mm
    tail, tail_sd = p.tail_mm
    requests = [
        CaseRequest(FRET_1, 1),
        CaseRequest(FRET_1, 2),
        CaseRequest(FRET_1, 6),
        CaseRequest(PRESS_1, 1),
        CaseRequest(PRESS_1, 2),
        CaseRequest(PRESS_2, 1),
        CaseRequest(FRET_1, 1, 1),
    ]
    found = build_unknowns(instrument, requests, (PassEffects(),) * 2)
    built = {n: string_constants(instrument.string(n), scale_mm=scale) for n in (1, 2, 6)}
    soft = p is AS_IT_COMES

    def error(n: int) -> tuple[float, float]:
        size = p.polymer_stretch if soft else built[n].stretch_factor_error
        return size, (p.polymer_shared if soft else priors.SET_SHARE)

    at, bend = C.LOG_STRETCH_FACTOR, C.LOG_BEND
    shared_tail = (tail_sd / (scale + tail)) ** 2
    for i, n in ((0, 1), (1, 2), (2, 6)):
        size, _ = error(n)
        assert covariance(found, (i, at), (i, at)) == pytest.approx(size**2 + shared_tail + p.tail_string**2)
        follows, own = built[n].bend_follows, built[n].bend_error
        assert covariance(found, (i, bend), (i, bend)) == pytest.approx((size * follows) ** 2 + own**2)
        assert covariance(found, (i, bend), (i, at)) == pytest.approx(size**2 * follows)
        assert found.centre[i, at] == pytest.approx(math.log(built[n].stretch_factor / (1 + tail / scale)))
        assert found.centre[i, bend] == pytest.approx(math.log(built[n].bend_mm))
        assert found.centre[i, C.TENSION] == built[n].tension_n
        force = 5.8 * max(1.0, built[n].tension_n / 75.0) ** 0.7
        assert found.centre[i, C.LOG_FORCE] == pytest.approx(math.log(force / built[n].tension_n))
    # strings of one make share part of the error, all share the tail
    for i, j, n, m in ((0, 1, 1, 2), (0, 2, 1, 6)):
        like = built[n].make is built[m].make
        together = error(n)[0] * error(n)[1] * error(m)[0] * error(m)[1] if like else 0.0
        assert covariance(found, (i, at), (j, at)) == pytest.approx(together + shared_tail)
    # a press adds what its space and its string there slide otherwise
    one = covariance(found, (0, at), (0, at))
    assert covariance(found, (3, at), (3, at)) == pytest.approx(one + p.slide_space**2 + p.slide_string**2)
    assert covariance(found, (3, at), (5, at)) == pytest.approx(one)
    assert covariance(found, (3, at), (4, at)) == pytest.approx(
        covariance(found, (0, at), (1, at)) + p.slide_space**2
    )
    assert covariance(found, (6, at), (6, at)) == pytest.approx(one + 0.01**2)  # put back into its slot
    assert covariance(found, (6, at), (0, at)) == pytest.approx(one)


def test_a_floating_bridge_shifts_and_widens_the_stretch() -> None:
    floating = replace(STEEL, tailpiece=Tailpiece.FLOATING)
    requests = [CaseRequest(FRET_1, 1), CaseRequest(FRET_1, 2)]
    fixed, loose = (build_unknowns(one, requests) for one in (STEEL, floating))
    at = C.LOG_STRETCH_FACTOR
    assert loose.centre[0, at] - fixed.centre[0, at] == pytest.approx(priors.FLOATING_STRETCH_SHIFT)
    springs = priors.FLOATING_STRETCH_ERROR**2
    assert covariance(loose, (0, at), (0, at)) - covariance(fixed, (0, at), (0, at)) == pytest.approx(
        1.25 * springs
    )
    assert covariance(loose, (0, at), (1, at)) - covariance(fixed, (0, at), (1, at)) == pytest.approx(springs)


def test_centres_are_the_beliefs_means() -> None:
    for instrument, p, action, make in (
        (STEEL, LEVEL, 2.0, "steel"),
        (NYLON, AS_IT_COMES, 3.0, "polymer"),
    ):
        centre = build_unknowns(instrument, [CaseRequest(PRESS_1, 1)]).centre[0]
        assert centre[C.SLOT_HEIGHT] == priors.SLOT_HEIGHT_MM[0]
        assert centre[C.NUT_OFFSET] == 0.0
        assert (
            centre[C.SADDLE]
            == priors.SADDLE_MM[string_constants(instrument.string(1), scale_mm=650.0).make][0]
        )
        assert centre[C.ACTION_12] == action
        assert centre[C.RELIEF] == p.relief_mm[0]
        assert centre[C.LOG_FRET_HEIGHT] == pytest.approx(math.log(1.02))
        assert centre[C.BREAK] == priors.BREAK_RAD[0]
        assert centre[C.ARCH_PART] == priors.ARCH_PART[make][0]
        assert centre[C.ROD_HALF] == priors.ROD_HALF_MM[0]
        assert centre[C.GIVE] == priors.GIVE_MM[0]
        assert centre[C.SIDE] == priors.SIDE_MM2[0]
        assert centre[C.OFFSET_CENTS] == centre[C.ROD_PLACE] == centre[C.BOARD] == 0.0


def test_a_stated_action_takes_the_place_of_the_belief() -> None:
    stated = replace(STEEL, action_12=Length(1.7, 0.15))
    found = build_unknowns(stated, [CaseRequest(PRESS_1, 1), CaseRequest(PRESS_1, 2)])
    assert found.centre[0, C.ACTION_12] == 1.7
    each = priors.ACTION_STRING_MM**2
    assert covariance(found, (0, C.ACTION_12), (0, C.ACTION_12)) == pytest.approx(0.15**2 + each)
    assert covariance(found, (0, C.ACTION_12), (1, C.ACTION_12)) == pytest.approx(0.15**2)


def test_a_told_fall_behind_the_nut_takes_the_place_of_the_believed_angle() -> None:
    """60 mm to the post and 8 mm lower: arctan(8/60) = 0.1326 rad, known to 0.02; of the main nut only."""
    told = replace(STEEL, behind_nut=BehindNut(60.0, 8.0))
    found = build_unknowns(told, [CaseRequest(PRESS_1, 1), CaseRequest(PRESS_1, 2)])
    assert found.centre[0, C.BREAK] == pytest.approx(0.1326, abs=1e-4)
    assert covariance(found, (0, C.BREAK), (1, C.BREAK)) == pytest.approx(0.02**2)
    short = replace(told.string(1), nut_at_fret=5)
    banjo = replace(told, strings=(short, *told.strings[1:]))
    found = build_unknowns(banjo, [CaseRequest(PRESS_1, 1)])
    assert found.centre[0, C.BREAK] == priors.BREAK_RAD[0]
    assert covariance(found, (0, C.BREAK), (0, C.BREAK)) == pytest.approx(priors.BREAK_RAD[1] ** 2)


def test_a_height_or_a_force_that_is_given_is_fixed() -> None:
    fixed = CaseRequest(FRET_1, 1, fixed_height_mm=0.33, force_n=1.0)
    found = build_unknowns(STEEL, [fixed])
    tension = string_constants(STEEL.string(1), scale_mm=STEEL.scale_mm).tension_n
    assert found.centre[0, C.SLOT_HEIGHT] == 0.33
    assert found.centre[0, C.LOG_FORCE] == pytest.approx(math.log(1.0 / tension))
    assert not found.spread[0, C.SLOT_HEIGHT].any()
    assert not found.spread[0, C.LOG_FORCE].any()
    later = build_unknowns(STEEL, [replace(fixed, index=1)], (PassEffects(),) * 2)
    assert not later.spread[0, C.LOG_FORCE].any()


def test_places_on_the_neck_move_notes_by_their_length() -> None:
    # cents by 1200 / ln 2 over the sounding length; both ends of an interval under a capo, with their signs
    p, cents = AS_IT_COMES, 1200 / math.log(2)
    found = build_unknowns(
        NYLON,
        [
            CaseRequest(FRET_5_CAPO_3, 2),
            CaseRequest(CaseKind(Stop.FRET, 5, 0), 2),
            CaseRequest(CaseKind(Stop.FRET, 5, 0), 3),
            CaseRequest(PRESS_1, 2, 1),
        ],
        (PassEffects(),) * 2,
    )
    fifth, third = (NYLON.scale_mm * 2 ** (-n / 12) for n in (5, 3))
    at = C.OFFSET_CENTS
    place = (cents * p.fret_place_mm) ** 2 * (1 / fifth**2 + 1 / third**2)
    edges = (cents * p.fret_edge_mm * (1 / fifth - 1 / third)) ** 2
    assert covariance(found, (0, at), (0, at)) == pytest.approx(place + edges + 2 * p.pull_cents**2)
    alone = (cents / fifth) ** 2 * (p.fret_place_mm**2 + p.fret_edge_mm**2)
    assert covariance(found, (1, at), (1, at)) == pytest.approx(
        alone + 2 * p.pull_cents**2
    )  # the open note too
    assert covariance(found, (1, at), (2, at)) == pytest.approx(alone)
    first = NYLON.scale_mm * 2 ** (-1 / 12)
    one = (cents / first) ** 2 * (p.fret_place_mm**2 + p.fret_edge_mm**2)
    assert covariance(found, (3, at), (3, at)) == pytest.approx(one + 2 * p.pull_cents**2 + 0.10**2)


def test_gauges_stand_on_the_board() -> None:
    kinds = [CaseKind(None, 0, 0, MeterQuantity.FRET_HEIGHT), CaseKind(None, 0, 0, MeterQuantity.SLOT_FLOOR)]
    found = build_unknowns(
        NYLON,
        [
            CaseRequest(kinds[0], None),
            CaseRequest(kinds[0], 1),
            CaseRequest(kinds[1], 1),
            CaseRequest(PRESS_1, 1),
            CaseRequest(kinds[1], 2),
        ],
    )
    board = AS_IT_COMES.board_space_mm**2
    assert covariance(found, (0, C.BOARD), (0, C.BOARD)) == pytest.approx(board)
    assert covariance(found, (0, C.BOARD), (3, C.BOARD)) == pytest.approx(board)  # the same first space
    assert covariance(found, (1, C.BOARD), (1, C.BOARD)) == 0.0  # this one only holds a string's coordinates
    assert covariance(found, (2, C.BOARD), (2, C.BOARD)) == pytest.approx(board)
    assert (
        covariance(found, (2, C.BOARD), (3, C.BOARD)) == covariance(found, (2, C.BOARD), (4, C.BOARD)) == 0.0
    )
    assert not found.spread[:3, C.OFFSET_CENTS].any()


def test_what_came_off_and_how_a_string_was_tuned_belong_to_their_pass() -> None:
    removals = (Removal(0.2, 0.03), Removal(0.1, 0.02))
    passes = (
        PassEffects(tuned_log={1: 0.01}, removed={1: removals[0]}, action_shift_mm=0.3),
        PassEffects(removed={1: removals[1]}),
        PassEffects(),
    )
    found = build_unknowns(STEEL, [CaseRequest(FRET_1, 1, i) for i in range(3)], passes)
    plain = build_unknowns(STEEL, [CaseRequest(FRET_1, 1)])
    height, action = C.SLOT_HEIGHT, C.ACTION_12
    assert found.centre[:, height] - plain.centre[0, height] == pytest.approx([0.0, -0.2, -0.3])
    assert found.centre[:, action] - plain.centre[0, action] == pytest.approx([0.3, -0.1, -0.15])
    base = covariance(plain, (0, height), (0, height))
    assert covariance(found, (1, height), (1, height)) == pytest.approx(base + 0.03**2)
    assert covariance(found, (2, height), (2, height)) == pytest.approx(base + 0.03**2 + 0.02**2)
    assert covariance(found, (1, height), (2, height)) == pytest.approx(base + 0.03**2)
    assert covariance(found, (0, height), (2, height)) == pytest.approx(base)
    assert covariance(found, (1, height), (1, action)) == pytest.approx(0.5 * 0.03**2)
    # tuned higher by ln 0.01: tension by its square, so stretch and force over tension by -2, bending by -1
    for at, power in ((C.LOG_STRETCH_FACTOR, -2), (C.LOG_FORCE, -2), (C.LOG_BEND, -1)):
        assert found.centre[0, at] - found.centre[1, at] == pytest.approx(power * 0.01)


def test_a_rough_hand_widens_what_single_places_have_and_the_push() -> None:
    requests = [CaseRequest(PRESS_1, 1), CaseRequest(FRET_1, 1)]
    plain = build_unknowns(NYLON, requests)
    assert plain.widened(Scatter()) is plain
    assert plain.widened(Scatter(slide=3.0, fret=2.0)) is plain
    wide = plain.widened(Scatter(hand=2.0, place=1.5))
    factor = 1.5 * 2.0**0.7
    for at, size in ((C.BOARD, factor), (C.ROD_PLACE, factor), (C.OFFSET_CENTS, None), (C.SLOT_HEIGHT, 1.0)):
        before, after = (one.spread[0, at] for one in (plain, wide))
        if size is not None:
            assert after == pytest.approx(size * before)
    names = plain.names
    own = [n.split()[0] in ("own", "board", "slide") or n == "rod alike" for n in names]
    assert plain.misfit_columns().tolist() == own
    for i, name in enumerate(names):
        size = factor if own[i] else 4.0 if name == "side" else 1.0
        assert wide.spread[..., i] == pytest.approx(size * plain.spread[..., i])
    # the mean push goes with the square of the hand, of presses only
    assert wide.centre[0, C.SIDE] - plain.centre[0, C.SIDE] == pytest.approx(3 * priors.SIDE_MM2[0])
    assert wide.centre[1] == pytest.approx(plain.centre[1])
    # and is as unsure: the variance of q m, with q = h^2 unsure by u, is (q^2 + u^2) sd^2 + u^2 m^2
    mean, sd = priors.SIDE_MM2
    unsure = plain.widened(Scatter(hand=2.0, hand_unsure=1.5))
    push = math.sqrt((16.0 + 1.5**2) * sd**2 + 1.5**2 * mean**2)
    assert unsure.spread[0, C.SIDE, names.index("side")] == pytest.approx(push)
    # a neck that gives way: its mean, and how unsure that is, over what is believed of one that is held
    gave = plain.widened(Scatter(neck=3.0, neck_unsure=2.0))
    held = plain.spread[0, C.NECK_BENDS, names.index("neck")]
    assert gave.centre[:, C.NECK_BENDS] - plain.centre[:, C.NECK_BENDS] == pytest.approx([3.0 * held, 0.0])
    assert gave.spread[0, C.NECK_BENDS, names.index("neck")] == pytest.approx(2.0 * held)
    assert gave.spread[0, C.BOARD] == pytest.approx(plain.spread[0, C.BOARD])
    placed = plain.widened(Scatter(place=1.5))
    assert placed.spread[0, C.BOARD] == pytest.approx(1.5 * plain.spread[0, C.BOARD])
    assert placed.spread[0, C.SIDE, names.index("side")] == plain.spread[0, C.SIDE, names.index("side")]


def test_usual_forces_by_the_tension() -> None:
    assert math.exp(priors.log_force(50.0)) == pytest.approx(5.8)
    assert math.exp(priors.log_force(75.0)) == pytest.approx(5.8)
    assert math.exp(priors.log_force(150.0)) == pytest.approx(5.8 * 2**0.7)
    scatter = priors.log_force_scatter(np.array([80.0, 160.0, 10.0, 900.0, 1.0]))
    assert scatter == pytest.approx([0.30, 0.30 * 2**0.45, max(0.15, 0.30 / 8**0.45), 0.60, 0.15])


def test_coordinates_are_centre_and_spread() -> None:
    found = build_unknowns(STEEL, [CaseRequest(PRESS_1, 1), CaseRequest(PRESS_1, 2)])
    z = np.random.default_rng(1).normal(size=len(found.names))
    for c in range(2):
        for at in C:
            expected = found.centre[c, at] + found.spread[c, at] @ z
            assert found.coordinates(z)[c, at] == pytest.approx(expected)
    assert found.names[found.column("nut")] == "nut"
