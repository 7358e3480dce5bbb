"""Takes of one string laid over each other partial by partial, and what their phases tell, by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pitchcheck.pitch.align import AlignedNotes, _glides, _spread, align
from pitchcheck.pitch.partial_slopes import envelopes
from pitchcheck.pitch.tracks import Tracks, glide_integral


def tracks(rng: np.random.Generator, number: list[float], count: int, *, noise: float, hz: float) -> Tracks:
    n = np.array(number)
    time_s = 0.01 + 0.02 * np.arange(count)
    level = rng.uniform(0.5, 1.0, (n.size, 1)) * np.exp(-time_s)
    return Tracks(n, hz * n, level.astype(complex), np.full(n.size, noise), time_s, 0.0, np.zeros(count))


def laid() -> tuple[AlignedNotes, list[Tracks], list[np.ndarray]]:
    rng = np.random.default_rng(7)
    takes = [
        tracks(rng, [1, 2, 3, 5], 30, noise=1e-4, hz=110.0),
        tracks(rng, [1, 3, 5, 7], 25, noise=4e-4, hz=116.5),
        tracks(rng, [2, 3, 5], 40, noise=1e-4, hz=110.3),
    ]
    phases = [rng.normal(size=t.z.shape) for t in takes]
    aligned = align(takes, phases)
    assert aligned is not None
    return aligned, takes, phases


def test_takes_are_laid_over_each_other_partial_by_partial() -> None:
    aligned, takes, phases = laid()
    assert aligned.number.tolist() == [1, 2, 3, 5]  # 7 is in one take alone
    assert aligned.heard.tolist() == [[True] * 4, [True, False, True, True], [False, True, True, True]]
    assert aligned.time_s == pytest.approx(np.array([t.time_s[:25] for t in takes]))
    assert aligned.overdispersion.tolist() == [1.0] * 4
    for k, number in enumerate(aligned.number):
        inverse = []
        for n, (take, phase) in enumerate(zip(takes, phases, strict=True)):
            if number not in take.number:
                assert aligned.phase[n, k].tolist() == [0.0] * 25
                continue
            row = int(np.flatnonzero(take.number == number)[0])
            own = phase[row, :25]
            assert aligned.phase[n, k] == pytest.approx(own - own.mean())
            assert aligned.hz[n, k] == take.hz[row]
            inverse.append(take.noise[row] / (2 * envelopes(take)[row, :25] ** 2))  # variances of a phase
        assert aligned.weight[k] == pytest.approx(1 / np.mean(inverse, axis=0))
    assert align(takes[:1], phases[:1]) is None


def test_rows_are_spread_over_the_common_list() -> None:
    _, takes, phases = laid()
    full = _spread(np.array([1.0, 2.0, 3.0, 5.0, 7.0]), takes[1], phases[1], 10)
    assert full[[0, 2, 3, 4]] == pytest.approx(phases[1][:, :10])
    assert full[1].tolist() == [0.0] * 10


def residual(aligned: AlignedNotes, tau_s: np.ndarray, glide: np.ndarray | None) -> np.ndarray:
    """Phases over the mean of the takes, the told glide taken off."""
    phase = aligned.phase.copy()
    if glide is not None:
        for n in range(3):
            bent = glide[n] * glide_integral(aligned.time_s[n], tau_s=tau_s[n])
            phase[n] -= 2 * np.pi * aligned.hz[n][:, None] * bent
    for k in range(4):
        phase[:, k] -= phase[:, k].sum(axis=0) / aligned.heard[:, k].sum()
    return phase


def own_terms(
    aligned: AlignedNotes, n: int, k: int, trends: np.ndarray, phase: np.ndarray
) -> tuple[np.ndarray, np.ndarray, float]:
    size = np.diag(aligned.weight[k])
    one = np.ones((size.shape[0], 1))
    out = size - size @ one @ one.T @ size / size.sum()
    design = 2 * np.pi * aligned.hz[n, k] * trends.T
    return design.T @ out @ design, design.T @ out @ phase[n, k], float(phase[n, k] @ out @ phase[n, k])


@pytest.mark.parametrize("way", ["no glide taken off", "own glides taken off", "alike otherwise"])
def test_a_way_of_looking_projects_phases_on_its_trends(way: str) -> None:
    aligned, _, _ = laid()
    aligned = replace(aligned, overdispersion=np.array([1.0, 2.0, 3.0, 4.0]))
    tau_s, glide = np.array([0.4, 0.5, 0.6]), np.array([1e-3, 2e-3, -1e-3])
    alike = np.array([0.7, 0.8, 0.9])
    own_sd = (np.full(3, 0.2), np.full(3, 1e-4))
    if way == "no glide taken off":
        trial = aligned.trial(tau_s, belief=-1.5)
    elif way == "own glides taken off":
        trial = aligned.trial(tau_s, belief=-1.5, glide=glide, own_sd=own_sd)
    else:
        trial = aligned.trial(tau_s, belief=-1.5, glide=glide, own_sd=own_sd, alike_s=alike)
    taken = None if way == "no glide taken off" else glide
    phase = residual(aligned, tau_s, taken)
    power = 0.0
    for n in range(3):
        t = aligned.time_s[n]
        law = glide_integral(t, tau_s=tau_s[n])
        trends = [t, law]
        if taken is not None:
            step = 1e-6  # by the logarithm of the decay time, by differences
            longer = glide_integral(t, tau_s=tau_s[n] * math.exp(step))
            shorter = glide_integral(t, tau_s=tau_s[n] * math.exp(-step))
            trends.append(glide[n] * (longer - shorter) / (2 * step))
            trends.append(glide_integral(t, tau_s=2.5 * tau_s[n]))
        trends.append(glide_integral(t, tau_s=alike[n]) if way == "alike otherwise" else law)
        for k in range(4):
            on = aligned.heard[n, k] / aligned.overdispersion[k]
            information, score, left = own_terms(aligned, n, k, np.array(trends), phase)
            assert trial.information[n, k] == pytest.approx(information * on, rel=1e-5, abs=1e-9)
            assert trial.score[n, k] == pytest.approx(score * on, rel=1e-5, abs=1e-9)
            power += left * on
    assert trial.power == pytest.approx(power)
    assert trial.belief == -1.5
    assert trial.glide.tolist() == ([0.0] * 3 if taken is None else glide.tolist())
    assert trial.own_sd == (() if taken is None else own_sd)
    assert trial.fading[:, 0] == pytest.approx(1 - np.exp(-2 * aligned.time_s[:, -1] / tau_s))


def test_phases_that_scatter_more_than_noise_are_known_less_well() -> None:
    aligned, _, _ = laid()
    tau_s, glide = np.array([0.4, 0.5, 0.6]), np.array([1e-3, 2e-3, -1e-3])
    found = aligned.rescaled([(tau_s, None), (2 * tau_s, glide)]).overdispersion
    least = np.full(4, np.inf)
    for taus, taken in ((tau_s, None), (2 * tau_s, glide)):
        phase = residual(aligned, taus, taken)
        total = np.zeros(4)
        for n in range(3):
            t = aligned.time_s[n]
            trends = np.array([t, glide_integral(t, tau_s=taus[n])])
            for k in np.flatnonzero(aligned.heard[n]):
                information, score, power = own_terms(aligned, n, k, trends, phase)
                total[k] += power - score @ np.linalg.solve(information, score)
        least = np.minimum(least, total / ((25 - 3) * (aligned.heard.sum(axis=0) - 1)))
    assert np.all(least > 1.0)
    assert found == pytest.approx(least, rel=1e-5)
    calm = replace(aligned, phase=0.0 * aligned.phase)
    assert calm.rescaled([(tau_s, None)]).overdispersion.tolist() == [1.0] * 4


def test_glides_of_all_takes_at_their_own_times() -> None:
    aligned, _, _ = laid()
    tau_s = np.array([0.4, 0.5, 0.6])
    for row, t, tau in zip(_glides(aligned.time_s, tau_s), aligned.time_s, tau_s, strict=True):
        assert row == pytest.approx(glide_integral(t, tau_s=tau))
