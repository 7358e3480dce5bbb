"""The cut at the bottom of a new nut that has only its two outer slots: what both strings together ask for.

Conventions: mm; the first string is the treble end, the last the bass end. The inner slots are filed after
the cut, so the line through the two outer ones is the cut. Both ends keep their target together with the
belief that a removal needs (``plan.removal``), and neither loses more than a pass may take.
"""

from __future__ import annotations

import numpy as np

from pitchcheck.measurement import Measurement
from pitchcheck.plan import NutBottom
from pitchcheck.plan.bottom import MOST_OF_EXCESS, joint_level, round_down_mm


def outer_cut(measurement: Measurement) -> NutBottom | None:
    """Return the cut that the first and the last string ask for.

    Returns
    -------
    NutBottom or None
        None unless these two alone were heard, both are high, nothing forbids filing them, and both can spare
        something. Where inner slots were heard, ``plan.nut_bottom`` looks after them too.
    """
    fit, strings = measurement.fit, measurement.plan.strings
    numbers = sorted(string.number for string in strings)
    if fit is None or len(numbers) < 2:
        return None
    ends = [next(s for s in strings if s.number == n) for n in (numbers[0], numbers[-1])]
    order = {string.number: i for i, string in enumerate(fit.strings)}
    if any(s.height_mm is not None for s in strings if s.number not in (numbers[0], numbers[-1])):
        return None
    if any(end.excess_mm is None or end.remove_now_mm <= 0 or end.number not in order for end in ends):
        return None
    chosen = [order[end.number] for end in ends]
    level = joint_level(fit.height_covariance_mm2[np.ix_(chosen, chosen)])
    treble, bass = (
        round_down_mm(min(belief.quantile(level), MOST_OF_EXCESS * belief.median))
        for belief in (end.excess_mm for end in ends)
        if belief is not None
    )
    return NutBottom(bass_mm=bass, treble_mm=treble) if treble and bass else None
