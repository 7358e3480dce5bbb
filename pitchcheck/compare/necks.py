"""Each pass as both tell it together: heights, and fretted notes over the neck, with one touch.

Conventions: cents and mm. The touch is that of the pass before in both, so that a lighter hand on the second
day is not taken for the work of the file.
"""

from __future__ import annotations

from dataclasses import replace

from pitchcheck.compare.both import AFTER, TwoPassProblem
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import Coordinate
from pitchcheck.fit.neck import neck_curves
from pitchcheck.fit.result import Fit
from pitchcheck.fit.solve import Solution
from pitchcheck.measurement import Measurement


def fit_of(
    measurement: Measurement,
    both: TwoPassProblem,
    solution: Solution,
    which: int,
    *,
    heights: dict[int, Belief],
) -> Fit | None:
    """Return the fit of one pass with what both passes say of heights and necks.

    Strings that were not heard in both passes keep what their own pass says. None for a pass without a fit.
    """
    if measurement.fit is None:
        return None
    z = solution.z.copy()
    if which == AFTER:
        for number, (column, size) in both.changes.items():
            moved_mm = size * z[column]
            for name, at, share in (
                (f"slot {number}", Coordinate.SLOT_HEIGHT, 1.0),
                (f"action {number}", Coordinate.ACTION_12, 0.5),
            ):
                own = both.unknowns.column(name)
                case = both.passes[which].plain_case[number]
                z[own] += share * moved_mm / both.unknowns.spread[case, at, own]
    necks = neck_curves(measurement.settings, both.unknowns, z)
    strings = tuple(
        replace(
            string,
            height_mm=heights[string.number],
            neck_now_cents=necks[string.number].now_cents,
            neck_target_cents=necks[string.number].target_cents,
            neck_touch_cents=necks[string.number].touch_cents,
        )
        if string.number in heights
        else string
        for string in measurement.fit.strings
    )
    return replace(measurement.fit, strings=strings)
