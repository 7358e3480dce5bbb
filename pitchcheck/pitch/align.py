"""Takes laid over each other: same partials, periods and weights, the common course taken off.

Phases are counted against each take's own law; column m is block m of every take, the same number of periods
on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pitchcheck.pitch.joint_notes import NoteLikelihood
from pitchcheck.pitch.partial_slopes import envelopes, project, unexplained
from pitchcheck.pitch.tracks import Tracks, glide_integral
from pitchcheck.types import FloatArray

SLOWER = 2.5  # a slow part of the glide takes that much longer than the glide


@dataclass(frozen=True)
class AlignedNotes:
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
    phase : array, shape (n, k, m)
        Over each take's law without its glide. [rad]
    overdispersion : array, shape (k,)
        Factor by which the phases scatter more than noise explains.
    """

    number: FloatArray
    heard: npt.NDArray[np.bool_]
    hz: FloatArray
    time_s: FloatArray
    weight: FloatArray
    phase: FloatArray
    overdispersion: FloatArray

    def trial(
        self,
        tau_s: FloatArray,
        *,
        belief: float,
        glide: FloatArray | None = None,
        own_sd: tuple[FloatArray, ...] = (),
        alike_s: FloatArray | None = None,
    ) -> NoteLikelihood:
        """Look at the takes with given times of their glides.

        Parameters
        ----------
        tau_s : array, shape (n,)
            Decay times of the glides' laws. [s]
        belief : float
            Before listening, as a logarithm.
        glide : array, shape (n,), optional
            Take these glides off; another decay time and a slow part of each are then allowed for.
        own_sd : tuple of array, shape (n,)
            Standard deviation of the logarithm of each decay time, and of each slow part.
        alike_s : array, shape (n,), optional
            Decay times of what all takes share, ``tau_s`` when not given: the same number of periods.
        """
        trends = [self.time_s, _glides(self.time_s, tau_s)]
        if glide is not None:
            fade_s = self.time_s * np.exp(-2 * self.time_s / tau_s[:, None])
            trends.append(glide[:, None] * (trends[1] - fade_s))  # by the logarithm of the decay time
            trends.append(_glides(self.time_s, SLOWER * tau_s))
        trends.append(trends[1] if alike_s is None else _glides(self.time_s, alike_s))
        information, score, power = self._project(tau_s, glide, trends)
        on = self.heard / self.overdispersion
        return NoteLikelihood(
            information * on[..., None, None],
            score * on[..., None],
            float(np.sum(power * on)),
            belief,
            np.zeros(tau_s.size) if glide is None else glide,
            own_sd,
            1 - np.exp(-2 * self.time_s[:, -1:] / tau_s[:, None]),
        )

    def rescaled(self, ways: Sequence[tuple[FloatArray, FloatArray | None]]) -> AlignedNotes:
        """Find ``overdispersion`` at the best of some decay times and glides taken off."""
        freedom = max(1.0, self.weight.shape[1] - 3.0) * (self.heard.sum(axis=0) - 1)
        least = np.full(self.number.size, np.inf)
        for tau_s, glide in ways:
            found = self._project(tau_s, glide, [self.time_s, _glides(self.time_s, tau_s)])
            least = np.minimum(least, np.sum(unexplained(*found) * self.heard, axis=0) / freedom)
        return replace(self, overdispersion=np.maximum(least, 1.0))

    def _project(
        self, tau_s: FloatArray, glide: FloatArray | None, trends: Sequence[FloatArray]
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Information (n, k, c, c), score (n, k, c) and power (n, k) of the phases over their mean."""
        phase = self.phase
        if glide is not None:
            bent = glide[:, None] * _glides(self.time_s, tau_s)
            phase = phase - 2 * np.pi * self.hz[..., None] * bent[:, None, :]
        mean = phase.sum(axis=0) / self.heard.sum(axis=0)[:, None]
        notes = zip(self.hz, np.stack(trends, axis=1), phase, strict=True)
        found = [project(self.weight, hz, course, one - mean) for hz, course, one in notes]
        information, score, power = (np.array(part) for part in zip(*found, strict=True))
        return information, score, power


def _glides(time_s: FloatArray, tau_s: FloatArray) -> FloatArray:
    """Integral of each take's glide law. Shape (n, m). [s]"""
    return np.array([glide_integral(t, tau_s=float(tau)) for t, tau in zip(time_s, tau_s, strict=True)])


def align(tracks: Sequence[Tracks], phases: Sequence[FloatArray]) -> AlignedNotes | None:
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
    on = np.array([_spread(number, t, p, steps) for t, p in zip(tracks, phases, strict=True)])
    on = np.where(heard[..., None], on - (on @ np.ones(steps) / steps)[..., None], 0.0)
    hz = np.array([_spread(number, t, t.hz[:, None], 1)[:, 0] for t in tracks])
    return AlignedNotes(
        number[shared],
        heard[:, shared],
        np.where(heard, hz, 1.0)[:, shared],
        np.array([t.time_s[:steps] for t in tracks]),
        weight[shared],
        on[:, shared],
        np.ones(int(shared.sum())),
    )


def _spread(number: FloatArray, tracks: Tracks, values: FloatArray, steps: int) -> FloatArray:
    """Spread a take's rows over the common list of partials, zeros where it lacks one."""
    spread = np.zeros((number.size, steps))
    spread[np.searchsorted(number, tracks.number)] = values[:, :steps]
    return spread
