"""Takes laid over each other: same partials, periods and weights, the common course taken off.

Phases are counted against each take's own law; column m is block m of every take, the same number of periods
on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pitchcheck.clip import FloatArray
from pitchcheck.pitch.slopes import Slopes, envelopes, project
from pitchcheck.pitch.tracks import Tracks


@dataclass(frozen=True)
class Aligned:
    """Takes of one string over each other.

    Attributes
    ----------
    number : array, shape (k,)
        Partials that at least two takes have.
    heard : array of bool, shape (n, k)
    hz : array, shape (n, k)
        Reference frequencies. [Hz]
    time_s : array, shape (n, m)
    weight : array, shape (k, m)
        Inverse variance of a phase, the same for all takes: the harmonic mean over them.
    phases : sequence of array, shape (n, k, m)
        Each over the mean of the takes, once with each take's own glide still in, once without. [rad]
    """

    number: FloatArray
    heard: npt.NDArray[np.bool_]
    hz: FloatArray
    time_s: FloatArray
    weight: FloatArray
    phases: tuple[FloatArray, ...]

    def calm(self, hz: FloatArray, taus: Sequence[float]) -> FloatArray:
        """Factor by which the phases scatter more than noise explains, at the best glide time. Shape (k,)."""
        count = self.heard.sum(axis=0)
        freedom = max(1.0, self.weight.shape[1] - 3.0) * (count - 1)
        least = np.full(self.number.size, np.inf)
        for which in range(len(self.phases)):
            for tau in taus:
                left = sum(self._project(which, n, tau / hz[n])[3] * self.heard[n] for n in range(hz.size))
                least = np.minimum(least, left / freedom)
        return np.asarray(np.maximum(least, 1.0))

    def slopes(self, which: int, hz: FloatArray, tau_periods: float, calm: FloatArray) -> list[Slopes]:
        """Slopes of each take; information 0 where it lacks a partial."""
        found = []
        for n in range(hz.size):
            information, score, power, left = self._project(which, n, tau_periods / hz[n])
            on = self.heard[n] / calm
            found.append(
                Slopes(
                    self.number,
                    information * on[:, None, None],
                    score * on[:, None],
                    power * on,
                    left,
                    tau_periods,
                )
            )
        return found

    def _project(
        self, which: int, n: int, tau_s: float
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        return project(self.weight, self.hz[n], self.time_s[n], self.phases[which][n], tau_s=tau_s)


def align(tracks: Sequence[Tracks], phases: Sequence[Sequence[FloatArray]]) -> Aligned | None:
    """Lay takes over each other. None when no two have a partial in common."""
    steps = min(t.time_s.size for t in tracks)
    number = np.unique(np.concatenate([t.number for t in tracks]))
    heard = np.array([np.isin(number, t.number) for t in tracks])
    shared = heard.sum(axis=0) > 1
    if not shared.any():
        return None
    best = np.array([_spread(number, t, 2 * envelopes(t) ** 2 / t.noise[:, None], steps) for t in tracks])
    inverse = np.where(heard[..., None], 1 / np.maximum(best, 1e-9), 0.0).sum(axis=0)
    weight = heard.sum(axis=0)[:, None] / np.maximum(inverse, 1e-12)
    level = []
    for kind in phases:
        on = np.array([_spread(number, t, p, steps) for t, p in zip(tracks, kind, strict=True)])
        on = on - (on @ np.ones(steps) / steps)[..., None]
        mean = on.sum(axis=0) / np.maximum(heard.sum(axis=0), 1)[:, None]
        level.append(np.where(heard[..., None], on - mean, 0.0)[:, shared])
    hz = np.array([_spread(number, t, t.hz[:, None], 1)[:, 0] for t in tracks])
    return Aligned(
        number[shared],
        heard[:, shared],
        np.where(heard, hz, 1.0)[:, shared],
        np.array([t.time_s[:steps] for t in tracks]),
        weight[shared],
        tuple(level),
    )


def _spread(number: FloatArray, tracks: Tracks, values: FloatArray, steps: int) -> FloatArray:
    """Spread a take's rows over the common list of partials, zeros where it lacks one."""
    spread = np.zeros((number.size, steps))
    spread[np.searchsorted(number, tracks.number)] = values[:, :steps]
    return spread
