"""One joint fit of a whole instrument: all strings, all passes, all takes and all gauge readings at once.

Conventions: cents for takes, mm for gauges; beliefs are marginals of the joint posterior, as things are in
the last pass.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcheck.fit import remarks
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import Coordinate
from pitchcheck.fit.joint import Joint
from pitchcheck.fit.neck import neck_curves
from pitchcheck.fit.posterior import Posterior, solve_problem
from pitchcheck.fit.problem import FitPass, Problem, build_problem
from pitchcheck.fit.result import HARDLY_USED, Fit, Residual, StringFit
from pitchcheck.fit.skewness import height_beliefs_of
from pitchcheck.fit.solve import Solution
from pitchcheck.instrument import SLOT_QUANTITIES, SessionSettings
from pitchcheck.survey import Survey, first_fret_cents
from pitchcheck.types import FloatArray


def fit_instrument(settings: SessionSettings, survey: Survey, *, before: Sequence[FitPass] = ()) -> Fit:
    """Fit slot heights and everything that could pass for them.

    Parameters
    ----------
    settings : SessionSettings
        Instrument, gauge readings, and what was removed since the pass before.
    survey : Survey
        Errors in cents with their covariance; it may hold some strings only.
    before : sequence of FitPass, optional
        Passes before this one, earliest first. All passes are one measurement: what they share is known
        better with every one of them, and every removal, told or not, is one more equation.

    Returns
    -------
    Fit
        As things are in the last pass: one StringFit for every string with a usable stopped take, a leaf take
        or a gauge reading of its own, in any pass.
    """
    passes = (*before, FitPass(settings, survey))
    return fit_of(solve_problem(build_problem(passes)), settings, survey)


def fit_of(posterior: Posterior, settings: SessionSettings, survey: Survey) -> Fit:
    """Beliefs of the last pass from a posterior."""
    problem, data, solution = posterior.problem, posterior.data, posterior.solution
    heights = height_beliefs_of(problem, data, solution)
    necks = neck_curves(settings, problem.unknowns, solution.z, effects=problem.effects)
    gauged = _gauged(posterior)
    residuals = _residuals(problem, survey, solution)
    hardly_used = {residual.row for residual in residuals if residual.weight < HARDLY_USED}
    strings = tuple(
        StringFit(
            number=number,
            height_mm=heights[number],
            stretch_factor=_log_belief(problem, solution, number, Coordinate.LOG_STRETCH_FACTOR),
            saddle_mm=_belief(problem, solution, number, Coordinate.SADDLE),
            nut_offset_mm=_belief(problem, solution, number, Coordinate.NUT_OFFSET),
            pressed=number in problem.pressed,
            first_fret_cents=first_fret_cents(survey, number, without=hardly_used),
            neck_now_cents=necks[number].now_cents,
            neck_target_cents=necks[number].target_cents,
            neck_touch_cents=necks[number].touch_cents,
            gauged=number in gauged,
            heard_before=problem.last_heard[number] < problem.last,
        )
        for number in problem.strings
    )
    first = problem.strings[0]
    fret_height_mm = _log_belief(problem, solution, first, Coordinate.LOG_FRET_HEIGHT)
    return Fit(
        strings=strings,
        fret_height_mm=fret_height_mm,
        nut_offset_mm=_nut_belief(problem, solution),
        touch_mm=remarks.touch_belief(settings.instrument, problem, solution),
        height_covariance_mm2=_height_covariance(problem, solution),
        residuals=residuals,
        meter=remarks.meter_residuals(posterior),
        unseparated=remarks.unseparated(problem, solution),
        remarks=remarks.remarks(problem, solution),
        joint=Joint(
            problem.unknowns.names,
            solution.z,
            solution.covariance,
            problem.effects,
            posterior.scatter,
            problem.strings,
        ),
        scatter=posterior.scatter,
        unsettled=remarks.unsettled(posterior, fret_height_mm=fret_height_mm),
        misfit=remarks.press_misfit(posterior),
    )


def _gauged(posterior: Posterior) -> set[int]:
    """Strings whose own slot was gauged, by a reading that was used."""
    found = {
        check.row.reading.string
        for check in posterior.gauges
        if not check.questioned and check.row.reading.what in SLOT_QUANTITIES
    }
    found |= {leaf.row.string for leaf in posterior.leaves if not leaf.questioned}
    return {number for number in found if number is not None}


def _belief(problem: Problem, solution: Solution, number: int, at: Coordinate) -> Belief:
    """Belief in one coordinate of one string."""
    mean, slopes = problem.coordinate(number, at, solution.z)
    return Belief.normal(mean, float(np.sqrt(slopes @ solution.covariance @ slopes)))


def _log_belief(problem: Problem, solution: Solution, number: int, at: Coordinate) -> Belief:
    """Belief in a positive quantity whose logarithm is a coordinate."""
    belief = _belief(problem, solution, number, at)
    return Belief(np.exp(belief.values), belief.probability)


def _nut_belief(problem: Problem, solution: Solution) -> Belief:
    """Belief in the nut's own part of the nut offsets."""
    case = problem.plain_case[-1][problem.strings[0]]
    column = problem.unknowns.column("nut")
    size = float(problem.unknowns.spread[case, Coordinate.NUT_OFFSET, column])
    sd = float(np.sqrt(solution.covariance[column, column]))
    return Belief.normal(size * float(solution.z[column]), size * sd)


def _height_covariance(problem: Problem, solution: Solution) -> FloatArray:
    """Covariance of the slot heights, in the order of the fitted strings. [mm^2]"""
    rows = np.array([problem.coordinate(n, Coordinate.SLOT_HEIGHT, solution.z)[1] for n in problem.strings])
    return np.asarray(rows @ solution.covariance @ rows.T)


def _residuals(problem: Problem, survey: Survey, solution: Solution) -> tuple[Residual, ...]:
    """Every stopped take of the last pass against the fit."""
    own = [row for row, (index, _) in enumerate(problem.places) if index == problem.last]
    return tuple(
        Residual(
            position=stopped.take.position,
            row=stopped.take.row,
            heard_cents=stopped.error_cents,
            expected_cents=float(solution.expected[row]),
            sd_cents=float(solution.scatter[row]),
            weight=float(solution.weight[row]),
        )
        for row, stopped in zip(own, survey.stopped, strict=True)
    )
