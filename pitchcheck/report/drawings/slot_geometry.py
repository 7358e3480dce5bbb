"""Places in the drawings of slots: one scale of heights for all slots of a page, so that the eye can compare.

Conventions: heights in mm above the line through the fret tops; px to the right and downward.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.report.records import SlotPicture
from pitchcheck.tuning import fret_place

TOP = 14.0  # [px] above the highest height shown
HEIGHT = 150.0  # [px] of the range of heights
SIDE_SIZE = (350.0, 198.0)  # [px] of a side view
NUT_EDGES = (104.0, 134.0)  # [px] of the nut in side view; the right one is its front edge
LAST_FRET = 326.0  # [px] place of fret 3 in side view
HAZE = (0.05, 0.12, 0.20, 0.28, 0.36, 0.44)  # [-] nested quantiles; the outermost is the 90 % interval
_MARGIN_MM = 0.10  # [mm] shown beyond the lowest and the highest thing of interest
_LEAST_MM = 0.5  # [mm] range shown at least, so that a tiny difference does not look like a cliff
_MOST_MM = 1.6  # [mm] range shown at most; a wider interval runs out of the picture


@dataclass(frozen=True)
class Heights:
    """Heights from ``low_mm`` to ``high_mm`` drawn from the top down over HEIGHT pixels."""

    low_mm: float
    high_mm: float

    top = TOP
    bottom = TOP + HEIGHT

    @property
    def px_per_mm(self) -> float:
        """Vertical scale. [px/mm]"""
        return HEIGHT / (self.high_mm - self.low_mm)

    def y(self, height_mm: float) -> float:
        """Place of a height. [px]"""
        return TOP + (self.high_mm - height_mm) * self.px_per_mm

    def inside(self, height_mm: float) -> float:
        """Place of a height, moved to the edge if it lies outside. [px]"""
        return min(max(self.y(height_mm), self.top), self.bottom)

    def floor(self, slot: SlotPicture) -> float:
        """Place of a slot's floor; of its target where it was not measured. [px]"""
        return self.inside(slot.target_mm if slot.height_mm is None else slot.height_mm.median)


def heights(slots: Sequence[SlotPicture]) -> Heights:
    """Return the scale that shows every slot, interval, target and floor."""
    shown = [0.0]
    for slot in slots:
        shown += [slot.floor_mm, slot.target_mm]
        shown += [] if slot.before_mm is None else [slot.before_mm]
        shown += [] if slot.height_mm is None else [slot.height_mm.low, slot.height_mm.high]
    low, high = min(shown) - _MARGIN_MM, max(shown) + _MARGIN_MM
    return Heights(low, min(max(high, low + _LEAST_MM), low + _MOST_MM))


def side_frets(scale_mm: float) -> tuple[float, float, float]:
    """Places of frets 1 to 3 in side view, true to scale along the string. [px]"""
    front = NUT_EDGES[1]
    along = (LAST_FRET - front) / fret_place(scale_mm, 3)
    first, second, third = (front + along * fret_place(scale_mm, n) for n in (1, 2, 3))
    return first, second, third


def exaggeration(slots: Sequence[SlotPicture], *, scale_mm: float) -> float:
    """How many times larger a side view draws heights than lengths along the string."""
    return heights(slots).px_per_mm * fret_place(scale_mm, 3) / (LAST_FRET - NUT_EDGES[1])
