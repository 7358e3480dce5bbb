"""What the open takes alone tell: a string that catches in its slot, a tuning that drifts or slips.

Conventions: changes in cents, + = sharper than before. A change is held against the string's own median
change and against the scatter of all strings, so that a steady drift or an unsteady hand is not called a
catch.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.diagnosis.limits import DiagnosisLimits, robust_sd, t_limit, z_limit
from pitchcheck.findings import Cause, Evidence, Finding, OpenJumped, OpenRan, OpenSlipped
from pitchcheck.survey import Return, Survey
from pitchcheck.takes import Stop, Take
from pitchcheck.units import cents_between

_ENOUGH_FOR_A_MEDIAN = 4  # changes of one string before its own drift is taken off: chosen
_ENOUGH_FOR_A_SCATTER = 8  # changes of all strings before their scatter is believed: chosen
_MAD_EFFICIENCY = 0.37  # of the median absolute deviation on normal data (Rousseeuw and Croux 1993)
_SHARED_OPENS = 1.5  # [-] neighbouring changes share an open take, correlation -1/2: 1 + 2 (1/2)^2 (derived)
_ENOUGH_FOR_A_TREND = 4  # open takes of one string: a line and something to judge it by
_CAME_BACK = (0.5, 1.5)  # the next change undoes this part of the first: chosen


@dataclass(frozen=True)
class Jump:
    """A change of an open string that is beyond chance. [cent]"""

    change: Return
    beyond_cents: float  # the string's own drift taken off
    limit_cents: float
    came_back: bool | None  # None: no open take after it can tell


def find_jumps(survey: Survey, limits: DiagnosisLimits) -> list[Jump]:
    """Changes of open strings beyond the limit.

    Returns
    -------
    list of Jump
        The limit of each is the larger of ``limits.return_cents`` and the standard deviation (reading noise
        or the scatter of all strings, whichever is larger) times Student's t at ``limits.alarm`` for all
        changes together.
    """
    groups: dict[tuple[int, int], list[Return]] = {}
    for change in survey.returns:
        groups.setdefault((change.string, change.capo), []).append(change)
    beyond: dict[tuple[int, int], list[float]] = {}
    for key, changes in groups.items():
        heard = [change.change_cents for change in changes]
        usual = float(np.median(heard)) if len(heard) >= _ENOUGH_FOR_A_MEDIAN else 0.0
        beyond[key] = [value - usual for value in heard]
    everything = np.array([value for values in beyond.values() for value in values])
    count = everything.size
    scatter, factor = limits.open_scatter_cents, z_limit(count, alarm=limits.alarm)
    free = count - sum(len(changes) >= _ENOUGH_FOR_A_MEDIAN for changes in groups.values())
    if free >= _ENOUGH_FOR_A_SCATTER:
        scatter = robust_sd(everything) * (count / free) ** 0.5
        freedom = max(1, int(_MAD_EFFICIENCY * free / _SHARED_OPENS))
        factor = t_limit(count, alarm=limits.alarm, freedom=freedom)
    jumps: list[Jump] = []
    for key, changes in groups.items():
        for i, change in enumerate(changes):
            limit = max(limits.return_cents, factor * max(change.sd_cents, scatter))
            if abs(beyond[key][i]) <= limit:
                continue
            after = beyond[key][i + 1] if i + 1 < len(changes) else None
            before = beyond[key][i - 1] if i > 0 else None
            if before is not None and _undoes(before, beyond[key][i]) and abs(before) > limit:
                continue  # this is the coming back of the jump before
            came_back = None if after is None else _undoes(beyond[key][i], after)
            jumps.append(Jump(change, beyond[key][i], limit, came_back))
    return jumps


def _undoes(first: float, then: float) -> bool:
    """Whether the second change takes back the first."""
    return _CAME_BACK[0] <= -then / first <= _CAME_BACK[1] if first else False


def find_catching(survey: Survey, limits: DiagnosisLimits) -> list[Finding]:
    """Strings whose open note jumped after a stopped take and jumped back after the next."""
    caught: dict[int, list[Jump]] = {}
    for jump in find_jumps(survey, limits):
        if jump.came_back and any(place.stop is not Stop.OPEN for place in jump.change.between):
            caught.setdefault(jump.change.string, []).append(jump)
    found: list[Finding] = []
    for number, jumps in sorted(caught.items()):
        worst = max(jumps, key=lambda jump: abs(jump.beyond_cents))
        frets = sorted({place.fret for jump in jumps for place in jump.change.between if place.fret})
        evidence = tuple(
            OpenJumped(
                jump.change.between,
                jump.beyond_cents,
                jump.change.row_before,
                jump.change.row_after,
                jump.limit_cents,
            )
            for jump in jumps
        )
        found.append(
            Finding(Cause.CATCHING_SLOT, (number,), tuple(frets), worst.beyond_cents, "cent", evidence)
        )
    return found


def find_drift(survey: Survey, limits: DiagnosisLimits) -> list[Finding]:
    """Tuning that runs steadily one way, or slips and stays: one finding for all such strings."""
    numbers = sorted({take.position.string for take in survey.opens})
    evidence: dict[int, Evidence] = {}
    sizes: dict[int, float] = {}
    for number in numbers:
        opens = [t for t in survey.opens if t.position.string == number and t.position.capo == 0]
        trend = _trend(opens, strings=len(numbers), limits=limits)
        if trend is not None:
            sizes[number] = trend
            evidence[number] = OpenRan(number, trend)
    for jump in find_jumps(survey, limits):
        number = jump.change.string
        if not jump.came_back and abs(jump.beyond_cents) > limits.drift_cents and number not in sizes:
            sizes[number] = jump.beyond_cents
            change = jump.change
            evidence[number] = OpenSlipped(number, jump.beyond_cents, change.row_before, change.row_after)
    if not sizes:
        return []
    drifting = tuple(sorted(sizes))
    shown = tuple(evidence[number] for number in drifting)
    return [Finding(Cause.DRIFT, drifting, (), max(sizes.values(), key=abs), "cent", shown)]


def _trend(opens: list[Take], *, strings: int, limits: DiagnosisLimits) -> float | None:
    """Return how far a string ran over its open takes, if that is beyond chance and worth telling. [cent]"""
    readings = [(t.when, t.hz, t.sd_cents) for t in opens if t.hz is not None and t.sd_cents is not None]
    if len(readings) < _ENOUGH_FOR_A_TREND:
        return None
    when = np.array([r[0] for r in readings])
    heard = np.array([cents_between(readings[0][1], r[1]) for r in readings])
    sd = np.array([r[2] for r in readings])
    if np.ptp(when) == 0:
        return None
    design = np.column_stack([np.ones_like(when), (when - when.mean()) / np.ptp(when)])
    covariance = np.linalg.inv((design.T / sd**2) @ design)
    line = covariance @ (design.T / sd**2) @ heard
    freedom = len(readings) - 2
    misfit = float((((heard - design @ line) / sd) ** 2).sum() / freedom)
    run = float(line[1])
    run_sd = float(np.sqrt(covariance[1, 1] * max(1.0, misfit)))
    beyond = abs(run) > t_limit(strings, alarm=limits.alarm, freedom=freedom) * run_sd
    return run if beyond and abs(run) > limits.drift_cents else None
