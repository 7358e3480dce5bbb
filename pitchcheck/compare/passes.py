"""Two passes compared: how far every slot moved, how sure that is, and whether it is what was told.

Conventions: a change is after less before; beliefs are unrounded. See equation 15 of docs/model.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pitchcheck.compare import limits, words
from pitchcheck.compare.beliefs import Beliefs, beliefs_of
from pitchcheck.compare.both import AFTER, BEFORE, TwoPassProblem, build_two_pass_problem
from pitchcheck.compare.necks import fit_of
from pitchcheck.compare.places import position_changes
from pitchcheck.compare.records import Change, Comparison, Match, SlotChange
from pitchcheck.compare.scatter import repeats, scatter_factor, widened
from pitchcheck.errors import BadValue
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.modes import weigh_modes
from pitchcheck.fit.solve import Solution, solve
from pitchcheck.instrument import Removal
from pitchcheck.judgement import SlotJudgement, verdict
from pitchcheck.measurement import Measurement
from pitchcheck.takes import Stop


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
    both = build_two_pass_problem(before, after)
    if both is None:
        strings = tuple(_unheard(after, s.number, told_mm) for s in after.settings.instrument.strings)
        return Comparison(strings, (), 1.0, ())
    ear = solve(both.unknowns, both.data)
    factors = {stop: scatter_factor(both, ear, stop) for stop in (Stop.FRET, Stop.PRESS)}
    wide = _with_scatter(both, ear, factors)
    again = ear if wide is both else solve(wide.unknowns, wide.data, start=ear.z)
    solution = weigh_modes(wide.unknowns, wide.data, again)  # takes that contradict one another: both ways
    beliefs = beliefs_of(wide, solution)
    return Comparison(
        strings=tuple(
            _slot(after, s.number, wide, solution, told_mm, beliefs=beliefs)
            if s.number in both.changes
            else _unheard(after, s.number, told_mm)
            for s in after.settings.instrument.strings
        ),
        repeats=repeats(both, ear),
        scatter=factors[Stop.PRESS] if both.passes[AFTER].pressed else factors[Stop.FRET],
        assumed=words.assumed(before, after, both),
        notes=words.notes(both, solution),
        before=fit_of(before, wide, solution, BEFORE, heights=beliefs.before_mm),
        after=fit_of(after, wide, solution, AFTER, heights=beliefs.after_mm),
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


def _with_scatter(both: TwoPassProblem, ear: Solution, factors: dict[Stop, float]) -> TwoPassProblem:
    """Return the same problem with this hand's scatter; the very same for a usual hand."""
    if all(factor == 1.0 for factor in factors.values()):
        return both
    data = widened(both, ear, factors)
    first, second = (replace(p, data=data) for p in both.passes)
    return replace(both, passes=(first, second))


def _slot(
    after: Measurement,
    number: int,
    both: TwoPassProblem,
    solution: Solution,
    told_mm: dict[int, float],
    *,
    beliefs: Beliefs,
) -> SlotChange:
    """What can be said of one slot."""
    change, second = beliefs.change_mm[number], beliefs.after_mm[number]
    slot = _judged(after, number)
    goal = slot.goal
    kind = change_of(change, tolerance_mm=goal.tolerance_mm)
    return SlotChange(
        number=number,
        note=after.settings.instrument.string(number).note,
        before_mm=beliefs.before_mm[number],
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
        places=position_changes(both, solution, number),
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
        places=(),
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
    if lower >= limits.CHANGED_BELIEF:
        return Change.LOWER
    if 1 - lower >= limits.CHANGED_BELIEF:
        return Change.HIGHER
    within = change_mm.below(tolerance_mm) - change_mm.below(-tolerance_mm)
    return Change.SAME if within >= limits.SAME_BELIEF else Change.UNSURE


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
    heard_sd = (change_mm.quantile(0.8413) - change_mm.quantile(0.1587)) / 2
    told_sd = np.hypot(limits.LEAST_TOLD_ERROR_MM, limits.TOLD_ERROR * told_mm)
    if abs(heard_mm - told_mm) <= limits.MATCH_SD * float(np.hypot(heard_sd, told_sd)):
        return Match.AGREES
    return Match.LESS if heard_mm < told_mm else Match.MORE
