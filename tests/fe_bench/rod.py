"""The rod that presses a string down, and the neck that gives way under it: a beam clamped at the body.

Conventions: mm, N; x from the nut towards the body; down is positive.
"""

from __future__ import annotations

from dataclasses import dataclass

from .string_fe import Rest


@dataclass(frozen=True)
class Rod:
    """A rod's end: two edges, the board under it (height, mm per force over T), force over T, push aside."""

    near: float
    far: float
    board: float
    give: float
    force: float
    aside_mm: float

    @property
    def middle(self) -> float:
        return (self.near + self.far) / 2

    def held(self, y: float) -> tuple[tuple[float, float], ...]:
        return (self.near, y), (self.far, y)

    def carried(self, shown: Rest) -> float:
        """What the string carries of the rod's force."""
        return shown.pull[self.near] + shown.pull[self.far]


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
