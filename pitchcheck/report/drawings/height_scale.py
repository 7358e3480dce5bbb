"""The vertical scale that all drawings of slots share, so that they can be compared by eye.

Conventions: heights in mm above the line through the fret tops; y in px, growing downward.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pitchcheck.report.page.records import NutView

_MARGIN_MM = 0.10  # [mm] shown beyond the lowest and the highest thing of interest
_LEAST_MM = 0.5  # [mm] range shown at least, so that a tiny difference does not look like a cliff
_MOST_MM = 1.6  # [mm] range shown at most; a wider interval runs out of the picture


@dataclass(frozen=True)
class Heights:
    """Heights from ``low_mm`` to ``high_mm`` drawn over ``px`` pixels below ``top``."""

    low_mm: float
    high_mm: float
    top: float
    px: float

    @property
    def px_per_mm(self) -> float:
        """Vertical scale. [px/mm]"""
        return self.px / (self.high_mm - self.low_mm)

    @property
    def bottom(self) -> float:
        """Place of the lowest height. [px]"""
        return self.top + self.px

    def y(self, height_mm: float) -> float:
        """Place of a height. [px]"""
        return self.top + (self.high_mm - height_mm) * self.px_per_mm

    def inside(self, height_mm: float) -> float:
        """Place of a height, moved to the edge if it lies outside. [px]"""
        return min(max(self.y(height_mm), self.top), self.bottom)


def heights(nut: NutView, *, top: float, px: float) -> Heights:
    """Return the scale that shows every slot, target and floor of a nut."""
    lows, highs = [0.0], [0.0]
    for slot in nut.slots:
        lows.append(slot.floor_mm)
        highs.append(slot.target_mm)
        if slot.height_mm is not None:
            lows.append(slot.height_mm.low)
            highs.append(slot.height_mm.high)
    return span(lows, highs, top=top, px=px)


def span(lows_mm: Iterable[float], highs_mm: Iterable[float], *, top: float, px: float) -> Heights:
    """Return the scale that shows all of some heights, with room beyond them."""
    low, high = min(lows_mm) - _MARGIN_MM, max(highs_mm) + _MARGIN_MM
    high = min(max(high, low + _LEAST_MM), low + _MOST_MM)
    return Heights(low_mm=low, high_mm=high, top=top, px=px)
