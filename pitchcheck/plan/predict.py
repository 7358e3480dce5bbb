"""What to expect after a removal: an estimate between the fit's two predictions, now and at target.

Conventions: mm and cents. At constant finger depth p the slot's part of the first-fret error goes with
(height + p)^2 (docs/method.md), so the way from now to target is covered in that measure; it is a guide for
the ear, not a measurement.
"""

from __future__ import annotations

from pitchcheck.fit.result import StringFit


def share_of_way(height_mm: float, *, target_mm: float, removed_mm: float, touch_mm: float) -> float:
    """Part of the change in cents, from now to target, that a removal brings. [-]

    Parameters
    ----------
    height_mm, target_mm : float
        Slot height now and its target; equal heights give 0.
    removed_mm : float >= 0
    touch_mm : float >= 0
        Finger depth below the fret tops.

    Returns
    -------
    float
        0 for nothing removed, 1 at the target.

    Examples
    --------
    >>> share_of_way(0.6, target_mm=0.3, removed_mm=0.3, touch_mm=0.2)
    1.0
    """
    way = height_mm - target_mm
    if way == 0:
        return 0.0
    lever = height_mm + target_mm + 2 * touch_mm
    if lever <= 0:  # both below the fret plane: the square has its foot between them
        return removed_mm / way
    return removed_mm / way * (lever + way - removed_mm) / lever


def first_fret_after_cents(
    string: StringFit, *, target_mm: float, removed_mm: float, touch_mm: float
) -> float:
    """First-fret error to expect after a removal: as heard (else as predicted) less the change. [cent]"""
    now = float(string.neck_now_cents[0])
    heard = now if string.first_fret_cents is None else string.first_fret_cents[0]
    part = share_of_way(
        string.height_mm.median, target_mm=target_mm, removed_mm=removed_mm, touch_mm=touch_mm
    )
    return heard - part * (now - float(string.neck_target_cents[0]))
