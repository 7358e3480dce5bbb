"""From a found note to its law: tracks, phases followed from the strong partials outwards."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pitchcheck.clip import Clip
from pitchcheck.pitch.beats import part_modes
from pitchcheck.pitch.inharmonic_fit import INHARMONICITY_PRIOR, InharmonicFit, finer, fit_inharmonic_partials
from pitchcheck.pitch.partial_slopes import (
    LINE,
    WEAKEST,
    envelopes,
    fit_slopes,
    phase_left,
)
from pitchcheck.pitch.tracks import Tracks, glide_integral, law_hz, leaked, take_tracks
from pitchcheck.types import FloatArray

GLIDE_TIMES = np.geomspace(0.3, 3.0, 5)  # glide law's decay time over the note's own
# sd of the logarithm of that ratio before listening (ours; all partials glide as the note dies away)
TAU_SPREAD = 0.2
STRONG = (0.02, 0.02, 0.0, 0.0)  # share of the strongest partial's energy needed, round by round
FIRST = (4, 12, 99, 99)  # highest partial looked at, round by round
LOUDEST = 6  # partials whose decay is looked at
LONGEST_DECAY_S = 20.0  # [s] longer is not told from no decay
ROUNDS = 4
NEAR = 3e-4  # relative distance from the note at which tracks leak no more than they always do (half a cent)
FASTEST_FALL = 30.0  # [1/s] in which a partial is believed to die away
ON_MODEL_CENTS = 0.02  # [cent] partials that lie so close to the law have nothing in common that must cancel
FEWEST_BEATING = 3  # partials
PARTINGS = 3  # rounds
# share of the uncertainty to which parting the modes must bring it: it costs four unknowns a partial
SURER = 0.6
MOST_BEAT = 0.5  # share of the partials that must beat
HOPELESS = 0.9  # share of the scatter that, if left, ends the search
MISFIT = 10.0  # chi-square per freedom that two modes may leave: with more to it there is not only beating
SHARED = 0.25  # share of the scatter that may be left, or something else than beating pulls the partials
OWN_MOST = 4e-3  # relative distance from the law up to which a partial is followed (7 cents)
LONGEST_GLIDE = 4.0  # of the stretch: a slower glide cannot be told from a pitch
PASSES = 6  # refinements of the glide time at most


@dataclass(frozen=True)
class PartialModel:
    """A stiff string's note with its glide: f_k(t) = k hz sqrt(1 + B k^2) (1 + glide exp(-2 t / tau))."""

    hz: float
    inharmonicity: float
    glide: float
    tau_s: float

    def path(self, tracks: Tracks) -> FloatArray:
        """Phase over the tracks' reference. Shape (k, m). [rad]"""
        own_hz = law_hz(tracks.number, hz=self.hz, inharmonicity=self.inharmonicity)[:, None]
        bent = own_hz * self.glide * glide_integral(tracks.time_s, tau_s=self.tau_s)
        reference = tracks.hz[:, None] * (tracks.time_s + tracks.ahead_s)
        return np.asarray(2 * np.pi * (own_hz * tracks.time_s + bent - reference))

    def refined(self, fit: InharmonicFit) -> PartialModel:
        """Return the model as a fit of phases counted against it puts it right."""
        stiff = max(0.0, self.inharmonicity + fit.excess_inharmonicity)
        return PartialModel(self.hz * (1 + fit.sharp), stiff, fit.glide, fit.tau_s)


@dataclass(frozen=True)
class TrackedNote:
    """A stretch of a note, reduced as far as one note can be."""

    tracks: Tracks  # all partials fitted
    used: npt.NDArray[np.bool_]  # those that stand out
    envelope: FloatArray  # of the used ones
    partial_fit: InharmonicFit
    model: PartialModel
    decay_s: float
    own: FloatArray  # how far each of the tracks lies off the law, relative
    fall: FloatArray  # how fast each of them dies away [1/s]
    split_modes: bool = False  # whether beats were taken out

    @property
    def on_model(self) -> bool:
        """Whether the partials keep to the law, so that nothing in them need cancel against another note."""
        return self.partial_fit.scatter_cents < ON_MODEL_CENTS


