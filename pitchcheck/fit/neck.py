"""The error of ordinary fretted notes over the neck, as the fit expects it.

Conventions: cents at frets 1 to 12, no capo; touch is the player's usual one as fitted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.fit.cases import CaseKind, Coordinate, predict
from pitchcheck.fit.unknowns import ONE_PASS, CaseRequest, PassEffects, Unknowns, build_unknowns
from pitchcheck.instrument import SessionSettings
from pitchcheck.physics.gauges import slot_target_mm
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


def neck_curves(
    settings: SessionSettings,
    unknowns: Unknowns,
    z: FloatArray,
    *,
    effects: Sequence[PassEffects] = ONE_PASS,
    index: int = -1,
    heights_mm: dict[int, float] | None = None,
) -> dict[int, NeckCurves]:
    """Curves of every string: with the slot as it is, at its target, and the finger's part.

    Parameters
    ----------
    settings : SessionSettings
    unknowns : Unknowns
        Of the fit; unknowns that these notes do not share stay at their centre.
    z : array, shape (n,)
        Most likely unknowns.
    effects : sequence of PassEffects, optional
        Of the passes.
    index : int, optional
        Whose pass the touch is, the last one's by default.
    heights_mm : dict from string number to float, optional
        Slot heights as they are; by default those of the pass. [mm]
    """
    which = range(len(effects))[index]
    numbers = [spec.number for spec in settings.instrument.strings]
    requests = []
    for number in numbers:
        goal = slot_target_mm(settings, number)
        now = None if heights_mm is None else heights_mm.get(number)
        for fret in FRETS:
            kind = CaseKind(Stop.FRET, fret, 0)
            requests += [
                CaseRequest(kind, number, which, fixed_height_mm=now),
                CaseRequest(kind, number, which, fixed_height_mm=goal),
                CaseRequest(kind, number, which, fixed_height_mm=now, force_n=LIGHT_FORCE_N),
            ]
    own = build_unknowns(settings.instrument, requests, effects)
    known = dict(zip(unknowns.names, z, strict=True))
    mine = np.array([known.get(name, 0.0) for name in own.names])
    coordinates = own.coordinates(mine)
    coordinates[:, Coordinate.LOG_BEND] = np.clip(coordinates[:, Coordinate.LOG_BEND], -5, 3)
    cents = predict(own.cases, coordinates).reshape(len(numbers), len(FRETS), 3)
    return {
        number: NeckCurves(now_cents=c[:, 0], target_cents=c[:, 1], touch_cents=c[:, 0] - c[:, 2])
        for number, c in zip(numbers, cents, strict=True)
    }
