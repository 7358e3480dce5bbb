"""The next take worth playing: the one that most narrows a slot about which nothing can be said yet.

Conventions: mm. A slot is undecided while its verdict is unsure. The gain of a take is the drop in the
logarithm of the undecided slots' uncertainties, summed (information in nats, for normal beliefs).
"""

from __future__ import annotations

import numpy as np

from pitchcheck.diagnosis.slots import slot_goal
from pitchcheck.diagnosis.words import listed
from pitchcheck.fit.joint import Joint
from pitchcheck.fit.result import Fit
from pitchcheck.instrument import Board, SessionSettings
from pitchcheck.plan.judge import verdict
from pitchcheck.plan.records import Verdict
from pitchcheck.survey import Survey
from pitchcheck.takes import NextTake, Position, Stop

PRESS_FRETS = (1, 2, 3, 4)
FRETTED = (1, 2, 3, 12)
LEAST_GAIN = (
    0.02  # [nat] below this a take is not worth the string: it would narrow one slot by 2 %; our choice
)
HALF_OF_90 = 1.645  # [sd] half of a 90 % interval of a normal belief
USUAL_READING_CENTS = 0.2  # [cent] of one stopped take against its open strings, when no take says it


def best_take(settings: SessionSettings, survey: Survey, fit: Fit) -> NextTake | None:
    """Choose the take that would narrow the decision most.

    Parameters
    ----------
    job : Job
    survey : Survey
        Its readings tell how well the next one will be read.
    fit : Fit

    Returns
    -------
    NextTake or None
        None when every verdict is made, or no single take would narrow an open one noticeably.
    """
    if fit.joint is None:
        return None
    undecided = [
        s.number for s in fit.strings if verdict(slot_goal(settings, s.number), s.height_mm) is Verdict.UNSURE
    ]
    if not undecided:
        return None
    reading = [stopped.sd_cents for stopped in survey.stopped]
    return _choose(
        settings,
        fit.joint,
        undecided,
        reading_cents=float(np.median(reading)) if reading else USUAL_READING_CENTS,
    )


def _choose(
    settings: SessionSettings, joint: Joint, undecided: list[int], *, reading_cents: float
) -> NextTake | None:
    """Return the best of all single takes on the undecided strings."""
    places = _candidates(settings, undecided)
    numbers = [spec.number for spec in settings.instrument.strings]
    columns = [numbers.index(number) for number in undecided]
    now, after = joint.gain(settings.instrument, places, reading_cents=reading_cents)
    gain = np.log(now[columns] / after[:, columns]).sum(axis=1)
    best = int(np.argmax(gain))
    if gain[best] < LEAST_GAIN:
        return None
    place = places[best]
    column = numbers.index(place.string)
    others = [n for n in undecided if n != place.string]
    percent = round(100 * (1 - after[best, column] / now[column]))
    why = (
        f"the slot of string {place.string} is known to ±{HALF_OF_90 * now[column]:.2f} mm, too little to "
        f"decide; "
        f"this take should narrow that by about {percent} %"
    )
    if others:
        why += f" and helps {listed(others)} as well"
    return NextTake(position=place, why=why + ". Play the open string before and after it.")


def _candidates(settings: SessionSettings, strings: list[int]) -> tuple[Position, ...]:
    """Places one could play on some strings."""
    press = [] if settings.instrument.board is Board.SCALLOPED else PRESS_FRETS
    return tuple(
        Position(number, stop, fret)
        for number in strings
        for stop, frets in ((Stop.PRESS, press), (Stop.FRET, FRETTED))
        for fret in frets
    )
