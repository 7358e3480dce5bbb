"""Two passes compared: how far every slot moved, how sure that is, and whether it is what was told.

Conventions: mm; a change is after less before; beliefs are unrounded. Both passes are one fit
(``fit.problem``): frets, nut, saddle and strings are the same in both, so what is not known of them cancels
in a change. What was told to have come off is no datum: it is only held against what was heard. See equation
15 of docs/model.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.compare.records import (
    AFTER,
    BEFORE,
    Assumption,
    AssumptionKind,
    Change,
    Comparison,
    Match,
    PositionChange,
    SlotChange,
    Weakness,
    WeaknessKind,
)
from pitchcheck.compare.repeats import position_changes, repeats
from pitchcheck.errors import BadValue
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import Coordinate
from pitchcheck.fit.neck import neck_curves
from pitchcheck.fit.posterior import Posterior, solve_problem
from pitchcheck.fit.problem import REMOVED_ERROR, REMOVED_ERROR_MM, FitPass, Problem, build_problem
from pitchcheck.fit.result import Fit
from pitchcheck.fit.skewness import NO_CORRECTION, height_beliefs, height_rows, skew_corrections
from pitchcheck.fit.unknowns import Removal as RemovalBelief
from pitchcheck.fit.unknowns import removal_name
from pitchcheck.instrument import Removal
from pitchcheck.judgement import SlotJudgement, verdict
from pitchcheck.measurement import Measurement
from pitchcheck.takes import Stop
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_LOG

CHANGE_MM = 0.5  # how much a slot may have moved: wide, so that the sound alone decides; our choice
CHANGED_BELIEF = 0.995  # [-] belief that a change needs before it is called one: definition
SAME_BELIEF = 0.90  # [-] belief that a slot moved by less than the tolerance: definition
MATCH_SD = 2.0  # [sd] within which told and heard agree: the usual 95 %
ONE_SD_BELOW = 0.1587  # [-] quantile of a normal belief one standard deviation below its mean
RETUNED_CENTS = 10.0  # [cent] from here on a string tuned otherwise is named; our choice


@dataclass(frozen=True)
class _Beliefs:
    """Beliefs by string number. [mm]"""

    before: dict[int, Belief]
    after: dict[int, Belief]
    change: dict[int, Belief]


def compare_measurements(
    before: Measurement, after: Measurement, *, told: Sequence[Removal] | None = None
) -> Comparison:
    """Hold two passes over one instrument against one another.

    Parameters
    ----------
    before, after : Measurement
        Of the same strings on the same scale.
    told : sequence of Removal, optional
        What came off between the two, as told; amounts for one string add up. By default what the pass after
        says was removed before it.

    Returns
    -------
    Comparison
        Every string of the pass after; those not heard in both passes have no beliefs.

    Raises
    ------
    BadValue
        If the two are not one instrument.
    """
    _check_same(before, after)
    told_mm = _told_mm(after.settings.removed if told is None else told)
    problem = _problem(before, after)
    if problem is None:
        strings = tuple(_unheard(after, s.number, told_mm) for s in after.settings.instrument.strings)
        return Comparison(strings, (), 1.0, ())
    posterior = solve_problem(problem)
    beliefs = _beliefs(posterior)
    moved = position_changes(posterior)
    return Comparison(
        strings=tuple(
            _slot(after, s.number, told_mm, beliefs=beliefs, positions=moved.get(s.number, ()))
            if s.number in beliefs.change
            else _unheard(after, s.number, told_mm)
            for s in after.settings.instrument.strings
        ),
        repeats=repeats(posterior),
        scatter=posterior.roughness(Stop.PRESS if problem.pressed else Stop.FRET),
        assumptions=_assumptions(before, after, problem),
        weaknesses=_weaknesses(posterior),
        before=_fit_of(before, posterior, BEFORE, heights=beliefs.before),
        after=_fit_of(after, posterior, AFTER, heights=beliefs.after),
    )


def _check_same(before: Measurement, after: Measurement) -> None:
    """Refuse to compare two instruments."""
    first, second = before.settings.instrument, after.settings.instrument
    if first.scale_mm != second.scale_mm:
        raise BadValue(
            f"the pass before has a scale of {first.scale_mm:g} mm, the pass after {second.scale_mm:g} mm; "
            "two passes are compared only on one instrument. Correct the settings of one of them."
        )
    notes = [[(s.number, s.note) for s in i.strings] for i in (first, second)]
    if notes[0] != notes[1]:
        raise BadValue(
            "the strings of the two passes differ in number or note; two passes are compared only on one "
            "instrument in one tuning. Correct the settings of one of them."
        )


def _told_mm(told: Sequence[Removal]) -> dict[int, float]:
    """Amounts told, added up by string."""
    total: dict[int, float] = {}
    for removal in told:
        total[removal.string] = total.get(removal.string, 0.0) + removal.amount_mm
    return total


def _problem(before: Measurement, after: Measurement) -> Problem | None:
    """Both passes as one fit of the strings heard in both; None when there is none."""
    if before.survey is None or after.survey is None:
        return None
    passes = tuple(_believed(m) for m in (before, after) if m.survey is not None)
    heard = [_strings_of(one) for one in passes]
    strings = heard[BEFORE] & heard[AFTER]
    if not strings:
        return None
    return build_problem(
        [_only(one, strings) for one in passes],
        removals=[dict.fromkeys(sorted(strings), RemovalBelief(0.0, CHANGE_MM))],
    )


def _believed(measurement: Measurement) -> FitPass:
    """A pass with the gauge readings that its own fit did not question."""
    assert measurement.survey is not None
    questioned = (
        set() if measurement.fit is None else {r.index for r in measurement.fit.meter if r.questioned}
    )
    settings = measurement.settings
    meter = tuple(reading for i, reading in enumerate(settings.meter) if i not in questioned)
    return FitPass(replace(settings, meter=meter), measurement.survey)


def _strings_of(one: FitPass) -> set[int]:
    """Strings that a pass alone could be fitted for."""
    return set(build_problem([one]).strings)


def _only(one: FitPass, strings: set[int]) -> FitPass:
    """A pass with some strings only."""
    survey = one.survey
    keep = [i for i, s in enumerate(survey.stopped) if s.take.position.string in strings]
    survey = replace(
        survey,
        stopped=tuple(survey.stopped[i] for i in keep),
        covariance_cents2=survey.covariance_cents2[np.ix_(keep, keep)],
        opens=tuple(t for t in survey.opens if t.position.string in strings),
        leaves=tuple(leaf for leaf in survey.leaves if leaf.take.position.string in strings),
    )
    meter = tuple(r for r in one.settings.meter if r.string is None or r.string in strings)
    return FitPass(replace(one.settings, meter=meter), survey)


def _change_row(problem: Problem, number: int) -> FloatArray:
    """Share of every unknown in the change of a slot. [mm]"""
    row = np.zeros(len(problem.unknowns.names))
    row[problem.unknowns.column(removal_name(number, BEFORE))] = -CHANGE_MM
    return row


def _beliefs(posterior: Posterior) -> _Beliefs:
    """Beliefs in heights and changes; corrected for skewness where a string was pressed in both passes.

    All three come from one solution, so the means of the heights lie apart by the mean of the change.
    """
    problem, solution = posterior.problem, posterior.solution
    pressed = [
        {p.string for i, p in problem.places if i == which and p.stop is Stop.PRESS}
        for which in (BEFORE, AFTER)
    ]
    heights = [height_rows(problem, solution, index=which) for which in (BEFORE, AFTER)]
    changes = {n: _change_row(problem, n) for n in problem.strings}
    both = {n: row for n, row in changes.items() if n in pressed[BEFORE] & pressed[AFTER]}
    rows = [*heights, both]
    every = [row for few in rows for row in few.values()]
    found = iter(skew_corrections(problem.unknowns, posterior.data, solution, every))
    before, after, change = [{number: next(found) for number in few} for few in rows]
    return _Beliefs(
        height_beliefs(problem, solution, before, index=BEFORE),
        height_beliefs(problem, solution, after, index=AFTER),
        {
            n: change.get(n, NO_CORRECTION).about(
                float(row @ solution.z), float(np.sqrt(row @ solution.covariance @ row))
            )
            for n, row in changes.items()
        },
    )


def _fit_of(
    measurement: Measurement, posterior: Posterior, which: int, *, heights: dict[int, Belief]
) -> Fit | None:
    """Return the fit of one pass with what both passes say of heights and fretted notes.

    The touch is that of the pass before in both, so that a lighter hand on the second day is not taken for
    the work of the file. Strings that were not heard in both passes keep what their own pass says. None for a
    pass without a fit.
    """
    if measurement.fit is None:
        return None
    problem, z = posterior.problem, posterior.solution.z
    own = {n: problem.coordinate(n, Coordinate.SLOT_HEIGHT, z, index=which)[0] for n in problem.strings}
    necks = neck_curves(
        measurement.settings, problem.unknowns, z, effects=problem.effects, index=BEFORE, heights_mm=own
    )
    strings = tuple(
        replace(
            string,
            height_mm=heights[string.number],
            neck_now_cents=necks[string.number].now_cents,
            neck_target_cents=necks[string.number].target_cents,
            neck_touch_cents=necks[string.number].touch_cents,
        )
        if string.number in heights
        else string
        for string in measurement.fit.strings
    )
    return replace(measurement.fit, strings=strings)


def _slot(
    after: Measurement,
    number: int,
    told_mm: dict[int, float],
    *,
    beliefs: _Beliefs,
    positions: tuple[PositionChange, ...],
) -> SlotChange:
    """What can be said of one slot."""
    change, second = beliefs.change[number], beliefs.after[number]
    slot = _judged(after, number)
    goal = slot.goal
    kind = change_of(change, tolerance_mm=goal.tolerance_mm)
    return SlotChange(
        number=number,
        note=after.settings.instrument.string(number).note,
        before_mm=beliefs.before[number],
        after_mm=second,
        change_mm=change,
        lower_belief=change.below(0.0),
        change=kind,
        told_mm=told_mm.get(number),
        match=match_of(change, kind, told_mm.get(number)),
        target_mm=goal.target_mm,
        floor_mm=goal.floor_mm,
        low_belief=goal.belief_low(second),
        verdict=verdict(goal, second, witness=slot.witness),
        positions=positions,
    )


def _judged(measurement: Measurement, number: int) -> SlotJudgement:
    """Return the judgement of one slot in one pass."""
    return next(plan.slot for plan in measurement.plan.strings if plan.number == number)


def _unheard(after: Measurement, number: int, told_mm: dict[int, float]) -> SlotChange:
    """A string that was not heard in both passes: only what the pass after says of it."""
    plan = _judged(after, number)
    goal = plan.goal
    return SlotChange(
        number=number,
        note=plan.note,
        before_mm=None,
        after_mm=plan.height_mm,
        change_mm=None,
        lower_belief=None,
        change=Change.UNSURE,
        told_mm=told_mm.get(number),
        match=Match.UNHEARD,
        target_mm=goal.target_mm,
        floor_mm=goal.floor_mm,
        low_belief=None if plan.height_mm is None else goal.belief_low(plan.height_mm),
        verdict=plan.verdict,
        positions=(),
    )


def change_of(change_mm: Belief, *, tolerance_mm: float) -> Change:
    """What can be said of a change.

    Parameters
    ----------
    change_mm : Belief
        After less before. [mm]
    tolerance_mm : float
        A change below this does not matter. [mm]
    """
    lower = change_mm.below(0.0)
    if lower >= CHANGED_BELIEF:
        return Change.LOWER
    if 1 - lower >= CHANGED_BELIEF:
        return Change.HIGHER
    within = change_mm.below(tolerance_mm) - change_mm.below(-tolerance_mm)
    return Change.SAME if within >= SAME_BELIEF else Change.UNSURE


def match_of(change_mm: Belief, kind: Change, told_mm: float | None) -> Match:
    """How a heard change agrees with the amount told.

    Parameters
    ----------
    change_mm : Belief
        After less before. [mm]
    kind : Change
    told_mm : float or None
        What was told to have come off. [mm]
    """
    if not told_mm:
        return Match.UNTOLD if kind in (Change.LOWER, Change.HIGHER) else Match.NOT_TOLD
    heard_mm = -change_mm.median
    heard_sd = (change_mm.quantile(1 - ONE_SD_BELOW) - change_mm.quantile(ONE_SD_BELOW)) / 2
    told_sd = np.hypot(REMOVED_ERROR_MM, REMOVED_ERROR * told_mm)
    if abs(heard_mm - told_mm) <= MATCH_SD * float(np.hypot(heard_sd, told_sd)):
        return Match.AGREES
    return Match.LESS if heard_mm < told_mm else Match.MORE


def _assumptions(before: Measurement, after: Measurement, problem: Problem) -> tuple[Assumption, ...]:
    """What is taken to be the same in both passes, and what was allowed for."""
    found = [Assumption(AssumptionKind.SAME_INSTRUMENT), Assumption(AssumptionKind.SMALL_CHANGES)]
    first, second = before.settings.instrument.action_12, after.settings.instrument.action_12
    if first is not None and second is not None and first != second:
        lengths = (first.value_mm, second.value_mm)
        found.append(Assumption(AssumptionKind.ACTION_RESTATED, lengths_mm=lengths))
    one, two = (effect.tuned_log for effect in problem.effects)
    retuned = tuple(
        n for n in problem.strings if CENTS_PER_LOG * abs(two.get(n, 0.0) - one.get(n, 0.0)) >= RETUNED_CENTS
    )
    if retuned:
        found.append(Assumption(AssumptionKind.RETUNED, strings=retuned))
    return tuple(found)


def _weaknesses(posterior: Posterior) -> tuple[Weakness, ...]:
    """What makes this comparison weaker than it could be."""
    problem = posterior.problem
    unpressed = tuple(n for n in problem.strings if n not in problem.pressed)
    found = [Weakness(WeaknessKind.NO_PRESSES, unpressed)] if unpressed else []
    if not posterior.solution.settled:
        found.append(Weakness(WeaknessKind.NOT_SETTLED))
    return tuple(found)
