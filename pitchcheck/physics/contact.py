"""Where a string comes to rest: supports that only push.

Frets push the string up and never pull it down; the board stops a finger and never holds it. The nodes that
touch are found by switching them on and off until none pulls and none is passed through (an active set).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pitchcheck.physics.spline import Spline, solve_spline
from pitchcheck.types import BoolArray, FloatArray

MOST_SWITCHES = 12  # rounds of the active set; the layouts here settle in at most 5
PASSED_MM = 1e-9  # [mm] a node is passed through when the string is lower than it by more


@dataclass(frozen=True)
class Nodes:
    """Nodes of a batch of strings, shape (m, n) each.

    ``held`` is for good, ``support`` may push up only: its height is ``height_mm``; ``load`` acts where the
    node is not in contact (and is carried by the support where it is).
    """

    place_mm: FloatArray
    height_mm: FloatArray
    held: BoolArray
    support: BoolArray
    finger: BoolArray
    load: FloatArray

    @classmethod
    def build(cls, place: Sequence[FloatArray], height: Sequence[FloatArray], *, kinds: str) -> Nodes:
        """Nodes from columns: h = held, s = support (touching at first), f = finger over the board."""
        places = np.stack(np.broadcast_arrays(*place), axis=-1).astype(np.float64)
        heights = np.stack(np.broadcast_arrays(*height), axis=-1).astype(np.float64)
        kind = np.broadcast_to(np.array(list(kinds)), places.shape)
        return cls(places, heights, kind == "h", kind != "h", kind == "f", np.zeros_like(places))

    def every(self, step: int) -> Nodes:
        """Nodes of every so many strings of the batch."""
        return Nodes(
            self.place_mm[::step],
            self.height_mm[::step],
            self.held[::step],
            self.support[::step],
            self.finger[::step],
            self.load[::step],
        )


def rest(nodes: Nodes, bend_mm: FloatArray) -> Spline:
    """Shape in which nothing pulls and nothing is passed through.

    Parameters
    ----------
    nodes : Nodes, shape (m, n)
    bend_mm : array, shape (m,)

    Returns
    -------
    Spline
    """
    touching = nodes.held | (nodes.support & ~nodes.finger)
    for _ in range(MOST_SWITCHES):
        shape = solve_spline(
            nodes.place_mm,
            nodes.height_mm,
            held=touching,
            load=np.where(touching, 0.0, nodes.load),
            bend_mm=bend_mm,
        )
        pulls = nodes.support & touching & (shape.reaction - nodes.load < 0)
        passed = nodes.support & ~touching & (shape.height_mm < nodes.height_mm - PASSED_MM)
        if not (pulls.any() or passed.any()):
            break
        touching = (touching & ~pulls) | passed
    return shape