def track_note(
    clip: Clip, *, hz: float, inharmonicity: float, inharmonicity_sd: float, beats: bool = True
) -> TrackedNote | None:
    """Read a stretch that begins after the attack. None when no partial stands out.

    ``inharmonicity_sd`` bounds how far B may move until all partials are in, as a few low
    partials alone say little about it. ``beats`` says whether to look for beats: it takes time.
    """
    model = PartialModel(hz, inharmonicity, 0.0, 1.0)
    tracks, envelope, strength = _listen(clip, model)
    order = np.argsort(-strength)
    decay_s = decay_time(tracks, envelope, order[:LOUDEST])
    model = replace(model, tau_s=decay_s)
    own = np.zeros(tracks.number.size)
    fall = _fall(tracks, envelope)
    for turn in range(ROUNDS):
        if turn == ROUNDS - 1:
            tracks, envelope, strength = _listen(clip, model, own=own, fall=fall)
        clean = np.sum(envelope**2, axis=1) > leaked(tracks)
        few = strength > max(WEAKEST, STRONG[turn] * strength[order[0]])
        few &= clean & (tracks.number <= max(FIRST[turn], tracks.number[order[0]]))
        if not few.any():
            return None
        kept = tracks.only(few)
        path = model.path(kept)
        own_hz = law_hz(kept.number, hz=model.hz, inharmonicity=model.inharmonicity)
        phase, stands_out = phase_left(kept, envelope[few], path)
        clear = stands_out > LINE
        if not clear.any():
            return None
        few[few] = clear
        kept, phase, own_hz = kept.only(clear), phase[clear], own_hz[clear]
        # the model's glide goes back into the phases: another decay time than the one tried may explain it
        # better
        phase = phase + 2 * np.pi * own_hz[:, None] * model.glide * glide_integral(
            kept.time_s, tau_s=model.tau_s
        )
        referred = replace(kept, hz=own_hz)
        partial_fit = best_law(
            referred,
            envelope[few],
            phase,
            inharmonicity=model.inharmonicity,
            decay_s=min(decay_s, LONGEST_GLIDE * clip.duration_s),
            passes=PASSES if turn == ROUNDS - 1 else 1,
            believed=INHARMONICITY_PRIOR if turn == ROUNDS - 1 else (inharmonicity, inharmonicity_sd),
        )
        model = model.refined(partial_fit)
        own = np.zeros(tracks.number.size)
        own[few] = np.where(np.abs(partial_fit.own) < OWN_MOST, partial_fit.own, 0.0)
    heard = TrackedNote(tracks, few, envelope[few], partial_fit, model, decay_s, own, fall)
    return _beatless(heard, clip.duration_s) if beats else heard


def _beatless(heard: TrackedNote, duration_s: float) -> TrackedNote:
    """Part the modes of partials that beat, where the note is then known much better.

    Beats may have been taken for a glide, so modes are also split without one, and once more when the glide
    is better known.
    """
    if heard.on_model:
        return heard
    kept = heard.tracks.only(heard.used)
    model = heard.model
    split_modes = part_modes(kept, model.path(kept))
    if split_modes is None or np.mean(split_modes.beating) < MOST_BEAT:
        return heard
    if model.glide != 0:
        steady = replace(model, glide=0.0)
        other = part_modes(kept, steady.path(kept))
        if other is not None and other.misfit < split_modes.misfit:
            split_modes, model = other, steady
    if split_modes.misfit > MISFIT:
        return heard
    best = heard
    for _ in range(PARTINGS):
        if split_modes is None or np.sum(split_modes.beating) < FEWEST_BEATING:
            break
        envelope = envelopes(split_modes.tracks)
        phase, line = phase_left(split_modes.tracks, envelope, model.path(kept))
        clear = line > LINE
        if np.sum(clear) < FEWEST_BEATING:
            break
        own_hz = law_hz(kept.number, hz=model.hz, inharmonicity=model.inharmonicity)[clear]
        bent = model.glide * glide_integral(kept.time_s, tau_s=model.tau_s)
        partial_fit = best_law(
            replace(split_modes.tracks.only(clear), hz=own_hz),
            envelope[clear],
            phase[clear] + 2 * np.pi * own_hz[:, None] * bent,
            inharmonicity=model.inharmonicity,
            decay_s=min(heard.decay_s, LONGEST_GLIDE * duration_s),
            passes=PASSES,
            believed=INHARMONICITY_PRIOR,
        )
        model = model.refined(partial_fit)
        on_model = partial_fit.scatter_cents < SHARED * heard.partial_fit.scatter_cents
        if on_model and partial_fit.sharp_sd < SURER * heard.partial_fit.sharp_sd:
            used = heard.used.copy()
            used[used] = clear
            best = replace(
                heard,
                partial_fit=partial_fit,
                model=model,
                used=used,
                envelope=envelope[clear],
                split_modes=True,
            )
        elif partial_fit.scatter_cents > HOPELESS * heard.partial_fit.scatter_cents:
            break
        split_modes = part_modes(kept, model.path(kept))
    return best


