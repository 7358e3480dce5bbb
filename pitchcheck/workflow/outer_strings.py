"""The cut at the bottom of a nut with only its two outer strings: what both together ask for."""

from __future__ import annotations

from pitchcheck.measurement import Measurement
from pitchcheck.plan import NutBottom


def outer_cut(measurement: Measurement) -> NutBottom | None:
    """Return the cut that the first and the last string ask for.

    Returns
    -------
    NutBottom or None
        None unless these two alone were heard and the plan has a cut for them.
    """
    cut = measurement.plan.nut_bottom
    return cut if cut is not None and cut.outer_only else None
