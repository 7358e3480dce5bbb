"""What a reader should know of a fit: what it could not tell apart, what contradicts it, what does not fit.

Conventions: records with their numbers; ``pitchcheck.words`` puts them into sentences.
"""

from __future__ import annotations

import numpy as np

from pitchcheck.fit import priors
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import Coordinate, finger_behind_mm
from pitchcheck.fit.posterior import Posterior
from pitchcheck.fit.problem import Problem
from pitchcheck.fit.result import (
    HARDLY_USED,
    Confounder,
    MeterResidual,
    MisfitCause,
    PressMisfit,
    RemarkKind,
    Unseparated,
    Unsettled,
    UnsettledKind,
)
from pitchcheck.fit.solve import Solution
from pitchcheck.instrument import SLOT_QUANTITIES, Fretwork, Instrument, Tailpiece
from pitchcheck.physics.materials import string_constants
from pitchcheck.takes import Position, Stop
from pitchcheck.tuning import fret_place

TIED = 0.8  # [-] correlation beyond which two unknowns are said to be tied; our choice
BARELY = 0.6  # [-] share of the prior's width left, beyond which a slot was barely narrowed; our choice
FRETS_CAN_BE_MM = (0.5, 1.7)  # fret wire crowns 0.6 to 1.5 mm (from memory), a tenth more either way
SURELY = 0.95  # [-] belief that the frets lie outside of it before it is said; our choice
MISFIT_FACTOR = 2.0  # [-] overdispersion from which presses are said not to fit; our choice
# [-] presses that miss by so much, each counted up to 3 sd, yet by no rough hand; our choice
MISFIT_CHI_SQUARE, ONE_BAD, STEADY_FACTOR = 4.0, 9.0, 1.6
NOT_BELIEVED_FACTOR = (
    5.0  # [-] the same, from which no verdict rests on them: no hand, however clumsy; our choice
)
NOT_DOWN_SD, NECK_BENDS_SD = 0.1, 0.5  # [sd] fret height that presses feign; from tests/fe_bench
# [sd] beyond one that is held: from where a neck is said to bend, and blamed for a misfit; our choice
NECK_SURELY_SD, NECK_LIKELY_SD = 1.645, 1.0


def touch_belief(instrument: Instrument, problem: Problem, solution: Solution) -> Belief:
    """How deep the usual finger pushes a middling string below the fret tops, behind fret 1. [mm]

    A string held at both ends of the space sinks under a force F at a distance d from one end by
    (F/T) d (s - d) / s.
    """
    names = problem.unknowns.names
    tensions = [
        string_constants(s, scale_mm=instrument.string_scale_mm(s.number)).tension_n
        for s in instrument.strings
    ]
    tension = float(np.median(tensions))
    mean, sd = priors.log_force(tension), priors.LOG_FORCE_N[1]
    space = fret_place(instrument.scale_mm, 1)
    behind = float(finger_behind_mm(instrument.scale_mm, 1))
    compliance_mm = behind * (space - behind) / space
    if "force" in names:
        column = names.index("force")
        mean += sd * float(solution.z[column])
        sd *= float(np.sqrt(solution.covariance[column, column]))
    depth = Belief.normal(mean - np.log(tension) + np.log(compliance_mm), sd)
    return Belief(np.exp(depth.values), depth.probability)


def unseparated(problem: Problem, solution: Solution) -> tuple[Unseparated, ...]:
    """What the data could not tell apart from the slot heights."""
    names = problem.unknowns.names
    sd = np.sqrt(np.diag(solution.covariance))
    found = []
    for number in problem.strings:
        _, slopes = problem.coordinate(number, Coordinate.SLOT_HEIGHT, solution.z)
        cross = solution.covariance @ slopes
        slot_sd = float(np.sqrt(slopes @ cross))
        correlation = cross / (sd * slot_sd)
        if slot_sd > BARELY * float(np.linalg.norm(slopes)):
            found.append(Unseparated(number, Confounder.EVERYTHING, 1.0))
            continue
        for other, confounder in (
            ("fret height", Confounder.FRET_HEIGHT),
            ("nut", Confounder.NUT_POSITION),
            (f"stretch {number}", Confounder.STRETCH_FACTOR),
            ("fret 1", Confounder.FRET_1),
            ("fret 2", Confounder.FRET_2),
            ("force", Confounder.TOUCH),
        ):
            tied = float(correlation[names.index(other)]) if other in names else 0.0
            if abs(tied) > TIED:
                found.append(Unseparated(number, confounder, tied))
    return tuple(found)