def _listen(
    clip: Clip, model: PartialModel, *, own: FloatArray | None = None, fall: FloatArray | None = None
) -> tuple[Tracks, FloatArray, FloatArray]:
    """Tracks along a model, their envelopes, and their energies over the noise."""
    tracks = take_tracks(
        clip,
        hz=model.hz,
        inharmonicity=model.inharmonicity,
        glide=model.glide,
        tau_s=model.tau_s,
        own=own,
        fall=fall,
    )
    envelope = envelopes(tracks)
    return tracks, envelope, np.sum(envelope**2, axis=1) / tracks.noise


def best_law(
    tracks: Tracks,
    envelope: FloatArray,
    phase: FloatArray,
    *,
    inharmonicity: float,
    decay_s: float,
    passes: int,
    believed: tuple[float, float],
) -> InharmonicFit:
    """Fit the law over a grid of glide times, twice finer around the likely ones when they are well known."""
    taus = decay_s * (GLIDE_TIMES if passes > 1 else GLIDE_TIMES[::2])
    bounds = float(taus[0]), float(taus[-1])
    robust_weight = overdispersion = shapes = None
    for _ in range(passes):
        slopes, overdispersion = fit_slopes(
            tracks, envelope, phase, taus_s=taus, overdispersion=overdispersion
        )
        belief = -0.5 * (np.log(taus / decay_s) / TAU_SPREAD) ** 2
        partial_fit = fit_inharmonic_partials(
            slopes,
            inharmonicity=inharmonicity,
            log_prior=belief,
            robust_weight=robust_weight,
            shapes=shapes,
            believed=believed,
            rough=passes == 1,
        )
        robust_weight, shapes = partial_fit.robust_weight, partial_fit.shapes
        closer = finer(taus, partial_fit.tau_weight, bounds=bounds)
        if closer is None:
            break
        taus = closer
    return partial_fit


def _fall(tracks: Tracks, envelope: FloatArray) -> FloatArray:
    """How fast each partial dies away, by a straight line through the logarithm of its track. [1/s]"""
    weight = envelope**2
    time = tracks.time_s - ((weight @ tracks.time_s) / weight.sum(axis=1))[:, None]
    slope = np.sum(weight * time * np.log(envelope), axis=1) / np.sum(weight * time**2, axis=1)
    return np.asarray(np.clip(-slope, 0.0, FASTEST_FALL))


def decay_time(tracks: Tracks, envelope: FloatArray, which: npt.NDArray[np.intp]) -> float:
    """Time in which a note falls to 1/e, by straight lines through the logarithms of its loudest tracks. [s]

    The middle one of them by energy: one alone may swell where two polarisations beat.
    """
    energy = np.sum(envelope[which] ** 2, axis=1)
    slope = -_fall(tracks, envelope)[which]
    rank = np.argsort(slope)
    share = np.cumsum(np.sqrt(energy[rank]))
    middle = slope[rank[np.searchsorted(share, 0.5 * share[-1])]]
    return float(
        np.clip(-1 / middle if middle < -1 / LONGEST_DECAY_S else LONGEST_DECAY_S, 0.03, LONGEST_DECAY_S)
    )
