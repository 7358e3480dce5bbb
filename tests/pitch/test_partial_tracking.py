"""From a found note to its law: paths, decays, and which partials are followed and parted."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy import integrate

from helpers.notes import Strung, make_note
from pitchcheck.clip import Clip
from pitchcheck.pitch import partial_tracking as module
from pitchcheck.pitch.inharmonic_fit import InharmonicFit
from pitchcheck.pitch.partial_tracking import (
    PartialModel,
    TrackedNote,
    _beatless,
    _fall,
    best_law,
    decay_time,
    track_note,
)
from pitchcheck.pitch.tracks import Tracks, glide_integral

CENT = math.log(2) / 1200


def tracks(level: np.ndarray, *, noise: float = 1e-8, step_s: float = 0.02) -> Tracks:
    number = np.arange(1.0, level.shape[0] + 1)
    time_s = 0.01 + step_s * np.arange(level.shape[1])
    return Tracks(
        number,
        200 * number,
        level.astype(complex),
        np.full(number.size, noise),
        time_s,
        0.0,
        np.zeros(time_s.size),
    )


def test_the_phase_of_a_model_is_the_integral_of_its_frequency() -> None:
    made = tracks(np.ones((3, 20)))
    made = replace(made, ahead_s=1e-3 * made.time_s)
    model = PartialModel(201.0, 3e-4, 5e-3, 0.4)
    path = model.path(made)
    for k, row in zip(made.number, path, strict=True):
        for i in (0, 7, 19):
            t = made.time_s[i]

            def hz(x: float, k: float = k) -> float:
                return k * 201.0 * math.sqrt(1 + 3e-4 * k * k) * (1 + 5e-3 * math.exp(-2 * x / 0.4))

            turns = integrate.quad(hz, 0, t)[0] - 200 * k * (t + 1e-3 * t)
            assert row[i] == pytest.approx(2 * np.pi * turns, abs=1e-6)


def test_how_fast_a_partial_dies_away() -> None:
    t = 0.01 + 0.02 * np.arange(40)
    fall = np.array([0.5, 3.0, 12.0, 45.0, -2.0])
    envelope = np.exp(-fall[:, None] * t)
    assert _fall(tracks(envelope), envelope) == pytest.approx([0.5, 3.0, 12.0, 30.0, 0.0])
    # weighted by energy: what is loud decides
    two = np.exp(-3.0 * t) * np.where(t < 0.5, 1.0, 1e-3)[None]
    assert _fall(tracks(two[:, :20]), two[:, :20]) == pytest.approx([3.0])
    energy = two[0] ** 2
    x = t - energy @ t / energy.sum()
    slope = energy @ (x * np.log(two[0])) / (energy @ x**2)
    assert _fall(tracks(two), two) == pytest.approx([-slope])


def test_the_decay_of_a_note_is_that_of_its_middle_partial_by_strength() -> None:
    t = 0.01 + 0.02 * np.arange(40)
    fall, level = np.array([1.0, 2.0, 4.0]), np.array([1.0, 1.0, 1.0])
    envelope = level[:, None] * np.exp(-fall[:, None] * t)
    made = tracks(envelope)
    assert decay_time(made, envelope, np.array([0, 1, 2])) == pytest.approx(1 / 2.0)
    strong = envelope * np.array([[9.0], [1.0], [1.0]])
    assert decay_time(made, strong, np.array([0, 1, 2])) == pytest.approx(1 / 1.0)
    weak = envelope * np.array([[1.0], [1.0], [9.0]])
    assert decay_time(made, weak, np.array([0, 1, 2])) == pytest.approx(1 / 4.0)
    assert decay_time(made, envelope, np.array([2])) == pytest.approx(1 / 4.0)
    # by amplitude, not by energy: 0.75 of the energy is not half of the strength against two others
    even = envelope * np.array([[1.0], [1.4], [3.0]])
    share = np.sqrt(np.sum(even**2, axis=1))
    middle = 2 if share[2] > share[:2].sum() else 1
    assert decay_time(made, even, np.array([0, 1, 2])) == pytest.approx(1 / fall[middle])


@pytest.mark.parametrize(
    ("fall", "decay_s"), [(0.01, 20.0), (0.0, 20.0), (1 / 18.0, 18.0), (1 / 22.0, 20.0), (29.0, 1 / 29)]
)
def test_decays_are_told_up_to_twenty_seconds(fall: float, decay_s: float) -> None:
    t = 0.01 + 0.02 * np.arange(40)
    envelope = np.exp(-fall * t)[None]
    assert decay_time(tracks(envelope), envelope, np.array([0])) == pytest.approx(decay_s, rel=1e-6)


def test_some_of_the_tracks() -> None:
    made = tracks(np.arange(6.0).reshape(3, 2))
    some = made.only(np.array([True, False, True]))
    assert some.number.tolist() == [1.0, 3.0]
    assert some.hz.tolist() == [200.0, 600.0]
    assert some.z.real.tolist() == [[0.0, 1.0], [4.0, 5.0]]
    assert some.noise.size == 2


def note(**strung: float) -> tuple[Clip, Strung]:
    one = Strung(147.0, **{"snr_db": 60.0, **strung})
    return make_note(np.random.default_rng(1), one).clip, one


@cache
def whole() -> TrackedNote:
    clip, _ = note(seconds=1.2, glide_cents=5.0)
    heard = track_note(clip, hz=147.5, inharmonicity=1e-4, inharmonicity_sd=1e-4)
    assert heard is not None
    return heard


def test_a_made_note_comes_back() -> None:
    heard = whole()
    assert heard.model.hz == pytest.approx(147.0, rel=3e-5)
    assert heard.model.inharmonicity == pytest.approx(5e-5, rel=0.05)
    assert heard.model.glide == pytest.approx(5 * CENT, rel=0.15)
    assert heard.on_model
    assert not heard.split_modes
    # partials die faster the higher they are: 0.8 s / (1 + 0.03 k + 0.001 k^2)
    k = heard.tracks.number[:5]
    assert heard.fall[:5] == pytest.approx((1 + 0.03 * k + 0.001 * k**2) / 0.8, rel=0.05)
    # partials of the string alone, and as far as they sound
    assert heard.used[:20].sum() > 16
    assert not heard.used[25:].any()
    assert heard.envelope.shape[0] == heard.used.sum()
    # the model's phase runs with the tracks: what is left hardly turns
    left = np.angle(heard.tracks.z[:8] * np.exp(-1j * heard.model.path(heard.tracks)[:8]))
    assert np.ptp(np.unwrap(left, axis=1), axis=1).max() < 0.2


def test_partials_off_the_law_are_followed_where_they_lie() -> None:
    clip, _ = note(seconds=1.2, scatter_cents=3.0)
    heard = track_note(clip, hz=147.0, inharmonicity=5e-5, inharmonicity_sd=1e-4)
    assert heard is not None
    assert not heard.on_model
    own = np.random.default_rng(1).normal(size=25) * 3.0  # as the note was made
    k = np.arange(1.0, 26.0)
    loud = heard.used[:25]
    # over the law that suits them all best: level and stiffness are free
    law = np.stack([np.ones(25), k**2], axis=1)[loud]
    found = heard.own[:25][loud] / CENT
    for values in (own[loud], found):
        values -= law @ np.linalg.lstsq(law, values, rcond=None)[0]
    assert np.corrcoef(found, own[loud])[0, 1] > 0.95


def test_noise_has_no_partials() -> None:
    rng = np.random.default_rng(2)
    clip = Clip(0.1 * rng.normal(size=24_000), 48_000.0)
    heard = track_note(clip, hz=147.0, inharmonicity=5e-5, inharmonicity_sd=1e-4)
    assert heard is None or heard.used.sum() <= 2


# The law over a grid of glide times


def test_the_glides_time_is_found_by_a_grid_that_closes_in() -> None:
    rng = np.random.default_rng(3)
    t = 0.01 + 0.02 * np.arange(60)
    envelope = np.exp(-2.0 * t)[None] * np.ones((10, 1))
    made = tracks(envelope, noise=1e-7)
    for tau_s in (0.4, 0.55, 0.8):
        phase = (
            2
            * np.pi
            * made.hz[:, None]
            * (1e-4 * made.time_s + 3e-3 * glide_integral(made.time_s, tau_s=tau_s))
        )
        phase = phase + np.sqrt(1e-7 / 2) / envelope * rng.normal(size=phase.shape)
        fit = best_law(made, envelope, phase, inharmonicity=0.0, decay_s=0.5, passes=6, believed=(0.0, 6e-4))
        assert fit.tau_s == pytest.approx(tau_s, rel=0.03)
        assert fit.glide == pytest.approx(3e-3, rel=0.02)
        assert fit.sharp == pytest.approx(1e-4, abs=5 * fit.sharp_sd)
        rough = best_law(
            made, envelope, phase, inharmonicity=0.0, decay_s=0.5, passes=1, believed=(0.0, 6e-4)
        )
        assert rough.tau_s in (pytest.approx(0.15), pytest.approx(0.5 * math.sqrt(0.9)), pytest.approx(1.5))


def test_a_glide_is_believed_to_fade_as_the_note_does() -> None:
    # Without a glide in the sound the belief in its time is what it was before: a normal law of the logarithm
    # about the note's own decay, 0.2 wide.
    t = 0.01 + 0.02 * np.arange(60)
    envelope = np.exp(-2.0 * t)[None] * np.ones((10, 1))
    seen = {}

    def watch(slopes: object, **rest: object) -> InharmonicFit:
        seen["taus"], seen["prior"] = slopes.taus_s, rest["log_prior"]
        return real(slopes, **rest)

    real = module.fit_inharmonic_partials
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "fit_inharmonic_partials", watch)
        best_law(
            tracks(envelope),
            envelope,
            np.zeros((10, 60)),
            inharmonicity=0.0,
            decay_s=0.5,
            passes=1,
            believed=(0.0, 6e-4),
        )
    assert seen["taus"] / 0.5 == pytest.approx(np.geomspace(0.3, 3.0, 5)[::2])
    assert seen["prior"] == pytest.approx(-0.5 * (np.log(seen["taus"] / 0.5) / 0.2) ** 2)


# Beats


@cache
def beating() -> tuple[TrackedNote, float]:
    clip, _ = note(seconds=1.0, beat=0.4, snr_db=40.0)
    heard = track_note(clip, hz=147.0, inharmonicity=5e-5, inharmonicity_sd=1e-4, beats=False)
    assert heard is not None
    return heard, clip.duration_s


def test_beats_are_taken_out_where_the_note_is_then_known_much_better() -> None:
    heard, seconds = beating()
    assert not heard.split_modes
    better = _beatless(heard, seconds)
    assert better.split_modes
    assert better.partial_fit.sharp_sd < 0.6 * heard.partial_fit.sharp_sd
    assert better.partial_fit.scatter_cents < 0.25 * heard.partial_fit.scatter_cents
    error = abs(math.log(better.model.hz / 147.0)) / CENT
    assert error < 0.02
    assert error < 5 * better.partial_fit.sharp_sd / CENT
    assert better.envelope.shape[0] == better.used.sum()
    clip, _ = note(seconds=1.0, beat=0.4, snr_db=40.0)
    told = track_note(clip, hz=147.0, inharmonicity=5e-5, inharmonicity_sd=1e-4)
    assert told is not None
    assert told.split_modes
    assert told.model.hz == better.model.hz


def test_what_keeps_to_the_law_is_not_parted() -> None:
    assert _beatless(whole(), 1.2) is whole()
    heard, _ = beating()
    for scatter, left in ((0.018, True), (0.022, False)):
        calm = replace(heard, partial_fit=replace(heard.partial_fit, scatter_cents=scatter))
        assert calm.on_model is left


@pytest.mark.parametrize(
    ("limit", "kept"),
    [
        ("few beat", True),
        ("misfit", True),
        ("hardly surer", True),
        ("scatter is left", True),
        ("fine", False),
    ],
)
def test_parting_is_given_up(limit: str, kept: bool) -> None:
    heard, seconds = beating()
    real_modes, real_law = module.part_modes, module.best_law

    def modes(kept_tracks: Tracks, path: np.ndarray) -> object:
        parted = real_modes(kept_tracks, path)
        assert parted is not None
        count = parted.beating.size
        if limit == "few beat":
            few = np.zeros(count, dtype=bool)
            few[: math.ceil(count / 2) - 1] = True
            return replace(parted, beating=few)
        return replace(parted, misfit=10.5 if limit == "misfit" else 9.5)

    def law(*parts: object, **rest: object) -> InharmonicFit:
        fit = real_law(*parts, **rest)
        before = heard.partial_fit
        sure = 0.63 if limit == "hardly surer" else 0.57
        left = 0.27 if limit == "scatter is left" else 0.23
        return replace(fit, sharp_sd=sure * before.sharp_sd, scatter_cents=left * before.scatter_cents)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "part_modes", modes)
        patch.setattr(module, "best_law", law)
        assert (not _beatless(heard, seconds).split_modes) is kept
