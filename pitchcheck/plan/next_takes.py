"""The takes worth playing next: a run that saves more of the player's time than it costs.

Conventions: mm and seconds. A run goes from an open take to an open take of one string; what is asked for is
one or more runs, in playing order. What a run would tell comes from the joint posterior, linear about its
mode; what that is worth from ``decision``. Takes are asked for until every slot is decided for what is to be
done next, or no run pays.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np

from pitchcheck.diagnosis.suspicion import find_suspects
from pitchcheck.fit.joint import Outlook
from pitchcheck.fit.result import Fit, UnsettledKind
from pitchcheck.instrument import Board, Fretwork, SessionSettings
from pitchcheck.judgement import FIRST_SUSPECTS, BarKind, SlotJudgement, Verdict
from pitchcheck.plan.at_stake import (
    CLEARED_BY_TAKES,
    HALF_OF_90,
    SlotsAtStake,
    saved_s,
    slots_at_stake,
)
from pitchcheck.plan.leaves_at_hand import bare_strings, in_a_workshop, leaves_left_out
from pitchcheck.plan.records import NOTHING_MORE, NextTakes
from pitchcheck.plan.runs import (
    FRET_RUNS,
    PRESS_RUNS,
    PRESS_RUNS_OF_ALL,
    USUAL_READING_CENTS,
    Run,
    leaf_runs,
    run_of,
)
from pitchcheck.survey import Survey
from pitchcheck.takes import Narrowing, NextTake, Stop
from pitchcheck.types import FloatArray

# [-] A run is asked for when it saves so many times what it costs; below it hardly helps. Our choice, by the
# jobs of docs/decisions/0011. Presses must save more where leaves lie at hand, which tell more.
PAYS = 5.0
PAYS_BESIDE_LEAVES = 12.0
LEAVES_PAY = 4.0  # the same of leaf takes
HARDLY_NARROWS = 0.03  # [-] a run that narrows no open slot by this part is never asked for; our choice
MOST_TAKES = 16  # asked for at once: then one measures anew; our choice
LEAST_VARIANCE_MM2 = 1e-8  # [mm^2] rounding must not carry a variance below 0
# Presses of a string in a pass: if they still contradict the rest, more settle nothing; our choice.
PRESSED_ENOUGH = 6
LEAF_NARROWS = 0.10  # [-] of a slot's width: leaves that narrow it by less tell nothing new; our choice
OPENS_ENOUGH = 8  # open takes of a string in a pass, whatever stood between them; our choice
LEAVES_ENOUGH = 12  # leaf takes of a string in a pass; more settle nothing; our choice


_CLEARED_BY_LEAVES = {*CLEARED_BY_TAKES, BarKind.UNSETTLED}


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
    believed = slots_at_stake(settings, fit, slots)
    reading = [stopped.sd_cents for stopped in survey.stopped]
    reading_cents = float(np.median(reading)) if reading else USUAL_READING_CENTS
    if doubted := _pressed_again(survey, fit):
        once_more = Run.joined(doubted).begun(MOST_TAKES)
        pressed = tuple(dict.fromkeys(once_more.stopped))
        outlook = fit.joint.outlook(settings.instrument, pressed, reading_cents=reading_cents)
        return _asked(believed, outlook, (once_more,))
    first = find_suspects(survey, fit, slots)[:FIRST_SUSPECTS]  # whom the answer names is settled first
    at_hand = not leaves_left_out(survey)
    presses_pay = PAYS_BESIDE_LEAVES if at_hand and in_a_workshop(settings, survey) else PAYS
    for runs in _proposals(settings, survey, fit, believed, first=first, leaves=at_hand):
        places = tuple(dict.fromkeys(p for run in runs for p in run.stopped))
        if not places:
            continue
        outlook = fit.joint.outlook(settings.instrument, places, reading_cents=reading_cents)
        leaf = runs[0].stopped[0].stop is Stop.LEAF
        chosen = _choose(believed, outlook, runs, pays=LEAVES_PAY if leaf else presses_pay)
        if chosen:
            return _asked(believed, outlook, chosen)
    if not at_hand:
        return NOTHING_MORE
    return _told_apart(settings, survey, fit, slots, believed)


def _told_apart(
    settings: SessionSettings,
    survey: Survey,
    fit: Fit,
    slots: Sequence[SlotJudgement],
    believed: SlotsAtStake,
) -> NextTakes:
    """Leaves where nothing that pays would settle an undecided slot: the outer strings, then what is open.

    What is known of the outer strings is known in part of all, and the words for a slot are worth a few takes
    also where nothing will be filed. On level frets presses tell it as well, unless they contradict the rest,
    or scatter so much that a slot is unsure which is more likely than not higher than fine.
    """
    assert fit.joint is not None
    doubted = _doubted(fit) - {
        n for u in fit.unsettled if u.kind is not UnsettledKind.PRESSES for n in u.strings
    }
    only_so = {s.number for s in slots if {bar.kind for bar in s.bars} <= _CLEARED_BY_LEAVES} & doubted
    free = {n for n, stakes in zip(believed.numbers, believed.stakes, strict=True) if not stakes.barred}
    level = settings.instrument.fretwork is Fretwork.LEVEL
    hangs = only_so | (free & _likely_left(slots) if level else free)
    undecided = {s.number for s in slots if s.verdict is Verdict.UNSURE} & hangs
    if not undecided:
        return NOTHING_MORE
    laid = Counter(leaf.take.position.string for leaf in survey.leaves)
    open_ones = [n for n in believed.numbers if n in hangs and laid[n] < LEAVES_ENOUGH]
    ends = [n for n in open_ones if n in (believed.numbers[0], believed.numbers[-1])]
    bare = bare_strings(survey)
    for some in (ends, [n for n in open_ones if n in undecided and n not in ends]):
        runs = {number: tuple(leaf_runs(settings, fit, number, bare=bare)) for number in some}
        places = tuple(dict.fromkeys(p for few in runs.values() for run in few for p in run.stopped))
        if not places:
            continue
        outlook = fit.joint.outlook(settings.instrument, places, reading_cents=USUAL_READING_CENTS)
        least = {n: 0.0 if n in only_so else LEAF_NARROWS for n in some}  # what presses tell is not believed
        chosen = [_narrowest(believed, outlook, n, few, least=least[n]) for n, few in runs.items()]
        best = [run for run in chosen if run is not None]
        if best:
            takes = Run.joined(best).begun(MOST_TAKES)
            return _asked(believed, outlook, (takes,))
    return NOTHING_MORE


def _likely_left(slots: Sequence[SlotJudgement]) -> set[int]:
    """Strings whose slots are more likely than not above target by more than twice the tolerance."""
    return {
        s.number
        for s in slots
        if s.height_mm is not None and s.height_mm.median > s.goal.target_mm + 2 * s.goal.tolerance_mm
    }


def _narrowest(
    believed: SlotsAtStake, outlook: Outlook, number: int, runs: Sequence[Run], *, least: float
) -> Run | None:
    """The leaves that narrow a slot most for their time; None where none narrows it by the least part."""
    index = {position: i for i, position in enumerate(outlook.positions)}
    own = believed.numbers.index(number)
    before = _sds(outlook, [])[own]
    best, most = None, 0.0
    for run in runs:
        narrower = float(np.log(before / _sds(outlook, [index[p] for p in run.stopped])[own]))
        if narrower >= least and narrower / run.seconds > most:
            best, most = run, narrower / run.seconds
    return best


def _pressed_again(survey: Survey, fit: Fit) -> list[Run]:
    """Presses once more where they contradict the rest, worst first, while few were played."""
    doubted = _doubted(fit)
    played = Counter(s.take.position.string for s in survey.stopped if s.take.position.stop is Stop.PRESS)
    opens = Counter(take.position.string for take in survey.opens)  # also around presses of no use
    worst = fit.misfit.strings if fit.misfit is not None else ()
    order = sorted(doubted, key=lambda n: (worst.index(n) if n in worst else len(worst), n))
    return [
        run_of((n,), Stop.PRESS, ((1, 2, 1),))
        for n in order
        if 0 < played[n] < PRESSED_ENOUGH and opens[n] < OPENS_ENOUGH
    ]


def _doubted(fit: Fit) -> set[int]:
    """Strings whose presses contradict the rest."""
    return {n for u in fit.unsettled if u.kind is UnsettledKind.PRESSES for n in u.strings}


def _proposals(
    settings: SessionSettings,
    survey: Survey,
    fit: Fit,
    believed: SlotsAtStake,
    *,
    first: Sequence[int],
    leaves: bool,
) -> Iterator[tuple[Run, ...]]:
    """Runs to choose from, the kinds that are better to play first: presses, then leaves."""
    presses = settings.instrument.board is not Board.SCALLOPED
    stop, kinds = (Stop.PRESS, PRESS_RUNS) if presses else (Stop.FRET, FRET_RUNS)
    if presses and first:
        yield tuple(run_of((number,), stop, ((1, 2),)) for number in first)
    runs = [run_of((number,), stop, frets) for number in believed.numbers for frets in kinds]
    if presses:
        hangs = [n for n, stakes in zip(believed.numbers, believed.stakes, strict=True) if not stakes.barred]
        runs += [run_of(hangs, stop, frets) for frets in PRESS_RUNS_OF_ALL if len(hangs) > 1]
    yield tuple(runs)
    if not leaves:
        return
    bare = bare_strings(survey)
    ends = [n for n in believed.numbers if n in (believed.numbers[0], believed.numbers[-1])]
    for some in (ends, [n for n in believed.numbers if n not in ends]):
        yield tuple(run for number in some for run in leaf_runs(settings, fit, number, bare=bare))


def _choose(believed: SlotsAtStake, outlook: Outlook, runs: Sequence[Run], *, pays: float) -> tuple[Run, ...]:
    """The run that saves most for its time, and what still pays beside it on other strings."""
    index = {position: i for i, position in enumerate(outlook.positions)}
    played = [[index[p] for p in run.stopped] for run in runs]
    cost = np.array([run.seconds for run in runs])
    size = [len(run.takes) for run in runs]
    chosen: list[int] = []
    known: list[int] = []
    gained = 0.0
    while True:
        taken = frozenset[int]().union(*(runs[c].strings for c in chosen))
        room = MOST_TAKES - sum(size[c] for c in chosen)
        free = [
            r for r, run in enumerate(runs) if not run.strings & taken and (size[r] <= room or not chosen)
        ]
        if not free or room <= 0:
            break
        after = np.array([_sds(outlook, [*known, *played[r]]) for r in free])
        gains = saved_s(believed, after) - gained
        rate = gains / cost[free]
        rate[_narrows(believed, after, _sds(outlook, known)) < HARDLY_NARROWS] = 0.0
        best = int(np.argmax(rate))
        if rate[best] < pays:
            break
        chosen.append(free[best])
        known += played[free[best]]
        gained += float(gains[best])
    # What is longer than one asks for at once is begun; the answer after that decides on the rest.
    return tuple(runs[c].begun(MOST_TAKES) for c in sorted(chosen, key=lambda c: min(runs[c].strings)))


def _sds(outlook: Outlook, known: Sequence[int]) -> FloatArray:
    """Standard deviations of the heights after some takes. [mm]"""
    return np.asarray(np.sqrt(np.maximum(np.diag(outlook.heights_after(known)), LEAST_VARIANCE_MM2)))


def _narrows(believed: SlotsAtStake, after_mm: FloatArray, before_mm: FloatArray) -> FloatArray:
    """Largest part that proposals take off the width of a slot on which something hangs, shape (r,)."""
    hangs = np.array([not stakes.barred for stakes in believed.stakes])
    return np.asarray(np.where(hangs, 1 - after_mm / before_mm, 0.0).max(axis=1))


def _asked(believed: SlotsAtStake, outlook: Outlook, chosen: Sequence[Run]) -> NextTakes:
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
