"""A stiff string over frets, board and rod by finite elements with exact shape functions.

Conventions: mm; forces over the open string's tension T; slopes small. Elements carry tension and bending
(two heights, two slopes); their stiffness is the closed form for a beam under tension, so a piece between two
contacts is exact however long it is. How it changes with the tension, by a complex step, is the path that the
string gains: half the integral of the slope squared. Contacts only push. ``beam_oracle.py`` solves the same
problem with cubic elements half a millimetre long; ``test_string_fe.py`` holds the two together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
STEP = 1e-30  # imaginary step of the tension: a derivative without a difference
ROUNDS = 60  # of contacts made and let go; a neck needs three to eight
SLACK = 1e-10  # [mm] or force over T below which a contact is neither passed through nor pulling


@dataclass(frozen=True)
class Support:
    """Something the string may rest on; it only pushes up.

    ``give`` is how far it yields: mm for a force equal to T, 0 for a fret.
    """

    x: float
    top: float
    give: float = 0.0
    name: str = ""


@dataclass(frozen=True)
class Lie:
    """What the string lies between: held ends, supports, loads.

    ``held`` are points of given height, the ends of the string and the nut and saddle among them; ``loads``
    push down, (x, force over T).
    """

    held: tuple[tuple[float, float], ...]
    supports: tuple[Support, ...] = ()
    loads: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Rest:
    """The string at rest.

    ``extra_mm`` is length less span of each piece, ``bowed_mm`` half the integral of its slope squared, which
    is nearly the same; ``push`` up by a support's name, ``pull`` down by a held point's place, both over T.
    """

    x: FloatArray
    y: FloatArray
    slope: FloatArray
    extra_mm: FloatArray
    bowed_mm: FloatArray
    push: dict[str, float] = field(default_factory=dict)
    pull: dict[float, float] = field(default_factory=dict)

    def path_mm(self, start: float = -math.inf) -> float:
        """Length less span of what lies beyond a node, of the whole string by default."""
        return float(self.extra_mm[self.x[:-1] > start - 1e-9].sum())

    def height(self, x: float) -> float:
        """Height of the node at x."""
        return float(self.y[int(np.argmin(np.abs(self.x - x)))])


def element(length: FloatArray, tension: complex, bending: float) -> npt.NDArray[np.complex128]:
    """Stiffness of pieces of a beam under tension: (n, 4, 4), for height, slope, height, slope.

    The general solution a + b x + c e^(-x/s) + d e^(-(l-x)/s), s = sqrt(bending / tension), by its boundary
    values; written with e^(-l/s) so that long pieces do not overflow.
    """
    s = np.sqrt(bending / tension)
    u = length / s
    e = np.exp(-u)
    # Divided by e^u / 2 throughout: cosh -> 1 + e^2, sinh -> 1 - e^2, 1 -> 2 e.
    cosh, sinh, one = 1 + e * e, 1 - e * e, 2 * e
    low = 2 * (one - cosh) + u * sinh
    shear = tension / s * sinh / low
    couple = tension * (cosh - one) / low
    near = tension * s * (u * cosh - sinh) / low
    far = tension * s * (sinh - u * one) / low
    rows = [
        [shear, couple, -shear, couple],
        [couple, near, -couple, far],
        [-shear, -couple, shear, -couple],
        [couple, far, -couple, near],
    ]
    return np.moveaxis(np.array(rows), (0, 1), (-2, -1))


@lru_cache(maxsize=4096)
def _energy(lengths: tuple[float, ...], tension: float, bending: float) -> tuple[FloatArray, FloatArray]:
    """Stiffness of the whole string, (2n, 2n), and each piece's derivative by the tension, (n - 1, 4, 4)."""
    parts = element(np.array(lengths), tension + 1j * STEP, bending)
    size = 2 * (len(lengths) + 1)
    whole = np.zeros((size, size))
    for i, part in enumerate(parts.real):
        whole[2 * i : 2 * i + 4, 2 * i : 2 * i + 4] += part
    return whole, parts.imag / STEP


