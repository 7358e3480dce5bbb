"""A stiff string lying on frets and board, solved by finite elements: an oracle independent of the package.

Cubic Hermite beam elements with the stiffness of tension added; the forces of frets and board, which can
only push, by non-negative least squares. Lengths in mm, tension scaled out: ``stiffness_mm`` is sqrt(EI/T).
x runs from the nut's front edge to the saddle, y = 0 is the plane of the fret tops. The path is longer than
its span by half the integral of the slope squared (slopes stay below 0.1: relative error below 0.003). The
package solves the same problem with exact exponential pieces; nothing is shared but the physics.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.linalg import cholesky, eigh, solve_triangular
from scipy.optimize import nnls
from scipy.sparse import coo_matrix, csc_matrix
from scipy.sparse.linalg import splu

FloatArray = npt.NDArray[np.float64]
Points = tuple[tuple[float, float], ...]
SINK_MM = 1e-9  # how far below a fret top or the board a node may lie

# Integrals over one element of unit length, of the four cubic shape functions (height, slope, height, slope)
# with each other: slopes (the consistent geometric stiffness), curvatures, heights. Textbook matrices.
STRETCH = np.array([[36, 3, -36, 3], [3, 4, -3, -1], [-36, -3, 36, -3], [3, -1, -3, 4]]) / 30
BEND = np.array([[12, 6, -12, 6], [6, 4, -6, 2], [-12, -6, 12, -6], [6, 2, -6, 4]]) / 1.0
MASS = np.array([[156, 22, 54, -13], [22, 4, 13, -3], [54, 13, 156, -22], [-13, -3, -22, 4]]) / 420


@dataclass(frozen=True)
class Neck:
    """What the string can touch. Heights above the fret plane; angles below the string's own line. [mm]"""

    scale_mm: float
    slot_mm: float
    saddle_mm: float  # string underside at the saddle
    fret_mm: float  # fret height above the board
    frets: int = 20
    tail_mm: float = 40.0  # string behind the nut
    nut_break_rad: float = 0.0
    saddle_tail_mm: float = 20.0
    saddle_break_rad: float = 0.0
    fret_tops_mm: tuple[float, ...] = ()  # each fret's own height, if they differ from the plane
    board: bool = True  # whether the board stops the string

    def fret_place(self, fret: int) -> float:
        return self.scale_mm * (1 - 2 ** (-fret / 12))

    def fret_top(self, fret: int) -> float:
        return self.fret_tops_mm[fret - 1] if fret <= len(self.fret_tops_mm) else 0.0


@dataclass(frozen=True)
class Shape:
    """The string at rest."""

    x_mm: FloatArray
    y_mm: FloatArray
    slope: FloatArray
    path_extra_mm: float  # path less span, half the integral of the slope squared, tails included
    on_frets: tuple[int, ...]
    on_board: tuple[float, ...]


