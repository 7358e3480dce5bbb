"""What a comparison takes to be the same, and what else it has to say, in whole sentences."""

from __future__ import annotations

from pitchcheck.compare import limits
from pitchcheck.compare.both import AFTER, TwoPassProblem
from pitchcheck.diagnosis.words import listed
from pitchcheck.fit.solve import Solution
from pitchcheck.measurement import Measurement


def assumed(before: Measurement, after: Measurement, both: TwoPassProblem) -> tuple[str, ...]:
    """Say what is taken to be the same in both passes, and what was allowed for."""
    sentences = [
        "Frets, the place of the nut, the saddle and the strings are taken to be the same in both passes: "
        "if strings were changed for another set or the frets were dressed in between, do not compare.",
        "A touch a little lighter or heavier, a neck that moved a little and another place of the rod are "
        "allowed for.",
    ]
    first, second = before.settings.instrument.action_12, after.settings.instrument.action_12
    if first is not None and second is not None and first != second:
        sentences.append(
            f"The action over fret 12 was given as {first.value_mm:.2f} mm before, {second.value_mm:.2f} mm "
            "after; that is reckoned with."
        )
    retuned = [n for n, cents in both.retuned_cents.items() if abs(cents) >= limits.RETUNED_CENTS]
    if retuned:
        sentences.append(
            f"{listed(retuned).capitalize()} {'was' if len(retuned) == 1 else 'were'} tuned otherwise in the "
            "second pass; that is reckoned with."
        )
    return tuple(sentences)


def notes(both: TwoPassProblem, solution: Solution) -> tuple[str, ...]:
    """Say what makes this comparison weaker than it could be."""
    found = []
    unpressed = [n for n in both.changes if n not in both.passes[AFTER].pressed]
    if unpressed:
        found.append(
            f"No press takes on {listed(unpressed)}: fretted notes alone hardly tell how a slot changed."
        )
    if not solution.settled:
        found.append("The comparison did not settle; its figures are rougher than they look.")
    return tuple(found)
