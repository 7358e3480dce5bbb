"""The joint posterior of one instrument, kept so that later stages can ask what more takes would tell.

Conventions: unknowns are standard normal beforehand (see ``cases``); the posterior is normal about its mode.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.fit.cases import CaseKind, Coordinate, linearise
from pitchcheck.fit.solve import hand_variance
from pitchcheck.fit.unknowns import CaseRequest, build_unknowns
from pitchcheck.instrument import Instrument
from pitchcheck.takes import Position
from pitchcheck.types import FloatArray


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
    """

    names: tuple[str, ...]
    z: FloatArray
    covariance: FloatArray

    def gain(
        self, instrument: Instrument, positions: tuple[Position, ...], *, reading_cents: float
    ) -> tuple[FloatArray, FloatArray]:
        """What one more take at each of some places would tell about the slot heights.

        Parameters
        ----------
        instrument : Instrument
        positions : tuple of Position, p of them
            Stopped places on fitted strings.
        reading_cents : float
            Standard uncertainty of an error read from such a take and its open strings. [cent]

        Returns
        -------
        now, after : array, shape (s,) and (p, s)
            Standard uncertainty of every string's slot height, in the instrument's order, now and after the
            take. [mm] Not a number for strings that were not fitted.
        """
        requests = [_case(position) for position in positions]
        own = build_unknowns(instrument, requests)
        known = dict(zip(self.names, self.z, strict=True))
        mine = np.array([known.get(name, 0.0) for name in own.names])
        coordinates = own.coordinates(mine)
        about = linearise(own.cases, coordinates)
        local = np.einsum("ca,can->cn", about.slope, own.spread)
        noise = hand_variance(own, about) + reading_cents**2
        covariance = self._over(own.names)
        rows = np.zeros((len(instrument.strings), len(own.names)))
        for i, spec in enumerate(instrument.strings):
            name = f"slot {spec.number}"
            if name in own.names and name in known:
                for part in (name, "slots"):
                    column = own.names.index(part)
                    rows[i, column] = np.max(own.spread[:, Coordinate.SLOT_HEIGHT, column])
            else:
                rows[i] = np.nan
        now = np.einsum("sn,nm,sm->s", rows, covariance, rows)
        cross = local @ covariance @ rows.T
        total = np.einsum("cn,nm,cm->c", local, covariance, local) + noise
        after = now[None] - cross**2 / total[:, None]
        return np.sqrt(now), np.sqrt(np.maximum(after, 0.0))

    def _over(self, names: tuple[str, ...]) -> FloatArray:
        """Covariance over other columns; unknowns that were not in the fit keep their prior."""
        covariance = np.eye(len(names))
        here = [i for i, name in enumerate(names) if name in self.names]
        there = [self.names.index(names[i]) for i in here]
        covariance[np.ix_(here, here)] = self.covariance[np.ix_(there, there)]
        return covariance


def _case(position: Position) -> CaseRequest:
    """Case of one stopped place."""
    assert position.fret is not None
    return CaseRequest(CaseKind(position.stop, position.fret, position.capo), position.string)