def shape(
    neck: Neck, *, stiffness_mm: float, held: Points = (), loads: Points = (), element_mm: float = 0.5
) -> Shape:
    """Rest shape: ``held`` places keep their height, (x, y); ``loads`` press down, (x, force / T)."""
    mesh = _mesh(neck, held + loads, element_mm)
    tension, bending = _matrices(mesh)
    energy = (tension + stiffness_mm**2 * bending).tocsc()
    fixed = _fixed(neck, held, mesh)
    floor = _floor(neck, mesh)
    push = np.zeros(2 * mesh.size)
    for x, force in loads:
        push[2 * _node(mesh, x)] -= force
    u, on = _solve(energy, fixed, floor, push)
    frets = {_node(mesh, neck.fret_place(n)): n for n in range(1, neck.frets + 1)}
    touching = [i // 2 for i in on]
    return Shape(
        x_mm=mesh,
        y_mm=u[0::2],
        slope=u[1::2],
        path_extra_mm=float(u @ (tension @ u)) / 2,
        on_frets=tuple(sorted(frets[i] for i in touching if i in frets)),
        on_board=tuple(float(mesh[i]) for i in touching if i not in frets),
    )


def extra_path_mm(
    neck: Neck, *, stiffness_mm: float, held: Points = (), loads: Points = (), element_mm: float = 0.5
) -> float:
    """How much longer the string's path is than when it is open. [mm]"""
    stopped = shape(neck, stiffness_mm=stiffness_mm, held=held, loads=loads, element_mm=element_mm)
    return stopped.path_extra_mm - shape(neck, stiffness_mm=stiffness_mm, element_mm=element_mm).path_extra_mm


def partials(length_mm: float, *, stiffness_mm: float, count: int, elements: int = 400) -> FloatArray:
    """Frequencies of a stiff string pinned at both ends, over that of the string without stiffness. [-]"""
    mesh = np.linspace(0.0, length_mm, elements + 1)
    tension, bending = _matrices(mesh)
    free = np.setdiff1d(np.arange(2 * mesh.size), [0, 2 * mesh.size - 2])
    energy = (tension + stiffness_mm**2 * bending).toarray()[np.ix_(free, free)]
    mass = _assemble(mesh, MASS, 1).toarray()[np.ix_(free, free)]
    found = eigh(energy, mass, eigvals_only=True, subset_by_index=(0, count - 1))
    return np.asarray(np.sqrt(found) * length_mm / np.pi, dtype=np.float64)


def _mesh(neck: Neck, held: Points, element_mm: float) -> FloatArray:
    """Nodes: even spacing between the places that matter, finer beside each of them."""
    places = {-neck.tail_mm, 0.0, neck.scale_mm, neck.scale_mm + neck.saddle_tail_mm}
    places |= {neck.fret_place(n) for n in range(1, neck.frets + 1)} | {x for x, _ in held}
    marks = sorted(places)
    nodes = [marks[0]]
    for a, b in pairwise(marks):
        pieces = max(8, int(np.ceil((b - a) / element_mm)))
        even = np.linspace(0.0, 1.0, pieces + 1)[1:]
        nodes.extend(a + (b - a) * (even - 0.8 * np.sin(2 * np.pi * even) / (2 * np.pi)))
    return np.asarray(nodes, dtype=np.float64)


def _assemble(mesh: FloatArray, element: FloatArray, power: int) -> csc_matrix:
    """Sum the elements over the mesh; ``element`` is for unit length, ``power`` how it grows with length."""
    e = np.diff(mesh)
    dof = 2 * np.arange(e.size)[:, None] + np.arange(4)
    turn = np.stack([np.ones_like(e), e, np.ones_like(e), e], axis=1)  # slopes carry a length
    values = e[:, None, None] ** power * turn[:, :, None] * turn[:, None, :] * element
    size = 2 * mesh.size
    flat = (np.repeat(dof, 4, axis=1).ravel(), np.tile(dof, (1, 4)).ravel())
    return coo_matrix((values.ravel(), flat), shape=(size, size)).tocsc()


def _matrices(mesh: FloatArray) -> tuple[csc_matrix, csc_matrix]:
    return _assemble(mesh, STRETCH, -1), _assemble(mesh, BEND, -3)


def _node(mesh: FloatArray, x: float) -> int:
    return int(np.argmin(np.abs(mesh - x)))


def _fixed(neck: Neck, held: Points, mesh: FloatArray) -> dict[int, float]:
    """Heights that are given, by degree of freedom: ends, nut, saddle and the held places."""
    line = (neck.saddle_mm - neck.slot_mm) / neck.scale_mm
    given = {
        -neck.tail_mm: neck.slot_mm - (line + neck.nut_break_rad) * neck.tail_mm,
        0.0: neck.slot_mm,
        neck.scale_mm: neck.saddle_mm,
        neck.scale_mm + neck.saddle_tail_mm: neck.saddle_mm
        + (line - neck.saddle_break_rad) * neck.saddle_tail_mm,
    } | dict(held)
    return {2 * _node(mesh, x): y for x, y in given.items()}


def _floor(neck: Neck, mesh: FloatArray) -> dict[int, float]:
    """Least heights, by degree of freedom: fret tops and the board between nut and last fret."""
    inside = np.flatnonzero((mesh > 0) & (mesh < neck.fret_place(neck.frets)))
    floor = {2 * int(i): -neck.fret_mm for i in inside} if neck.board else {}
    floor |= {2 * _node(mesh, neck.fret_place(n)): neck.fret_top(n) for n in range(1, neck.frets + 1)}
    return floor


def _solve(
    energy: csc_matrix, fixed: dict[int, float], floor: dict[int, float], push: FloatArray
) -> tuple[FloatArray, list[int]]:
    """Least energy above the floor: the contact forces are a least-squares problem with forces >= 0."""
    bound = {i: y for i, y in floor.items() if i not in fixed}
    index, low = np.fromiter(bound, dtype=int), np.fromiter(bound.values(), dtype=float)
    at, given = np.fromiter(fixed, dtype=int), np.fromiter(fixed.values(), dtype=float)
    free = np.setdiff1d(np.arange(energy.shape[0]), at)
    factor = splu(energy[free][:, free].tocsc())
    place = np.full(energy.shape[0], -1)
    place[free] = np.arange(free.size)
    u = np.zeros(energy.shape[0])
    u[at] = given
    u[free] = alone = factor.solve(push[free] - energy[free][:, at] @ given)
    watched = np.zeros(index.size, dtype=bool)
    force = np.zeros(0)
    while (below := u[index] < low - SINK_MM)[~watched].any():
        watched |= below
        rows = place[index[watched]]
        loads = np.zeros((free.size, rows.size))
        loads[rows, np.arange(rows.size)] = 1.0
        moves = factor.solve(loads)
        root = cholesky(moves[rows], lower=True)  # compliance = root @ root.T
        force, _ = nnls(root.T, solve_triangular(root, low[watched] - alone[rows], lower=True))
        u[free] = alone + moves @ force
    return u, index[watched][force > 0].tolist()
