"""Leaves bound a gap: they narrow their slot as a bound can, and one that cannot be true is questioned."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy import stats

from helpers.planted import SIX, job_of, usual_takes
from pitchcheck.fit import Fit, fit_instrument
from pitchcheck.fit.leaves import LAPSE, LeafSites, update_sites
from pitchcheck.fit.priors import ARCH_PART, BREAK_RAD
from pitchcheck.fit.problem import FitPass, build_problem
from pitchcheck.fit.result import UnsettledKind
from pitchcheck.fit.solve import solve
from pitchcheck.instrument import Fretwork, MeterQuantity, MeterReading, SessionSettings
from pitchcheck.physics.gauges import open_clearance_mm
from pitchcheck.physics.materials import string_constants
from pitchcheck.physics.stops import SADDLE_BREAK_RAD
from pitchcheck.survey import build_survey
from pitchcheck.takes import Position, Stop, Take

LEVEL = job_of()
JOB = replace(LEVEL, instrument=replace(LEVEL.instrument, fretwork=Fretwork.UNKNOWN))
# A wound E2 arches over nut and saddle by lambda theta / 2 above the straight line, and keeps most of that;
# at fret 1, 1 - 2^(-1/12) of the length from the nut, both count as the straight line would have it.
AT_1 = 1 - 2 ** (-1 / 12)
ARCH_MM = (
    string_constants(JOB.instrument.string(6), scale_mm=JOB.instrument.scale_mm).bend_mm
    * ((1 - AT_1) * BREAK_RAD[0] + AT_1 * SADDLE_BREAK_RAD)
    / 2
    * ARCH_PART["steel"][0]
)
GAP_MM = open_clearance_mm(SIX[5], action_12_mm=2.0, relief_mm=0.15) + ARCH_MM  # of string 6, as simulated
EXACT_MM = 0.003  # what expectation propagation leaves of a bound on one gap, against the integral itself


@cache
def by_ear() -> Fit:
    return fit_instrument(JOB, build_survey(usual_takes()))


def bounded(passes_mm: float | None, stops_mm: float | None) -> SessionSettings:
    bounds = [b for b in (passes_mm, stops_mm) if b is not None]
    middle = float(np.mean(bounds))
    gap = MeterQuantity.CLEARANCE_OPEN
    return replace(JOB, meter=(MeterReading(gap, 6, middle, 0.012, passes_mm, stops_mm),))


def fitted(settings: SessionSettings) -> Fit:
    return fit_instrument(settings, build_survey(usual_takes()))


def width(fit: Fit, string: int) -> float:
    belief = fit.strings[string - 1].height_mm
    return belief.high - belief.low


def test_two_leaves_narrow_their_slot_and_the_others_too() -> None:
    fit = fitted(bounded(GAP_MM - 0.02, GAP_MM + 0.03))
    assert width(fit, 6) < 0.65 * width(by_ear(), 6)  # the arch of a wound string leaves the rest
    assert fit.strings[5].height_mm.median == pytest.approx(SIX[5], abs=0.03)  # half the way between
    assert fit.strings[5].gauged
    assert all(width(fit, n) < width(by_ear(), n) for n in range(1, 6))  # they share frets and board


def test_a_leaf_far_from_its_gap_says_next_to_nothing() -> None:
    fit = fitted(bounded(0.05, None))
    assert width(fit, 6) == pytest.approx(width(by_ear(), 6), rel=0.03)


@pytest.mark.parametrize(("passes_mm", "stops_mm"), [(None, 0.4), (1.5, None)])
def test_a_leaf_that_the_sound_contradicts_is_left_out_and_must_be_settled(
    passes_mm: float | None, stops_mm: float | None
) -> None:
    fit = fitted(bounded(passes_mm, stops_mm))
    (wrong,) = fit.unsettled
    assert (wrong.kind, wrong.strings) == (UnsettledKind.LEAF, (6,))
    assert width(fit, 6) == pytest.approx(width(by_ear(), 6), rel=0.01)


def test_a_bound_has_the_moments_of_the_integral() -> None:
    """Mean and sd of the gap after one leaf, against the normal belief times the likelihood, by numbers."""
    problem = build_problem([FitPass(bounded(GAP_MM + 0.05, None), build_survey(usual_takes()))])
    ear = solve(problem.unknowns, problem.data)
    (leaf,) = problem.leaves
    row = problem.unknowns.spread[leaf.case]
    sites = update_sites(problem, [leaf], ear, LeafSites.empty(1))
    from pitchcheck.fit.leaves import gaps

    mean, slope = gaps(problem, [leaf], ear)
    variance = float(slope[0] @ ear.covariance @ slope[0])
    assert row.size
    x = np.linspace(mean[0] - 8 * variance**0.5, mean[0] + 8 * variance**0.5, 20_001)
    likelihood = LAPSE + (1 - 2 * LAPSE) * stats.norm.cdf((x - leaf.bound_mm) / leaf.sd_mm)
    weight = stats.norm.pdf(x, mean[0], variance**0.5) * likelihood
    true_mean = float(np.average(x, weights=weight))
    true_sd = float(np.average((x - true_mean) ** 2, weights=weight)) ** 0.5
    after = 1 / (1 / variance + 1 / sites.variance_mm2[0])
    assert after**0.5 == pytest.approx(true_sd, abs=EXACT_MM)
    told = after * (mean[0] / variance + sites.value_mm[0] / sites.variance_mm2[0])
    assert told == pytest.approx(true_mean, abs=EXACT_MM)


@pytest.mark.parametrize("wrong_mm", [0.1, 0.2, 0.3])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_leaf_misread_beside_a_true_bracket_leaves_both_places_open(wrong_mm: float, sign: float) -> None:
    """One leaf is misread: which of those that contradict one another is not told."""
    wrong = (GAP_MM + sign * wrong_mm, 0.2 if sign > 0 else 101.0)
    right = ((GAP_MM - 0.025, 0.2), (GAP_MM + 0.025, 101.0))
    alone, both = (
        fit_instrument(JOB, build_survey((*usual_takes(), *leaf_takes(*leaves)))).strings[5].height_mm
        for leaves in (right, (*right, wrong))
    )
    assert both.low < SIX[5] < both.high
    # One leaf of the three is wrong, and each of two may be: surer than by the bracket alone is nobody.
    assert both.high - both.low > 1.2 * (alone.high - alone.low)


def test_the_order_of_leaves_changes_nothing() -> None:
    leaves = [(GAP_MM - 0.025, 0.2), (GAP_MM + 0.15, 0.2), (GAP_MM + 0.025, 101.0)]
    first, second = (
        fit_instrument(JOB, build_survey((*usual_takes(), *leaf_takes(*few)))).strings[5].height_mm
        for few in (leaves, leaves[::-1])
    )
    assert (first.low, first.high) == pytest.approx((second.low, second.high), abs=EXACT_MM)


def leaf_takes(*leaves: tuple[float, float]) -> tuple[Take, ...]:
    """Leaf takes on string 6 with so many cents above the open string, bare open takes around them."""
    hz = JOB.instrument.string(6).nominal_hz
    open_place = Position(6, Stop.OPEN)
    rows = [Take(900, None, open_place, hz, 0.15, 900.0)]
    for i, (leaf_mm, cents) in enumerate(leaves, 901):
        place = Position(6, Stop.LEAF, 1, 0, leaf_mm)
        rows.append(Take(i, None, place, hz * 2 ** (cents / 1200), 0.15, float(i)))
    return (*rows, Take(999, None, open_place, hz, 0.15, 999.0))


def test_leaves_read_one_by_one_tell_what_they_tell_together() -> None:
    together = fitted(bounded(GAP_MM - 0.02, GAP_MM + 0.03)).strings[5].height_mm
    readings = (*bounded(GAP_MM - 0.02, None).meter, *bounded(None, GAP_MM + 0.03).meter)
    apart = fitted(replace(JOB, meter=readings)).strings[5].height_mm
    assert (apart.low, apart.median, apart.high) == pytest.approx(
        (together.low, together.median, together.high), abs=EXACT_MM
    )


def test_leaf_takes_are_heard_as_leaves() -> None:
    takes = (*usual_takes(), *leaf_takes((GAP_MM - 0.02, 0.2), (GAP_MM + 0.03, 101.0)))
    by_ear = fit_instrument(JOB, build_survey(takes)).strings[5].height_mm
    by_hand = fitted(bounded(GAP_MM - 0.02, GAP_MM + 0.03)).strings[5].height_mm
    assert by_ear.median == pytest.approx(by_hand.median, abs=EXACT_MM)
    assert by_ear.high - by_ear.low == pytest.approx(by_hand.high - by_hand.low, rel=0.05)


def test_what_a_leaf_would_tell_is_foreseen() -> None:
    """The mean variance over both answers, foreseen, against the two fits, weighed by their chances."""
    assert by_ear().joint is not None
    asked = Position(6, Stop.LEAF, 1, 0, GAP_MM)
    gap_mm = float(by_ear().joint.outlook(JOB.instrument, [asked], reading_cents=0.2).expected[0])
    leaf = Position(6, Stop.LEAF, 1, 0, gap_mm)  # as thick as the gap is expected: it tells most
    view = by_ear().joint.outlook(JOB.instrument, [leaf], reading_cents=0.2)
    foreseen = view.heights_after([0])[5, 5]
    sd = (view.covariance[6, 6] + view.noise[0]) ** 0.5
    chance = float(stats.norm.cdf((view.expected[0] - gap_mm) / sd))
    after = [
        fit_instrument(JOB, build_survey((*usual_takes(), *leaf_takes((gap_mm, cents)))))
        for cents in (0.2, 101.0)
    ]
    wide, narrow = (fit.height_covariance_mm2[5, 5] for fit in after)
    told = chance * wide + (1 - chance) * narrow
    assert foreseen == pytest.approx(told, rel=0.1)
    assert foreseen < 0.65 * view.heights_after()[5, 5]  # a third off and more, arch and all
