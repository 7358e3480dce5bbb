"""What single takes and their doubts tell: wrong notes, a worn or false string, a capo that bends.

Conventions: cents, + = sharp. What a take is doubted for is asked by kind (`pitchcheck.doubts`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pitchcheck.diagnosis.limits import DiagnosisLimits, sd_of_interval, z_limit
from pitchcheck.doubts import WRONG_NOTES, OvertonesOff
from pitchcheck.findings import (
    CapoBends,
    Cause,
    DoubtedTake,
    Evidence,
    FalseOvertones,
    Finding,
    InharmonicityRatio,
)
from pitchcheck.fit.result import Fit
from pitchcheck.instrument import SessionSettings
from pitchcheck.survey import Survey
from pitchcheck.takes import Stop, Take
from pitchcheck.tuning import CENTS_PER_SEMITONE
from pitchcheck.units import cents_between

_NEAR_ENOUGH_ROWS = 40  # a capo'd open take is held against uncapo'd ones played this near: chosen


def find_wrong_notes(takes: Sequence[Take]) -> list[Finding]:
    """Takes that sound another note than the one they are listed as; one finding per string.

    No statistics here: the limits (in cents) are those of the placing, and stand in the doubts themselves.
    """
    wrong = [take for take in takes if any(isinstance(doubt, WRONG_NOTES) for doubt in take.doubts)]
    found: list[Finding] = []
    for number in sorted({take.position.string for take in wrong}):
        mine = [take for take in wrong if take.position.string == number]
        frets = sorted({take.position.fret for take in mine if take.position.fret is not None})
        evidence = tuple(DoubtedTake(t.row, t.position, t.doubts) for t in mine)
        found.append(Finding(Cause.WRONG_NOTE, (number,), tuple(frets), float(len(mine)), "takes", evidence))
    return found


def find_worn(
    settings: SessionSettings, fit: Fit, survey: Survey, takes: Sequence[Take], limits: DiagnosisLimits
) -> list[Finding]:
    """Strings that most of their takes show to be false, or stiffer or softer than their gauge allows.

    For a plain string B = pi^2 kappa r^2 / (4 L^2) (docs/model.md; H. Fletcher 1964). The logarithm of heard
    over expected B is compared with its uncertainty: reading, stretch belief and ``limits.stiffness_log_sd``,
    with the false-alarm rate shared over all strings.
    """
    found: list[Finding] = []
    for string in fit.strings:
        mine = [t for t in takes if t.position.string == string.number and t.hz is not None]
        marked = [take for take in mine if any(isinstance(doubt, OvertonesOff) for doubt in take.doubts)]
        if len(marked) >= 2 and len(marked) > limits.doubted_share * len(mine):
            scatter = np.median(
                [d.scatter_cents for t in marked for d in t.doubts if isinstance(d, OvertonesOff)]
            )
            evidence: tuple[Evidence, ...] = (FalseOvertones(len(marked), len(mine), float(scatter)),)
            share = 100.0 * len(marked) / len(mine)
            found.append(Finding(Cause.WORN_STRING, (string.number,), (), share, "%", evidence))
            continue
        ratio = _stiffness_ratio(settings, fit, survey, string.number, limits)
        if ratio is not None:
            evidence = (InharmonicityRatio(ratio),)
            found.append(Finding(Cause.WORN_STRING, (string.number,), (), ratio, "times", evidence))
    return found


def _stiffness_ratio(
    settings: SessionSettings, fit: Fit, survey: Survey, number: int, limits: DiagnosisLimits
) -> float | None:
    """Return heard over expected inharmonicity of a plain string when that is beyond chance."""
    spec = settings.instrument.string(number)
    heard = [
        (t.inharmonicity, t.inharmonicity_sd)
        for t in survey.opens
        if t.position.string == number and t.position.capo == 0 and t.inharmonicity and t.inharmonicity_sd
    ]
    if spec.wound or spec.gauge_mm is None or not heard:
        return None
    stretch_factor = next(string.stretch_factor for string in fit.strings if string.number == number)
    expected = (
        math.pi * spec.gauge_mm / 2 / (2 * settings.instrument.string_scale_mm(number))
    ) ** 2 * stretch_factor.median
    weight = np.array([1 / sd**2 for _, sd in heard])
    mean = float(weight @ np.array([value for value, _ in heard]) / weight.sum())
    if mean <= 0 or expected <= 0:
        return None
    log_sd = math.sqrt(
        1 / float(weight.sum()) / mean**2
        + (sd_of_interval(stretch_factor.low, stretch_factor.high) / stretch_factor.median) ** 2
        + limits.stiffness_log_sd**2
    )
    beyond = abs(math.log(mean / expected)) > z_limit(len(fit.strings), alarm=limits.alarm) * log_sd
    return mean / expected if beyond else None


def find_capo(fit: Fit, survey: Survey, limits: DiagnosisLimits) -> list[Finding]:
    """Capos that bend or press the strings sharp (or flat) beyond a lightly fretted note at the same place.

    A capo'd open note is compared with the nearest open take without capo and with the fit's light
    prediction; the uncertainty is that of both readings and ``limits.capo_scatter_cents``, the false-alarm
    rate shared over all such comparisons.
    """
    capoed = [take for take in survey.opens if take.position.capo]
    plain = [take for take in survey.opens if not take.position.capo]
    rows: list[tuple[int, int, float, float]] = []
    for string in fit.strings:
        for capo in sorted({t.position.capo for t in capoed if t.position.string == string.number}):
            values = [
                _capo_error(take, plain)
                for take in capoed
                if take.position.string == string.number and take.position.capo == capo
            ]
            known = [value for value in values if value is not None]
            if known and capo <= string.neck_now_cents.size:
                error = float(np.mean([value for value, _ in known]))
                sd = float(np.hypot(np.mean([sd for _, sd in known]), limits.capo_scatter_cents))
                rows.append((string.number, capo, error - float(string.neck_now_cents[capo - 1]), sd))
    limit = z_limit(len(rows), alarm=limits.alarm)
    found: list[Finding] = []
    for capo in sorted({row[1] for row in rows}):
        bent = [row for row in rows if row[1] == capo and abs(row[2]) > limit * row[3]]
        if bent:
            size = max((row[2] for row in bent), key=abs)
            evidence = tuple(CapoBends(row[0], capo, row[2], limit * row[3]) for row in bent)
            numbers = tuple(row[0] for row in bent)
            found.append(Finding(Cause.CAPO, numbers, (capo,), size, "cent", evidence))
    return found


def _capo_error(take: Take, plain: Sequence[Take]) -> tuple[float, float] | None:
    """Error of a capo'd open note against the nearest open take without capo, and its uncertainty. [cent]"""
    near = [
        other
        for other in plain
        if other.position.string == take.position.string and abs(other.row - take.row) <= _NEAR_ENOUGH_ROWS
    ]
    if not near or take.position.stop is not Stop.OPEN:
        return None
    other = min(near, key=lambda o: abs(o.row - take.row))
    if take.hz is None or other.hz is None or take.sd_cents is None or other.sd_cents is None:
        return None
    error = cents_between(other.hz, take.hz) - CENTS_PER_SEMITONE * take.position.capo
    return error, math.hypot(take.sd_cents, other.sd_cents)
