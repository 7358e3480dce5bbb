"""The joint posterior of one instrument, kept so that later stages can ask what more takes would tell.

Conventions: unknowns are standard normal beforehand (see ``cases``); the posterior is normal about its mode.
Further takes belong to the last pass and come from the hand that was heard.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from pitchcheck.fit import priors
from pitchcheck.fit.cases import CaseKind, Coordinate, linearise
from pitchcheck.fit.hand import Scatter, hand_parts
from pitchcheck.fit.unknowns import CaseRequest, PassEffects, Unknowns, build_unknowns
from pitchcheck.instrument import Instrument, MeterQuantity
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray

NEVER_MM2 = 1e6  # [mm^2] variance of a leaf whose answer is known beforehand
SURE = 1e-6  # [-] chance of a leaf's answer below which it tells nothing
_NORMAL = 1 / np.sqrt(2 * np.pi)


@dataclass(frozen=True)
class Outlook:
    """Joint belief in the slot heights and in what some further takes would read.

    Attributes
    ----------
    numbers : tuple of int, s of them
        Fitted strings.
    positions : tuple of Position, p of them
    expected : array, shape (p,)
        Error of the take [cent]; of a leaf take the gap over the fret [mm].
    covariance : array, shape (s + p, s + p)
        Of the heights [mm], then of what the takes would read without their own noise [cent or mm].
    noise : array, shape (p,)
        Variance of one such take: reading and hand, or how sharply a leaf tells. [cent^2 or mm^2]
    """

    numbers: tuple[int, ...]
    positions: tuple[Position, ...]
    expected: FloatArray
    covariance: FloatArray
    noise: FloatArray

    def heights_after(self, run: Iterable[int] = ()) -> FloatArray:
        """Covariance of the slot heights after a run of takes, shape (s, s). [mm^2]

        Parameters
        ----------
        run : iterable of int
            Indices into ``positions``; one that comes twice is played twice. A leaf take counts as the normal
            reading that leaves the same mean variance; its thickness is that of its position.
        """
        count = len(self.numbers)
        covariance = self.covariance
        for i in run:
            k = count + i
            variance = covariance[k, k] + self._noise_of(i, covariance[k, k])
            if np.isfinite(variance):
                covariance = covariance - np.outer(covariance[:, k], covariance[k]) / variance
        return np.asarray(covariance[:count, :count])

    def _noise_of(self, i: int, variance: float) -> float:
        """Variance of the reading that tells as much as one take at a position."""
        leaf_mm = self.positions[i].leaf_mm
        if leaf_mm is None:
            return float(self.noise[i])
        width_2 = variance + self.noise[i]
        z = (self.expected[i] - leaf_mm) / np.sqrt(width_2)
        chance = float(ndtr(z))
        if not SURE < chance < 1 - SURE:
            return NEVER_MM2
        density = _NORMAL * np.exp(-(z**2) / 2)
        return float(width_2 * chance * (1 - chance) / density**2 - variance)


@dataclass(frozen=True)
class Joint:
    """Posterior of all unknowns.

    Attributes
    ----------
    names : tuple of str
        Unknowns, one a column.
    z : array, shape (n,)
        Mode.
    covariance : array, shape (n, n)
    effects : tuple of PassEffects
        Of the passes, earliest first.
    scatter : Scatter
        Of the hand that was heard.
    numbers : tuple of int
        Fitted strings.
    """

    names: tuple[str, ...]
    z: FloatArray
    covariance: FloatArray
    effects: tuple[PassEffects, ...]
    scatter: Scatter
    numbers: tuple[int, ...]

    def outlook(
        self, instrument: Instrument, positions: Sequence[Position], *, reading_cents: float
    ) -> Outlook:
        """What further takes at some positions would tell about the slot heights.

        Parameters
        ----------
        instrument : Instrument
        positions : sequence of Position
            Stopped positions and leaf takes (with a ``leaf_mm``) on fitted strings.
        reading_cents : float
            Standard uncertainty of an error read from such a take and its open strings. [cent]
        """
        own = self._unknowns_of(instrument, positions)
        known = dict(zip(self.names, self.z, strict=True))
        mine = np.array([known.get(name, 0.0) for name in own.names])
        count = len(self.numbers)
        coordinates = own.coordinates(mine)
        about = linearise(own.cases[count:], coordinates[count:])
        rows = np.concatenate(
            [
                own.spread[:count, Coordinate.SLOT_HEIGHT],
                np.einsum("ca,can->cn", about.slope, own.spread[count:]),
            ]
        )
        leaf = np.array([position.stop is Stop.LEAF for position in positions], dtype=np.bool_)
        hand = hand_parts(own.cases[count:], about).total(self.scatter) + reading_cents**2
        return Outlook(
            numbers=self.numbers,
            positions=tuple(positions),
            expected=about.value,
            covariance=rows @ self._over(own.names) @ rows.T,
            noise=np.where(leaf, priors.LEAF_SD_MM**2, hand),
        )

    def gain(
        self, instrument: Instrument, positions: tuple[Position, ...], *, reading_cents: float
    ) -> tuple[FloatArray, FloatArray]:
        """What one more take at each of some positions would tell about the slot heights.

        Returns
        -------
        now, after : array, shape (s,) and (p, s)
            Standard uncertainty of every string's slot height, in the instrument's order, now and after the
            take. [mm] Not a number for strings that were not fitted.
        """
        view = self.outlook(instrument, positions, reading_cents=reading_cents)
        order = [spec.number for spec in instrument.strings]
        columns = [order.index(number) for number in self.numbers]
        now = np.full(len(order), np.nan)
        after = np.full((len(positions), len(order)), np.nan)
        now[columns] = np.sqrt(np.diag(view.heights_after()))
        for i in range(len(positions)):
            after[i, columns] = np.sqrt(np.maximum(np.diag(view.heights_after([i])), 0.0))
        return now, after

    def heights_told(
        self, instrument: Instrument, what: Coordinate, sd: float
    ) -> tuple[FloatArray, FloatArray]:
        """What a length or angle that all strings share, once told, would tell about the slot heights.

        Parameters
        ----------
        instrument : Instrument
        what : Coordinate
            Relief [mm], or the angle behind the nut [rad] of the strings that bear on it.
        sd : float > 0
            Standard uncertainty with which it would be told, in the same unit.

        Returns
        -------
        now, after : array, shape (s,)
            Standard uncertainty of the height of each string in ``numbers``. [mm]
        """
        own = self._unknowns_of(instrument)
        bears = [i for i, n in enumerate(self.numbers) if not instrument.string(n).nut_at_fret][:1]
        rows = np.concatenate([own.spread[:, Coordinate.SLOT_HEIGHT], own.spread[bears, what]])
        covariance = rows @ self._over(own.names) @ rows.T
        count = len(self.numbers)
        variance = np.diag(covariance)[:count]
        told = covariance[:count, count:] ** 2 / (np.diag(covariance)[count:] + sd**2)
        return np.sqrt(variance), np.sqrt(np.maximum(variance - told.sum(axis=1), 0.0))

    def _unknowns_of(self, instrument: Instrument, positions: Sequence[Position] = ()) -> Unknowns:
        """Map of the fitted strings in the last pass, then of some positions, as wide as the hand asks."""
        last = len(self.effects) - 1
        own_kind = CaseKind(None, 0, 0, MeterQuantity.FRET_HEIGHT)  # holds a string's coordinates
        requests = [CaseRequest(own_kind, number, last) for number in self.numbers]
        requests += [_request(position, last) for position in positions]
        return build_unknowns(instrument, requests, self.effects).widened(self.scatter)

    def _over(self, names: tuple[str, ...]) -> FloatArray:
        """Covariance over other columns; unknowns that were not in the fit keep their prior."""
        covariance = np.eye(len(names))
        here = [i for i, name in enumerate(names) if name in self.names]
        there = [self.names.index(names[i]) for i in here]
        covariance[np.ix_(here, here)] = self.covariance[np.ix_(there, there)]
        return covariance


def _request(position: Position, index: int) -> CaseRequest:
    """Case of one stopped position, or of the gap that a leaf bounds."""
    if position.stop is Stop.LEAF:
        return CaseRequest(CaseKind(None, 0, 0, MeterQuantity.CLEARANCE_OPEN), position.string, index)
    assert position.fret is not None
    return CaseRequest(CaseKind(position.stop, position.fret, position.capo), position.string, index)