def remarks(problem: Problem, solution: Solution) -> tuple[RemarkKind, ...]:
    """What made this fit wider or weaker than it could be."""
    found = (
        (problem.instrument.tailpiece is Tailpiece.FLOATING, RemarkKind.FLOATING_BRIDGE),
        (not problem.pressed, RemarkKind.NO_PRESSES),
        (not solution.settled, RemarkKind.NOT_SETTLED),
        (problem.instrument.fretwork is not Fretwork.LEVEL, RemarkKind.FRETWORK_UNKNOWN),
    )
    return tuple(kind for holds, kind in found if holds)


def meter_residuals(posterior: Posterior) -> tuple[MeterResidual, ...]:
    """Every reading of the last pass's meter table against the sound; a leaf by the bound that it sets."""
    values = [
        MeterResidual(
            check.row.meter_index,
            check.row.reading.value_mm,
            check.expected_mm,
            check.sd_mm,
            check.likely_slip_mm,
            check.questioned,
        )
        for check in posterior.gauges
        if check.row.meter_index is not None
    ]
    bounds = [
        MeterResidual(
            leaf.row.meter_index, leaf.row.bound_mm, leaf.expected_mm, leaf.sd_mm, None, leaf.questioned
        )
        for leaf in posterior.leaves
        if leaf.row.meter_index is not None
    ]
    return tuple(sorted([*values, *bounds], key=lambda row: row.index))


def unsettled(posterior: Posterior, *, fret_height_mm: Belief) -> tuple[Unsettled, ...]:
    """Contradictions that must be settled before a verdict."""
    problem = posterior.problem
    found = []
    for check in posterior.gauges:
        if not check.questioned:
            continue
        reading = check.row.reading
        own = reading.what in SLOT_QUANTITIES and reading.string is not None
        found.append(
            Unsettled(
                UnsettledKind.GAUGE if own else UnsettledKind.STATED_LENGTH,
                (reading.string,) if own and reading.string is not None else problem.strings,
                reading.what,
                reading.value_mm,
                check.expected_mm,
                check.sd_mm,
            )
        )
    for leaf in posterior.leaves:
        if leaf.questioned:
            strings = problem.strings if leaf.row.string is None else (leaf.row.string,)
            what = problem.unknowns.cases[leaf.row.case].kind.gauge
            found.append(
                Unsettled(UnsettledKind.LEAF, strings, what, leaf.row.bound_mm, leaf.expected_mm, leaf.sd_mm)
            )
    rough = max(posterior.scatter.slide, posterior.scatter.hand)
    explained = _explained_away(posterior)
    if rough > NOT_BELIEVED_FACTOR or explained or posterior.off_alike:
        told = set() if explained else _bracketed(posterior)
        strings = tuple(n for n in problem.strings if n in problem.pressed and n not in told)
        if strings:
            found.append(Unsettled(UnsettledKind.PRESSES, strings))
    elif aside := _all_set_aside(posterior):
        found.append(Unsettled(UnsettledKind.PRESSES, aside))
    low, high = FRETS_CAN_BE_MM
    outside = max(fret_height_mm.below(low), 1 - fret_height_mm.below(high))
    if outside > SURELY:
        sd = (fret_height_mm.high - fret_height_mm.low) / (2 * 1.645)
        found.append(
            Unsettled(UnsettledKind.FRET_HEIGHT, problem.strings, expected_mm=fret_height_mm.median, sd_mm=sd)
        )
    return tuple(found)


