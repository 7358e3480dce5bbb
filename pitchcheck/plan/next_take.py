"""The next take worth playing: the one that most narrows a slot about which nothing can be said yet.

Conventions: mm. A slot is undecided while its verdict is unsure. The gain of a take is the drop in the
logarithm of the undecided slots' uncertainties, summed (information in nats, for normal beliefs).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcheck.fit.joint import Joint
from pitchcheck.fit.result import Fit
from pitchcheck.instrument import Board, SessionSettings
from pitchcheck.judgement import FIRST_SUSPECTS, SlotJudgement, Verdict, judge_slots, suspects
from pitchcheck.survey import Survey
from pitchcheck.takes import Narrowing, NextTake, Position, Stop

PRESS_FRETS = (1, 2, 3, 4)
FRETTED = (1, 2, 3, 12)
LEAST_GAIN = (
    0.02  # [nat] below this a take is not worth the string: it would narrow one slot by 2 %; our choice
)
HALF_OF_90 = 1.645  # [sd] half of a 90 % interval of a normal belief
USUAL_READING_CENTS = 0.2  # [cent] of one stopped take against its open strings, when no take says it


def best_take(
    settings: SessionSettings, survey: Survey, fit: Fit, *, slots: Sequence[SlotJudgement] | None = None
) -> NextTake | None:
    """Choose the take that would narrow the decision most.

    Parameters
    ----------
    job : Job
    survey : Survey
        Its readings tell how well the next one will be read.
    fit : Fit
    slots : sequence of SlotJudgement, optional
        The judgement of the slots from this fit; made here when left out.

    Returns
    -------
    NextTake or None
        None when every verdict is made, or no single take would narrow an open one noticeably.
    """
    if fit.joint is None:
        return None
    judged = judge_slots(settings, fit) if slots is None else slots
    undecided = [s.number for s in judged if s.height_mm is not None and s.verdict is Verdict.UNSURE]
    suspected = suspects(judged)[:FIRST_SUSPECTS]  # whom the answer names is settled first
    undecided = [number for number in undecided if number in suspected] or undecided
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
    why = Narrowing(
        string=place.string,
        half_width_mm=HALF_OF_90 * float(now[column]),
        share=1 - float(after[best, column] / now[column]),
        helps=tuple(n for n in undecided if n != place.string),
    )
    return NextTake(position=place, why=why)


def _candidates(settings: SessionSettings, strings: list[int]) -> tuple[Position, ...]:
    """Places one could play on some strings."""
    press = [] if settings.instrument.board is Board.SCALLOPED else PRESS_FRETS
    return tuple(
        Position(number, stop, fret)
        for number in strings
        for stop, frets in ((Stop.PRESS, press), (Stop.FRET, FRETTED))
        for fret in frets
    )
