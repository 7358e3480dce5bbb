"""What the fit has to say in words: what it could not tell apart, what widened it, the touch."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcheck.fit import priors
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import Coordinate, finger_behind_mm
from pitchcheck.fit.problem import Problem
from pitchcheck.fit.result import MeterResidual
from pitchcheck.fit.solve import Solution
from pitchcheck.instrument import Instrument, SessionSettings, Tailpiece
from pitchcheck.physics.materials import string_constants
from pitchcheck.tuning import fret_place

TIED = 0.8  # [-] correlation beyond which two unknowns are said to be tied; our choice
BARELY = 0.6  # [-] share of the prior's width left, beyond which a slot was barely narrowed; our choice


def touch_belief(instrument: Instrument, problem: Problem, solution: Solution) -> Belief:
    """How deep the usual finger pushes a middling string below the fret tops, behind fret 1. [mm]

    A string held at both ends of the space sinks under a force F at a distance d from one end by
    (F/T) d (s - d) / s.
    """
    column = problem.unknowns.names.index("force") if "force" in problem.unknowns.names else None
    tensions = [
        string_constants(s, scale_mm=instrument.string_scale_mm(s.number)).tension_n
        for s in instrument.strings
    ]
    tension = float(np.median(tensions))
    mean, sd = priors.log_force(tension), priors.LOG_FORCE_N[1]
    space = fret_place(instrument.scale_mm, 1)
    behind = float(finger_behind_mm(instrument.scale_mm, 1))
    compliance_mm = behind * (space - behind) / space
    if column is not None:
        mean += sd * float(solution.z[column])
        sd *= float(np.sqrt(solution.covariance[column, column]))
    depth = Belief.normal(mean - np.log(tension) + np.log(compliance_mm), sd)
    return Belief(np.exp(depth.values), depth.probability)


def unseparated(problem: Problem, solution: Solution) -> tuple[str, ...]:
    """Name, in plain words, what the data could not tell apart."""
    names = problem.unknowns.names
    sd = np.sqrt(np.diag(solution.covariance))
    found = []
    for number in problem.strings:
        _, slopes = problem.coordinate(number, Coordinate.SLOT_HEIGHT, solution.z)
        cross = solution.covariance @ slopes
        slot_sd = float(np.sqrt(slopes @ cross))
        correlation = cross / (sd * slot_sd)
        if slot_sd > BARELY * float(np.linalg.norm(slopes)):
            found.append(f"the slot height of string {number}: nothing heard narrows it much")
            continue
        for other, words in (
            ("fret height", "the height of the frets"),
            ("nut", "the nut's place"),
            (f"stretch {number}", "how strongly it stretches"),
            ("fret 1", "the height of fret 1"),
            ("fret 2", "the height of fret 2"),
            ("force", "the player's touch"),
        ):
            if other in names and abs(correlation[names.index(other)]) > TIED:
                found.append(f"the slot height of string {number} and {words}")
    return tuple(found)


def fit_notes(
    settings: SessionSettings, problem: Problem, solution: Solution, held: Sequence[MeterResidual]
) -> tuple[str, ...]:
    """Say what a reader should know of this fit."""
    notes = []
    if settings.instrument.tailpiece is Tailpiece.FLOATING:
        notes.append(
            "The bridge floats and gives when a string is pressed, so how strongly the strings stretch is "
            "less certain and every interval is wider."
        )
    if not problem.pressed:
        notes.append(
            "There are no press takes: fretted notes show the symptom, and the slot heights stay wide."
        )
    if not solution.settled:
        notes.append(
            "The fit did not settle; its figures are rougher than they look. Check the takes for slips."
        )
    for row in held:
        if row.index >= len(settings.meter) and row.questioned:
            notes.append(
                f"A length stated for the instrument ({row.read_mm:.2f} mm) does not agree with the sound "
                f"({row.expected_mm:.2f} mm) and was left out. Measure it again."
            )
    return tuple(notes)