def press_misfit(posterior: Posterior) -> PressMisfit | None:
    """Presses that do not fit, with the likely cause; None where a careful hand explains them."""
    scatter, problem = posterior.scatter, posterior.problem
    chi_square, freedom = posterior.press_chi_square
    rough = max(scatter.hand, scatter.slide) >= MISFIT_FACTOR
    gave = _neck_beyond_held(posterior) > NECK_SURELY_SD
    if freedom < 1 or not (rough or gave or _explained_away(posterior) or posterior.off_alike):
        return None
    rows = [i for i, (_, place) in enumerate(problem.places) if place.stop is Stop.PRESS]
    strain = np.abs(posterior.press_strain)
    by_string: dict[int, float] = {}
    for row, value in zip(rows, strain, strict=True):
        number = problem.places[row][1].string
        by_string[number] = max(by_string.get(number, 0.0), float(value))
    worst = tuple(sorted(by_string, key=lambda n: -by_string[n]))
    place = problem.places[rows[int(np.argmax(strain))]][1]
    return PressMisfit(
        _cause(posterior),
        scatter,
        chi_square,
        freedom,
        worst,
        Position(place.string, Stop.PRESS, place.fret, place.capo),
    )


def _bracketed(posterior: Posterior) -> set[int]:
    """Strings whose gap leaves of the last pass bound on both sides: what is said of them needs no press."""
    used = [leaf.row for leaf in posterior.leaves if not leaf.questioned]
    sides = {(row.string, row.sign > 0) for row in used if row.index == posterior.problem.last}
    return {n for n in posterior.problem.strings if {(n, True), (n, False)} <= sides}


def _all_set_aside(posterior: Posterior) -> tuple[int, ...]:
    """Strings none of whose presses was believed: what is said of them rests on everything else."""
    best: dict[int, float] = {}
    for row, (_, place) in enumerate(posterior.problem.places):
        if place.stop is Stop.PRESS:
            weight = float(posterior.solution.weight[row])
            best[place.string] = max(best.get(place.string, 0.0), weight)
    return tuple(number for number, weight in best.items() if weight < HARDLY_USED)


def _explained_away(posterior: Posterior) -> bool:
    """Whether presses that do not fit came to fit by strings stretched out of all likelihood, not by a hand.

    All presses off by as much (a capo left on, one fret too far throughout) look like that.
    """
    _, freedom = posterior.press_chi_square
    capped = float(np.sum(np.minimum(posterior.press_strain**2, ONE_BAD)))  # one bad press is no misfit
    rough = max(posterior.scatter.hand, posterior.scatter.slide)
    return capped > MISFIT_CHI_SQUARE * max(freedom, 1.0) and rough < STEADY_FACTOR


def _neck_beyond_held(posterior: Posterior) -> float:
    """How far the neck bends under the rod beyond one that is held, over its standard deviation."""
    names, scatter = posterior.problem.unknowns.names, posterior.scatter
    if "neck" not in names:
        return -np.inf
    column = names.index("neck")
    solution = posterior.solution
    bends = scatter.neck + scatter.neck_unsure * float(solution.z[column])
    sd = scatter.neck_unsure * float(np.sqrt(solution.covariance[column, column]))
    return (bends - 1.0) / sd


def _cause(posterior: Posterior) -> MisfitCause:
    """The likely cause of a misfit: an unsteady rod, else the side to which all presses miss."""
    scatter = posterior.scatter
    if _neck_beyond_held(posterior) > NECK_LIKELY_SD:
        return MisfitCause.NECK_BENDS
    if scatter.hand >= max(scatter.slide, STEADY_FACTOR):
        return MisfitCause.UNSTEADY_HAND
    names = posterior.problem.unknowns.names
    height = float(posterior.solution.z[names.index("fret height")])
    if posterior.off_alike:
        return MisfitCause.NOT_DOWN if posterior.press_shift[0] < 0 else MisfitCause.NECK_BENDS
    if height < NOT_DOWN_SD:  # the board seems nearer than it is
        return MisfitCause.NOT_DOWN
    return MisfitCause.NECK_BENDS if height > NECK_BENDS_SD else MisfitCause.UNEVEN
