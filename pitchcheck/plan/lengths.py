"""Lengths of the instrument that are worth measuring and telling: minutes that bring more than more takes.

Conventions: mm, rad and seconds. What a length would tell of the slots comes from the joint posterior; what
that is worth, as for takes, from ``decision``. One that was told already narrows nothing more, so nobody is
asked twice.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcheck.fit import priors
from pitchcheck.fit.cases import Coordinate
from pitchcheck.fit.result import Fit
from pitchcheck.instrument import SessionSettings
from pitchcheck.judgement import SlotJudgement
from pitchcheck.plan.at_stake import HALF_OF_90, saved_s, slots_at_stake
from pitchcheck.plan.records import SharedLength, WorthTelling
from pitchcheck.takes import Narrowing

LENGTH_S = 120.0  # [s] to fetch a rule or a leaf, measure, and write it down: reckoned
LENGTH_NARROWS = 0.05  # [-] a length that narrows no slot at stake by this part is not asked for; our choice
# What each is in the fit, and how well it is known when told: relief by a leaf under the string.
_TOLD = {
    SharedLength.BEHIND_NUT: (Coordinate.BREAK, priors.BREAK_TOLD_RAD),
    SharedLength.RELIEF: (Coordinate.RELIEF, 0.05),
}


def lengths_worth_telling(
    settings: SessionSettings, fit: Fit, slots: Sequence[SlotJudgement]
) -> tuple[WorthTelling, ...]:
    """Choose the lengths that save more of the owner's time than it takes to measure them.

    Parameters
    ----------
    settings : SessionSettings
    fit : Fit
    slots : sequence of SlotJudgement
        With what bars filing them.

    Returns
    -------
    tuple of WorthTelling
        The one that saves most first; each is reckoned alone.
    """
    if fit.joint is None:
        return ()
    believed = slots_at_stake(settings, fit, slots)
    at_stake = np.array([stakes.may_file and not stakes.barred for stakes in believed.stakes])
    found: list[tuple[float, WorthTelling]] = []
    for what, (coordinate, sd) in _TOLD.items():
        now, after = fit.joint.heights_told(settings.instrument, coordinate, sd)
        share = np.where(at_stake, 1 - after / now, 0.0)
        if share.max(initial=0.0) < LENGTH_NARROWS:
            continue
        saved = float(saved_s(believed, (believed.sd_mm * after / now)[None])[0])
        if saved < LENGTH_S:
            continue
        most = int(np.argmax(share))
        helps = (n for n, part in zip(believed.numbers, share, strict=True) if part >= LENGTH_NARROWS)
        why = Narrowing(
            string=believed.numbers[most],
            half_width_mm=HALF_OF_90 * float(believed.sd_mm[most]),
            share=float(share[most]),
            helps=tuple(n for n in helps if n != believed.numbers[most]),
        )
        found.append((saved, WorthTelling(what, why)))
    return tuple(worth for _, worth in sorted(found, key=lambda pair: -pair[0]))
