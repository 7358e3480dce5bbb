"""The takes worth playing next: a run that saves more of the player's time than it costs.

Conventions: mm and seconds. A run goes from an open take to an open take of one string; what is asked for is
one or more runs, in playing order. What a run would tell comes from the joint posterior, linear about its
mode; what that is worth from ``decision``. Takes are asked for until every slot is decided for what is to be
done next, or no run pays.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.diagnosis.suspicion import find_suspects
from pitchcheck.fit.joint import Outlook
from pitchcheck.fit.result import Fit
from pitchcheck.instrument import Board, Fretwork, Nut, SessionSettings
from pitchcheck.judgement import FIRST_SUSPECTS, BarKind, SlotJudgement
from pitchcheck.plan.decision import LEAF_PLUCK_S, PASS_S, PLUCK_S, Stakes, gain_s, would_file
from pitchcheck.plan.records import NOTHING_MORE, NextTakes
from pitchcheck.survey import Survey
from pitchcheck.takes import Narrowing, NextTake, Position, Stop
from pitchcheck.types import FloatArray

# Runs between two open takes, by fret; several of them make one proposal for a string. Presses in the first
# two spaces tell most; the third and the fourth average the frets.
_PRESS_RUNS: tuple[tuple[tuple[int, ...], ...], ...] = (
    ((1,),),
    ((1, 2),),
    ((1, 2, 1),),
    ((3, 4),),
    ((1, 2), (1, 2)),
    ((1, 2), (3, 4)),
)
_FRET_RUNS: tuple[tuple[tuple[int, ...], ...], ...] = (((1,),), ((2, 3),), ((12,),), ((1,), (2, 3), (12,)))
PAYS = (
    2.5  # [-] a run is asked for when it saves so many times what it costs; below it hardly helps; our choice
)
HARDLY_NARROWS = 0.03  # [-] a run that narrows no open slot by this part is never asked for; our choice
MOST_TAKES = 16  # asked for at once: then one measures anew; our choice
USUAL_READING_CENTS = 0.2  # [cent] of one stopped take against its open strings, when no take says it
HALF_OF_90 = 1.645  # [sd] half of a 90 % interval of a normal belief
LEAF_STEP_MM = 0.05  # [mm] leaves that lie on a bench go in such steps; common practice, no source
LEAST_VARIANCE_MM2 = 1e-8  # [mm^2] rounding must not carry a variance below 0
LEAF_REACH = 1.3  # [sd] leaves further from the middle of the belief tell too little to be looked at


_CLEARED_BY_TAKES = {BarKind.SYMPTOM_ONLY, BarKind.WRONG_NOTES}


@dataclass(frozen=True)
class _Run:
    """A proposal for one string: its takes as they are played, the stopped ones among them, and its time."""

    takes: tuple[Position, ...]
    stopped: tuple[Position, ...]
    seconds: float


@dataclass(frozen=True)
class _Slots:
    """Fitted slots, in the order of the posterior: what is believed of each, and what hangs on it."""

    numbers: tuple[int, ...]
    mean_mm: FloatArray  # excess over the target
    sd_mm: FloatArray
    stakes: tuple[Stakes, ...]


def next_takes(
    settings: SessionSettings, survey: Survey, fit: Fit, slots: Sequence[SlotJudgement]
) -> NextTakes:
    """Choose the takes worth playing next.

    Parameters
    ----------
    settings : SessionSettings
    survey : Survey
        Its readings tell how well the next ones will be read.
    fit : Fit
    slots : sequence of SlotJudgement
        With what bars filing them.

    Returns
    -------
    NextTakes
        Empty when every slot is decided for what is to be done next, or no run pays.
    """
    if fit.joint is None:
        return NOTHING_MORE
    believed = _believed(settings, fit, slots)
    reading = [stopped.sd_cents for stopped in survey.stopped]
    reading_cents = float(np.median(reading)) if reading else USUAL_READING_CENTS
    first = find_suspects(survey, fit, slots)[:FIRST_SUSPECTS]  # whom the answer names is settled first
    for runs in _proposals(settings, fit, believed, first=first):
        places = tuple(dict.fromkeys(p for run in runs for p in run.stopped))
        if not places:
            continue
        outlook = fit.joint.outlook(settings.instrument, places, reading_cents=reading_cents)
        chosen = _choose(believed, outlook, runs)
        if chosen:
            return _asked(believed, outlook, chosen)
    return NOTHING_MORE


def _believed(settings: SessionSettings, fit: Fit, slots: Sequence[SlotJudgement]) -> _Slots:
    """Fitted slots and their stakes; who files anyway shares the pass."""
    judged = {slot.number: slot for slot in slots}
    worth = settings.target.worth_filing_mm
    numbers: list[int] = []
    mean, sd = [], []
    stakes: list[Stakes] = []
    assert fit.joint is not None
    for number in fit.joint.numbers:
        slot = judged[number]
        excess = slot.excess_mm
        assert excess is not None
        numbers.append(number)
        mean.append(excess.median)
        sd.append((excess.high - excess.low) / (2 * HALF_OF_90))
        stakes.append(
            Stakes(
                worth_mm=worth,
                may_file=slot.nut is Nut.SLOTTED,
                pass_s=PASS_S,
                floor_mm=slot.goal.floor_mm - slot.goal.target_mm,
                barred=not {bar.kind for bar in slot.bars} <= _CLEARED_BY_TAKES,
            )
        )
    means, sds = np.array(mean), np.array(sd)
    open_ones = np.array([s.may_file and not s.barred for s in stakes], dtype=np.bool_)
    files = would_file(means, sds, worth_mm=worth)[0] & open_ones
    share = PASS_S / max(1, int(files.sum()))
    return _Slots(tuple(numbers), means, sds, tuple(replace(s, pass_s=share) for s in stakes))


def _proposals(
    settings: SessionSettings, fit: Fit, believed: _Slots, *, first: Sequence[int]
) -> Iterator[tuple[_Run, ...]]:
    """Runs to choose from, the kinds that are better to play first: presses, then leaves."""
    presses = settings.instrument.board is not Board.SCALLOPED
    stop, kinds = (Stop.PRESS, _PRESS_RUNS) if presses else (Stop.FRET, _FRET_RUNS)
    if presses and first:
        yield tuple(_run(number, stop, ((1, 2),)) for number in first)
    yield tuple(_run(number, stop, runs) for number in believed.numbers for runs in kinds)
    if settings.instrument.fretwork is Fretwork.LEVEL:
        return
    ends = [n for n in believed.numbers if n in (believed.numbers[0], believed.numbers[-1])]
    for some in (ends, [n for n in believed.numbers if n not in ends]):
        yield tuple(run for number in some for run in _leaves(settings, fit, number))


def _run(number: int, stop: Stop, runs: tuple[tuple[int, ...], ...]) -> _Run:
    """Stopped takes of one string between its open ones."""
    stopped = [[Position(number, stop, fret) for fret in run] for run in runs]
    reference = Position(number, Stop.OPEN)
    takes = [reference]
    for few in stopped:
        takes += [*few, reference]
    return _Run(tuple(takes), tuple(p for few in stopped for p in few), PLUCK_S * len(takes))


def _leaves(settings: SessionSettings, fit: Fit, number: int) -> Iterator[_Run]:
    """Leaves of some thicknesses about the gap that is believed."""
    assert fit.joint is not None
    probe = Position(number, Stop.LEAF, 1, leaf_mm=LEAF_STEP_MM)
    outlook = fit.joint.outlook(settings.instrument, (probe,), reading_cents=USUAL_READING_CENTS)
    gap = float(outlook.expected[0])
    reach = LEAF_REACH * float(np.sqrt(outlook.covariance[-1, -1]))
    reference = Position(number, Stop.OPEN)
    for step in range(max(1, round((gap - reach) / LEAF_STEP_MM)), round((gap + reach) / LEAF_STEP_MM) + 1):
        leaf = replace(probe, leaf_mm=round(step * LEAF_STEP_MM, 2))
        yield _Run((reference, leaf, reference), (leaf,), 2 * PLUCK_S + LEAF_PLUCK_S)


def _choose(believed: _Slots, outlook: Outlook, runs: Sequence[_Run]) -> tuple[_Run, ...]:
    """The run that saves most for its time, and what still pays beside it on other strings."""
    index = {position: i for i, position in enumerate(outlook.positions)}
    played = [[index[p] for p in run.stopped] for run in runs]
    cost = np.array([run.seconds for run in runs])
    string = [run.stopped[0].string for run in runs]
    chosen: list[int] = []
    known: list[int] = []
    gained = 0.0
    while True:
        free = [r for r in range(len(runs)) if string[r] not in {string[c] for c in chosen}]
        free = [r for r in free if sum(len(runs[c].takes) for c in (*chosen, r)) <= MOST_TAKES]
        if not free:
            break
        after = np.array([_sds(outlook, [*known, *played[r]]) for r in free])
        gains = _gains(believed, after) - gained
        rate = gains / cost[free]
        rate[_narrows(believed, after, _sds(outlook, known)) < HARDLY_NARROWS] = 0.0
        best = int(np.argmax(rate))
        if rate[best] < PAYS:
            break
        chosen.append(free[best])
        known += played[free[best]]
        gained += float(gains[best])
    return tuple(runs[c] for c in sorted(chosen, key=lambda c: string[c]))


def _sds(outlook: Outlook, known: Sequence[int]) -> FloatArray:
    """Standard deviations of the heights after some takes. [mm]"""
    return np.asarray(np.sqrt(np.maximum(np.diag(outlook.heights_after(known)), LEAST_VARIANCE_MM2)))


def _gains(believed: _Slots, after_mm: FloatArray) -> FloatArray:
    """What proposals save over all slots, shape (r,); ``after_mm`` has shape (r, s). [s]"""
    gains = [
        gain_s(float(mean), float(sd), after, stakes)
        for mean, sd, after, stakes in zip(
            believed.mean_mm, believed.sd_mm, after_mm.T, believed.stakes, strict=True
        )
    ]
    return np.asarray(np.sum(gains, axis=0))


def _narrows(believed: _Slots, after_mm: FloatArray, before_mm: FloatArray) -> FloatArray:
    """Largest part that proposals take off the width of a slot on which something hangs, shape (r,)."""
    hangs = np.array([not stakes.barred for stakes in believed.stakes])
    return np.asarray(np.where(hangs, 1 - after_mm / before_mm, 0.0).max(axis=1))


def _asked(believed: _Slots, outlook: Outlook, chosen: Sequence[_Run]) -> NextTakes:
    """The takes of some runs and the first stopped one with its reason."""
    index = {position: i for i, position in enumerate(outlook.positions)}
    first = chosen[0].stopped[0]
    before = _sds(outlook, [])
    after = _sds(outlook, [index[p] for run in chosen for p in run.stopped])
    own = believed.numbers.index(first.string)
    why = Narrowing(
        string=first.string,
        half_width_mm=HALF_OF_90 * float(before[own]),
        share=float(1 - after[own] / before[own]),
        helps=tuple(
            number
            for i, number in enumerate(believed.numbers)
            if number != first.string and 1 - after[i] / before[i] >= HARDLY_NARROWS
        ),
    )
    return NextTakes(tuple(p for run in chosen for p in run.takes), NextTake(first, why))
