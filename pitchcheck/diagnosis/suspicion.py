"""Whom to suspect where only fretted notes were heard: an order, never a verdict.

Conventions: cents and mm. A finger only ever pushes a note sharp, and how hard it presses scatters by a third
from note to note, so of like notes the flattest says most of the slot; the fit's belief takes them all alike.
What is left over the note expected at the target is turned into a height by how strongly the string answers,
K / n at fret n for a stretch factor K (docs/model.md; the constant is that of all strings and cancels).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from pitchcheck.fit.result import Fit, StringFit
from pitchcheck.judgement import FIRST_FRETS, SlotJudgement, Witness
from pitchcheck.survey import Survey
from pitchcheck.takes import Stop

# [-] belief from which a slot is suspected; chosen: 28 of 30 planted ones are then named, 26 at 0.5
SUSPICION = 0.4
ALONG = 0.25  # [-] belief from which another slot is named beside one that is suspected: chosen


def find_suspects(survey: Survey, fit: Fit, slots: Sequence[SlotJudgement]) -> tuple[int, ...]:
    """Return the strings whose slots may be high though nothing played can tell it, most suspicious first.

    Returns
    -------
    tuple of int
        Empty where no slot is likely enough to be high. Slots that were pressed or gauged are judged, not
        suspected.
    """
    beliefs = {
        slot.number: slot.goal.belief_high(slot.height_mm)
        for slot in slots
        if slot.witness is Witness.FRETTED and slot.height_mm is not None
    }
    if not beliefs or max(beliefs.values()) < SUSPICION:
        return ()
    strings = {string.number: string for string in fit.strings}
    excess = {
        number: _excess(survey, strings[number]) for number, belief in beliefs.items() if belief >= ALONG
    }
    return tuple(sorted(excess, key=lambda number: -excess[number]))


def _excess(survey: Survey, string: StringFit) -> float:
    """Return how far the flattest notes of frets 1 to 3 lie above what the target asks, as a height.

    Its unit is the same for all strings of one instrument, and no more than that.
    """
    heard: dict[int, list[float]] = defaultdict(list)
    for stopped in survey.stopped:
        place = stopped.take.position
        if place.string == string.number and place.stop is Stop.FRET and not place.capo and place.fret:
            heard[place.fret].append(stopped.error_cents)
    frets = [fret for fret in heard if fret <= FIRST_FRETS]
    if not frets:
        return -np.inf
    answer = [string.stretch_factor.median / fret for fret in frets]
    over = [min(heard[fret]) - float(string.neck_target_cents[fret - 1]) for fret in frets]
    weights = [len(heard[fret]) / fret**2 for fret in frets]
    return float(np.average(np.array(over) / np.array(answer), weights=weights))
