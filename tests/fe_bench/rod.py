"""The rod that presses a string down, and the neck that gives way under it: a beam clamped at the body.

Conventions: mm, N; x from the nut towards the body; down is positive.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from .string_fe import Lie, Support, rest

BESIDE = (0.5, 1.0, 2.0)  # bending lengths beside a rod at which a stiff string may touch the board
EVEN_MM = 1e-4  # difference in height of a rod's two edges that counts as none
TRIES = 10


@dataclass(frozen=True)
class Rod:
    """A rod's end, rigid and upright, flat between two edges. Forces over T, the board's give in mm for T.

    A stiff string that comes down steeply touches the board beyond the rod, so the board reaches beside it.
    """

    near: float
    far: float
    board: float
    give: float
    force: float
    aside_mm: float

    @property
    def middle(self) -> float:
        return (self.near + self.far) / 2

    def under(self, bend_mm: float) -> tuple[Support, ...]:
        """The board beside and under the rod."""
        places = [self.near - part * bend_mm for part in BESIDE]
        places += [self.far + part * bend_mm for part in BESIDE]
        places += [self.near, self.middle, self.far]
        return tuple(Support(x, self.board, 3 * self.give, f"board {i}") for i, x in enumerate(places))

    def press(self, lie: Lie, *, bend_mm: float, tension: float) -> Lie:
        """The string under the rod: its force on its two edges so that they come down alike, if it can."""

        def at(part: float) -> tuple[Lie, float]:
            loads = ((self.near, part * self.force), (self.far, (1 - part) * self.force))
            pressed = replace(lie, loads=(*lie.loads, *loads))
            shown = rest(pressed, bend_mm=bend_mm, tension=tension)
            return pressed, shown.height(self.near) - shown.height(self.far)

        low, high = 0.0, 1.0  # the more lies on the near edge, the lower it is
        part, last, before = 0.5, 0.0, 0.0
        for tried in range(
            TRIES
        ):  # a secant: between contacts the heights follow the parts in straight lines
            pressed, above = at(part)
            if abs(above) < EVEN_MM:
                break
            low, high = (part, high) if above > 0 else (low, part)
            step = above * (part - last) / (above - before) if tried and above != before else 2.0
            last, before, part = part, above, part - step
            if not low < part < high:
                part = (low + high) / 2
        return pressed


@dataclass(frozen=True)
class Sag:
    """A neck as a beam clamped at the body, propped at a support (0: none), loaded at one place. [mm, N]"""

    at: float
    force: float
    support: float
    body: float
    stiffness: float  # [N mm2]

    def _unit(self, load: float, x: float) -> float:
        """Deflection at x for unit force at ``load``: sum of (t - load)(t - x) from there to the body."""
        low = min(self.body, max(load, x))
        whole = self.body

        def at(t: float) -> float:
            return t**3 / 3 - (load + x) * t**2 / 2 + load * x * t

        return (at(whole) - at(low)) / self.stiffness

    def _prop(self) -> float:
        if self.support <= 0 or self.support >= self.body:
            return 0.0
        return self.force * self._unit(self.at, self.support) / self._unit(self.support, self.support)

    def __call__(self, x: float) -> float:
        if x >= self.body:
            return 0.0
        return self.force * self._unit(self.at, x) - self._prop() * self._unit(self.support, x)

    def turn(self) -> float:
        """Angle by which the nut's end turns back: the moment over the stiffness, summed. [rad]"""

        def area(load: float) -> float:
            return (self.body - load) ** 2 / 2 / self.stiffness

        prop = self._prop()
        return self.force * area(self.at) - (prop * area(self.support) if prop else 0.0)


def _capo_middle(loads: list[tuple[float, float]]) -> float:
    return loads[1][0]
