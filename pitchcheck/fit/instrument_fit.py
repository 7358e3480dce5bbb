"""One joint fit of a whole instrument: all strings, all takes and all gauge readings at once.

Conventions: cents for takes, mm for gauges; beliefs are marginals of the joint posterior.
"""

from __future__ import annotations

import numpy as np

from pitchcheck.fit import words
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import Coordinate
from pitchcheck.fit.gauges import question_gauges
from pitchcheck.fit.joint import Joint
from pitchcheck.fit.modes import weigh_modes
from pitchcheck.fit.neck import neck_curves
from pitchcheck.fit.problem import Problem, build_problem, gauge_list
from pitchcheck.fit.result import Fit, Residual, StringFit
from pitchcheck.fit.skewness import height_beliefs_of
from pitchcheck.fit.solve import Data, Solution, solve
from pitchcheck.fit.unknowns import Unknowns
from pitchcheck.instrument import SessionSettings
from pitchcheck.survey import Survey, first_fret_cents
from pitchcheck.types import FloatArray


def fit_instrument(
    settings: SessionSettings, survey: Survey, *, before: tuple[SessionSettings, Survey] | None = None
) -> Fit:
    """Fit slot heights and everything that could pass for them.

    Parameters
    ----------
    settings : SessionSettings
        Instrument, gauge readings, and what was removed since the pass ``before``.
    survey : Survey
        Errors in cents with their covariance.
    before : tuple of SessionSettings and Survey, optional
        The pass before, on the same strings: what was removed between the two tells how strongly each string
        answers.

    Returns
    -------
    Fit
        One StringFit for every string with a usable stopped take or a gauge reading of its own.
    """
    problem = build_problem(settings, survey, before=before)
    ear = _solve(problem, problem.data)
    gauges = gauge_list(settings)
    held = question_gauges(gauges, problem, ear)
    solution, data = ear, problem.data
    if gauges:
        data = problem.with_gauges(gauges, held)
        solution = _solve(problem, data, start=ear.z)
    heights = height_beliefs_of(problem, data, solution)
    necks = neck_curves(settings, problem.unknowns, solution.z)
    strings = tuple(
        StringFit(
            number=number,
            height_mm=heights[number],
            stretch_factor=_log_belief(problem, solution, number, Coordinate.LOG_STRETCH_FACTOR),
            saddle_mm=_belief(problem, solution, number, Coordinate.SADDLE),
            nut_offset_mm=_belief(problem, solution, number, Coordinate.NUT_OFFSET),
            pressed=number in problem.pressed,
            first_fret_cents=first_fret_cents(survey, number),
            neck_now_cents=necks[number].now_cents,
            neck_target_cents=necks[number].target_cents,
            neck_touch_cents=necks[number].touch_cents,
        )
        for number in problem.strings
    )
    first = problem.strings[0]
    return Fit(
        strings=strings,
        fret_height_mm=_log_belief(problem, solution, first, Coordinate.LOG_FRET_HEIGHT),
        nut_offset_mm=_unknown_belief(problem.unknowns, solution, "nut", first, Coordinate.NUT_OFFSET),
        touch_mm=words.touch_belief(settings.instrument, problem, solution),
        height_covariance_mm2=_height_covariance(problem, solution),
        residuals=_residuals(survey, solution),
        meter=tuple(row for row in held if row.index < len(settings.meter)),
        unseparated=words.unseparated(problem, solution),
        notes=words.fit_notes(settings, problem, solution, held),
        joint=Joint(problem.unknowns.names, solution.z, solution.covariance),
    )


def _solve(problem: Problem, data: Data, *, start: FloatArray | None = None) -> Solution:
    """Most likely unknowns, and the other ways to read takes that contradict one another."""
    return weigh_modes(problem.unknowns, data, solve(problem.unknowns, data, start=start))


def _belief(problem: Problem, solution: Solution, number: int, at: Coordinate) -> Belief:
    """Belief in one coordinate of one string."""
    mean, slopes = problem.coordinate(number, at, solution.z)
    return Belief.normal(mean, float(np.sqrt(slopes @ solution.covariance @ slopes)))


def _log_belief(problem: Problem, solution: Solution, number: int, at: Coordinate) -> Belief:
    """Belief in a positive quantity whose logarithm is a coordinate."""
    belief = _belief(problem, solution, number, at)
    return Belief(np.exp(belief.values), belief.probability)


def _unknown_belief(unknowns: Unknowns, solution: Solution, name: str, string: int, at: Coordinate) -> Belief:
    """Belief in the part of a coordinate that one shared unknown gives."""
    case = next(i for i, c in enumerate(unknowns.cases) if c.string == string)
    column = unknowns.column(name)
    size = float(unknowns.spread[case, at, column])
    return Belief.normal(
        size * float(solution.z[column]), size * float(np.sqrt(solution.covariance[column, column]))
    )


def _height_covariance(
    problem: Problem, solution: Solution
) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """Covariance of the slot heights, in the order of the fitted strings. [mm^2]"""
    rows = np.array([problem.coordinate(n, Coordinate.SLOT_HEIGHT, solution.z)[1] for n in problem.strings])
    return np.asarray(rows @ solution.covariance @ rows.T)


def _residuals(survey: Survey, solution: Solution) -> tuple[Residual, ...]:
    """Every stopped take of this pass against the fit."""
    return tuple(
        Residual(
            position=stopped.take.position,
            row=stopped.take.row,
            heard_cents=stopped.error_cents,
            expected_cents=float(solution.expected[row]),
            sd_cents=float(solution.scatter[row]),
            weight=float(solution.weight[row]),
        )
        for row, stopped in enumerate(survey.stopped)
    )
