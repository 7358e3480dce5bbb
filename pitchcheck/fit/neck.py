"""The error of ordinary fretted notes over the neck, as the fit expects it.

Conventions: cents at frets 1 to 12, no capo; touch is the player's usual one as fitted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.fit.cases import CaseKind, Coordinate, predict
from pitchcheck.fit.unknowns import CaseRequest, Unknowns, build_unknowns
from pitchcheck.instrument import SessionSettings
from pitchcheck.physics.gauges import target_height_mm
from pitchcheck.takes import Stop
from pitchcheck.types import FloatArray

FRETS = range(1, 13)
LIGHT_FORCE_N = 1.0  # [N] just enough to hold a string on its fret; our choice


@dataclass(frozen=True)
class NeckCurves:
    """Errors at frets 1 to 12, shape (12,) each. [cent]"""

    now_cents: FloatArray
    target_cents: FloatArray
    touch_cents: FloatArray


def neck_curves(settings: SessionSettings, unknowns: Unknowns, z: FloatArray) -> dict[int, NeckCurves]:
    """Curves of every string: with the slot as it is, at its target, and the finger's part.

    Parameters
    ----------
    job : Job
    unknowns : Unknowns
        Of the fit; unknowns that these notes do not share stay at their centre.
    z : array, shape (n,)
        Most likely unknowns.
    """
    numbers = [spec.number for spec in settings.instrument.strings]
    requests = []
    for number in numbers:
        goal = _target_mm(settings, number)
        for fret in FRETS:
            kind = CaseKind(Stop.FRET, fret, 0)
            requests += [
                CaseRequest(kind, number),
                CaseRequest(kind, number, fixed_height_mm=goal),
                CaseRequest(kind, number, force_n=LIGHT_FORCE_N),
            ]
    own = build_unknowns(settings.instrument, requests)
    known = dict(zip(unknowns.names, z, strict=True))
    mine = np.array([known.get(name, 0.0) for name in own.names])
    coordinates = own.coordinates(mine)
    coordinates[:, Coordinate.LOG_BEND] = np.clip(coordinates[:, Coordinate.LOG_BEND], -5, 3)
    cents = predict(own.cases, coordinates).reshape(len(numbers), len(FRETS), 3)
    return {
        number: NeckCurves(now_cents=c[:, 0], target_cents=c[:, 1], touch_cents=c[:, 0] - c[:, 2])
        for number, c in zip(numbers, cents, strict=True)
    }


def _target_mm(settings: SessionSettings, number: int) -> float:
    """Slot height that is asked of one string. [mm]"""
    return target_height_mm(
        settings.target.third_fret_clearance_mm,
        number=number,
        numbers=[spec.number for spec in settings.instrument.strings],
        override_mm=settings.instrument.string(number).target_height_mm,
    )