def rest(lie: Lie, *, bend_mm: float, tension: float = 1.0) -> Rest:
    """Lowest energy of a string whose bending is ``bend_mm`` squared, at a tension over the open string's.

    Raises
    ------
    ArithmeticError
        If contacts do not settle.
    """
    x = np.array(sorted({p for p, _ in lie.held} | {s.x for s in lie.supports} | {p for p, _ in lie.loads}))
    place = {float(p): 2 * i for i, p in enumerate(x)}
    whole, by_tension = _energy(tuple(np.diff(x).tolist()), tension, bend_mm**2)
    push = np.zeros(2 * x.size)
    for p, force in lie.loads:
        push[place[p]] -= force
    held = {place[p]: y for p, y in lie.held}
    under = {place[s.x]: s for s in lie.supports if place[s.x] not in held}
    u, force = _settle(whole, push, held, under)
    y, slope = u[0::2], u[1::2]
    ends = np.stack([y[:-1], slope[:-1], y[1:], slope[1:]], axis=1)
    length = np.diff(x)
    chord = np.diff(y) / length
    exact = length * (np.sqrt(1 + chord**2) - 1 - chord**2 / 2)
    bowed = np.einsum("ni,nij,nj->n", ends, by_tension, ends) / 2
    pull = {p: float(push[place[p]] - whole[place[p]] @ u) for p, _ in lie.held}
    return Rest(x, y, slope, bowed + exact, bowed, {under[i].name: f for i, f in force.items()}, pull)


def _settle(
    whole: FloatArray, push: FloatArray, held: dict[int, float], under: dict[int, Support]
) -> tuple[FloatArray, dict[int, float]]:
    """Catch what is passed through, let go what pulls, until neither is left.

    The free string is solved once; a contact answers through the compliance between contacts.
    """
    at = list(held)
    free = np.setdiff1d(np.arange(push.size), at)
    watch = list(under)
    spot = np.searchsorted(free, watch)
    loads = np.zeros((free.size, 1 + len(watch)))
    loads[:, 0] = push[free] - whole[np.ix_(free, at)] @ np.array([held[i] for i in at])
    loads[spot, 1 + np.arange(len(watch))] = 1.0
    moves = np.linalg.solve(whole[np.ix_(free, free)], loads)
    alone, answer = moves[:, 0], moves[:, 1:]
    top = np.array([under[i].top for i in watch])
    give = np.diag([under[i].give for i in watch])
    compliance = answer[spot] + give if watch else np.zeros((0, 0))
    lack = top - alone[spot]
    on = lack > SLACK
    force = np.zeros(len(watch))
    for _ in range(ROUNDS):
        force[:] = 0.0
        if on.any():
            force[on] = np.linalg.solve(compliance[np.ix_(on, on)], lack[on])
        pulling = on & (force < -SLACK)
        passed = ~on & (lack - compliance @ force > SLACK)
        if not pulling.any() and not passed.any():
            break
        # one at a time where both happen: the worst puller goes, or the deepest is caught
        if pulling.any():
            on[np.argmin(np.where(pulling, force, np.inf))] = False
        else:
            on[np.argmax(np.where(passed, lack - compliance @ force, -np.inf))] = True
    else:
        raise ArithmeticError(f"contacts do not settle after {ROUNDS} rounds")
    u = np.zeros(push.size)
    u[at] = [held[i] for i in at]
    u[free] = alone + answer @ force
    return u, {i: float(f) for i, f, touch in zip(watch, force, on, strict=True) if touch}


def end_turn(length_mm: float, *, bend_mm: float, tension: float = 1.0, clamped: bool) -> float:
    """How stiffly the string beyond an end turns there: moment over slope and T. [mm]"""
    part = element(np.array([length_mm]), tension + 0j, bend_mm**2)[0].real
    return float(part[1, 1] if clamped else part[1, 1] - part[1, 3] ** 2 / part[3, 3])


def sounding_length(
    length_mm: float, turns_mm: tuple[float, float], *, bend_mm: float, tension: float = 1.0
) -> tuple[float, float]:
    """Length of a string without stiffness that sounds alike: by the stiff-string law, by its first partial.

    A beam under tension between two points that cannot move and that turn as stiffly as ``turns_mm``:
    y = A sin kx + B cos kx + C e^(-qx) at each end, with k the wave number and q^2 = k^2 + 1/s^2. The
    vanishing height and the moment at an end give the phase there; the phases add up to k length = pi + ...
    The first is pi / k without, the second with what stiffness adds to the partial's frequency.
    """
    s2 = bend_mm**2 / tension
    k = math.pi / length_mm
    for _ in range(20):
        q = math.sqrt(k * k + 1 / s2)
        total = math.pi
        for turn in turns_mm:
            ratio = turn / (tension * s2)
            total += math.atan(ratio * k / (q * q + k * k + ratio * q))
        k, last = total / length_mm, k
        if abs(k - last) < 1e-14 * k:
            break
    return math.pi / k, math.pi / (k * math.sqrt(1 + s2 * k * k))
