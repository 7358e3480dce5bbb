"""The law through a note's partials: averages written out, grids, and robust weights."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from pitchcheck.pitch.inharmonic_fit import (
    SCATTERS_CENTS,
    _grid,
    _log_spread,
    finer,
    fit_inharmonic_partials,
    initial_robust_weight,
)
from pitchcheck.pitch.partial_scatter import (
    closer_shapes,
    inharmonicity_sensitivity,
    scatter_shapes,
)
from pitchcheck.pitch.partial_slopes import Slopes

CENT = math.log(2) / 1200
NUMBER = np.arange(1.0, 15.0)
TAUS = np.array([0.3, 0.6, 1.2])


def slopes(
    rng: np.random.Generator, *, sharp: np.ndarray, glide: float = 0.0, noise_cents: float = 0.02, at: int = 1
) -> Slopes:
    """Partials that lie so far sharp and glide alike, read with noise; the middle time is the true one."""
    count = sharp.size
    root = np.zeros((TAUS.size, count, 2, 2))
    for j in range(TAUS.size):
        root[j, :, 0, 0] = 1.0
        root[j, :, 0, 1] = 0.45 + 0.1 * j
        root[j, :, 1, 1] = 0.3 + 0.02 * j
    information = root.swapaxes(2, 3) @ root / (noise_cents * CENT) ** 2
    truth = np.stack([sharp, np.full(count, glide)], axis=1)
    heard = truth + np.array([np.linalg.solve(root[at, 0], rng.normal(size=2)) for _ in range(count)]) * (
        noise_cents * CENT
    )
    score = np.einsum("tkij,kj->tki", information, heard)
    score[[j for j in range(TAUS.size) if j != at]] *= 0.999  # other times fit less well
    return Slopes(NUMBER[:count], TAUS, information, score, np.array([0.95, 0.8, 0.6]))


def test_sharpness_of_a_partial_by_stiffness_is_its_derivative() -> None:
    # d ln sqrt(1 + B k^2) / dB, by finite differences.
    step = 1e-9
    for b in (0.0, 3e-4):
        rise = np.log(1 + (b + step) * NUMBER**2) - np.log(1 + b * NUMBER**2)
        assert inharmonicity_sensitivity(NUMBER, inharmonicity=b) == pytest.approx(
            rise / (2 * step), rel=1e-4
        )


def test_shapes_are_a_grid_and_one_of_partials_on_the_law() -> None:
    sizes = np.array([0.1, 1.0])
    shapes = scatter_shapes(sizes, bends=(0.0, 0.3, 1.0), low=(0.0, 1.0), on_model=0.01)
    assert shapes.shape == (2 * 3 * 2 + 1, 4)
    assert {tuple(row) for row in shapes[:-1, :3]} == {
        (s, b, p) for s in (0.1, 1.0) for b in (0.0, 0.3, 1.0) for p in (0.0, 1.0)
    }
    assert np.exp(shapes[-1, 3]) == pytest.approx(0.8)  # believed beforehand to keep to the law
    assert np.exp(shapes[:-1, 3]) == pytest.approx(np.full(12, 0.2 / 12))
    assert shapes[-1, :3].tolist() == [0.01, 0.0, 0.0]


def test_closer_shapes_cover_the_same_range_with_the_same_belief() -> None:
    sizes = np.array([0.1, 0.4, 1.6])
    shapes = scatter_shapes(sizes, bends=(0.0, 0.3), low=(0.0,), on_model=0.01)
    finer_ones = closer_shapes(
        shapes[[1, 2, 4, 6]], ratio=4.0, new=1.5
    )  # 0.4 and 1.6, one of the bends twice
    own = finer_ones[:-1]
    forms = {tuple(row) for row in own[:, 1:3]}
    assert forms == {(0.0, 0.0), (0.3, 0.0)}
    one = np.sort(own[own[:, 1] == 0.0, 0])
    edges = (0.4 / 2, 1.6 * 2)  # half a step beyond
    step = math.log(edges[1] / edges[0]) / one.size
    assert np.diff(np.log(one)) == pytest.approx(np.full(one.size - 1, step))
    assert step <= math.log(1.5) < step * one.size / (one.size - 1)
    assert math.log(one[0] / edges[0]) == pytest.approx(step / 2)
    # belief per logarithm of the size stays what it was
    assert np.exp(own[0, 3]) / step == pytest.approx(np.exp(shapes[0, 3]) / math.log(4.0))
    assert finer_ones[-1].tolist() == shapes[-1].tolist()
    only = shapes[-1:]
    assert closer_shapes(only, ratio=4.0, new=1.5) is only


@pytest.mark.parametrize("glide", [0.0, 3 * CENT])
def test_the_answer_is_the_average_over_all_shapes_and_times(glide: float) -> None:
    rng = np.random.default_rng(1)
    heard = slopes(rng, sharp=2 * CENT + 0.8 * CENT * rng.normal(size=14), glide=glide, noise_cents=1.0)
    shapes = scatter_shapes(np.geomspace(0.1, 3.0, 5), bends=(0.0, 0.3), low=(0.0, 1.0), on_model=0.0)
    prior = np.log([0.2, 0.5, 0.3])
    weight = rng.uniform(0.8, 1.2, 14)
    believed = (1e-5, 3e-5)
    fit = fit_inharmonic_partials(
        heard, inharmonicity=2e-5, log_prior=prior, robust_weight=weight, shapes=shapes, believed=believed
    )
    evidence, mean, variance = _grid(
        heard, shapes, inharmonicity=2e-5, robust_weight=weight, believed=believed
    )
    belief = evidence + prior[:, None]
    share = np.exp(belief - belief.max())
    share /= share.sum()
    expected = [np.sum(share * mean[:, i]) for i in range(3)]
    # law of total variance
    spread = [
        math.sqrt(np.sum(share * (variance[:, i] + mean[:, i] ** 2)) - expected[i] ** 2) for i in range(3)
    ]
    assert [fit.sharp, fit.excess_inharmonicity, fit.glide] == pytest.approx(expected, rel=1e-9, abs=1e-15)
    assert [fit.sharp_sd, fit.excess_inharmonicity_sd, fit.glide_sd] == pytest.approx(spread, rel=1e-5)
    by_time = share.sum(axis=(0, 2))
    assert fit.tau_weight == pytest.approx(by_time)
    assert fit.tau_s == TAUS[np.argmax(by_time)]
    logs = np.log(TAUS)
    assert fit.tau_spread == pytest.approx(math.sqrt(by_time @ logs**2 - (by_time @ logs) ** 2), rel=1e-6)
    sizes = np.maximum(shapes[:, 0], 0.0003)
    assert math.log(fit.scatter_cents) == pytest.approx(np.sum(share * np.log(sizes)))
    near = belief.max(axis=(0, 1)) > belief.max() - 20.0
    assert fit.shapes.tolist() == shapes[near].tolist()


def test_the_scatter_and_the_stiffness_of_made_partials_come_back() -> None:
    rng = np.random.default_rng(2)
    errors, sizes, stiff = [], [], []
    for _ in range(12):
        own = 1.5 * CENT * rng.normal(size=14)
        sharp = 3 * CENT + inharmonicity_sensitivity(NUMBER, inharmonicity=5e-5) * 2e-5 + own
        fit = fit_inharmonic_partials(slopes(rng, sharp=sharp), inharmonicity=5e-5, log_prior=np.zeros(3))
        errors.append((fit.sharp - 3 * CENT) / fit.sharp_sd)
        stiff.append((fit.excess_inharmonicity - 2e-5) / fit.excess_inharmonicity_sd)
        sizes.append(fit.scatter_cents)
        assert fit.own == pytest.approx(own, abs=8 * fit.sharp_sd)
        assert fit.shapes.shape[0] > 3
    # of 12 draws: mean within 3.5 sd of a mean, spread as promised
    assert abs(np.mean(errors)) < 1.0
    assert abs(np.mean(stiff)) < 1.0
    assert 0.4 < np.std(errors) < 1.6
    assert np.median(sizes) == pytest.approx(1.5, rel=0.3)


def test_partials_on_the_law_are_seen_to_be() -> None:
    rng = np.random.default_rng(3)
    on = fit_inharmonic_partials(
        slopes(rng, sharp=np.full(14, CENT)), inharmonicity=5e-5, log_prior=np.zeros(3)
    )
    assert on.scatter_cents < 0.02
    # the uncertainty is then that of the noise alone: free stiffness, no glide
    design = np.stack([np.ones(14), inharmonicity_sensitivity(NUMBER, inharmonicity=5e-5)])
    tight = design @ design.T / (0.02 * CENT) ** 2
    tight[1, 1] += 6e-4**-2
    least = math.sqrt(np.linalg.inv(tight)[0, 0])
    assert 0.95 * least < on.sharp_sd < 2.5 * least


def test_a_glide_is_seen_and_its_size_comes_back() -> None:
    rng = np.random.default_rng(4)
    fit = fit_inharmonic_partials(
        slopes(rng, sharp=np.zeros(14), glide=4 * CENT), inharmonicity=5e-5, log_prior=np.zeros(3)
    )
    assert fit.glide == pytest.approx(4 * CENT, abs=4 * fit.glide_sd)
    assert fit.glide > 20 * fit.glide_sd
    rough = fit_inharmonic_partials(
        slopes(rng, sharp=np.zeros(14), glide=4 * CENT), inharmonicity=5e-5, log_prior=np.zeros(3), rough=True
    )
    assert rough.glide == pytest.approx(4 * CENT, abs=5 * rough.glide_sd)
    assert set(rough.shapes[:, 1]) | set(rough.shapes[:, 2]) == {0.0}  # no other forms are tried


def test_sizes_of_scatter_reach_from_nothing_to_a_false_string() -> None:
    assert SCATTERS_CENTS[0] == pytest.approx(0.0003)
    assert SCATTERS_CENTS[-1] == pytest.approx(12.0)
    assert np.diff(np.log(SCATTERS_CENTS)).std() == pytest.approx(0.0, abs=1e-12)


def test_spread_of_a_logarithm() -> None:
    taus, weight = np.array([0.5, 1.0, 2.0]), np.array([0.25, 0.5, 0.25])
    assert _log_spread(taus, weight) == pytest.approx(math.log(2) * math.sqrt(0.5))


def test_a_finer_grid_of_times() -> None:
    taus = np.geomspace(0.25, 4.0, 5)
    gap = math.log(2)
    bounds = (0.1, 10.0)
    # spread over the grid: fine enough
    assert finer(taus, np.full(5, 0.2), bounds=bounds) is None
    # all on one: between its neighbours, at the top of the parabola through the logarithms
    level = np.array([-30.0, -8.0, 0.0, -6.0, -30.0])
    weight = np.exp(level) / np.exp(level).sum()
    found = finer(taus, weight, bounds=bounds)
    assert found is not None
    shift = 0.5 * (level[1] - level[3]) / (level[1] + level[3])
    logs = np.log(taus)
    spread = math.sqrt(weight @ logs**2 - (weight @ logs) ** 2)
    half = max(1.8 * spread, 0.7 * gap)
    expected = gap * shift + half * np.linspace(-1, 1, 5)
    assert np.log(found) == pytest.approx(expected)
    # between fine enough and not: 0.8 steps of the grid
    for apart, enough in ((0.75, False), (0.85, True)):
        p = apart**2 / 8
        two = finer(taus, np.array([p, 0.0, 1 - 2 * p, 0.0, p]), bounds=bounds)
        assert (two is None) is enough
    # at an end of the grid: a step to both sides, within the bounds
    first = finer(taus, np.array([1.0, 0.0, 0.0, 0.0, 0.0]), bounds=bounds)
    assert first == pytest.approx(np.geomspace(0.125, 0.5, 5))
    last = finer(taus, np.array([0.0, 0.0, 0.0, 0.0, 1.0]), bounds=(0.1, 5.0))
    assert last == pytest.approx(np.geomspace(2.0, 5.0, 5))
    low = finer(taus, np.array([1.0, 0.0, 0.0, 0.0, 0.0]), bounds=(0.2, 10.0))
    assert low == pytest.approx(np.geomspace(0.2, 0.5, 5))


def test_a_wide_spread_widens_the_finer_grid() -> None:
    taus = np.geomspace(0.25, 4.0, 5)
    weight = np.array([0.0, 0.2, 0.6, 0.2, 0.0])
    spread = math.sqrt(0.4) * math.log(2)
    found = finer(taus, weight, bounds=(0.1, 10.0))
    assert found is not None
    assert np.log(found[-1] / found[0]) == pytest.approx(2 * 1.8 * spread)


def test_first_weights_are_one_where_partials_are_few() -> None:
    rng = np.random.default_rng(5)
    assert initial_robust_weight(slopes(rng, sharp=np.zeros(3)), inharmonicity=0.0).tolist() == [
        1.0,
        1.0,
        1.0,
    ]
    assert initial_robust_weight(slopes(rng, sharp=np.zeros(4)), inharmonicity=0.0).tolist() != [1.0] * 4


@pytest.mark.parametrize("noise_cents", [0.02, 1.0])
def test_first_weights_settle_at_a_students_law(noise_cents: float) -> None:
    # A fixed point of iterated weighting, computed here to the end: a line by weighted least squares,
    # the scatter from the median of what is left beyond the noise (chi-square: median to mean 2.2).
    rng = np.random.default_rng(6)
    own = CENT * stats.t(4).rvs(size=14, random_state=7)
    heard = slopes(
        rng, sharp=own + inharmonicity_sensitivity(NUMBER, inharmonicity=5e-5) * 3e-5, noise_cents=noise_cents
    )
    found = initial_robust_weight(heard, inharmonicity=5e-5)
    info = heard.information[1, :, 0, 0]
    sharp = heard.score[1, :, 0] / info
    q = inharmonicity_sensitivity(NUMBER, inharmonicity=5e-5)
    weight, scale = found, CENT**2
    for _ in range(60):
        w = weight / (scale + 1 / info)
        design = np.stack([np.ones(14), q], axis=1) * np.sqrt(w)[:, None]
        level, slope = np.linalg.lstsq(design, sharp * np.sqrt(w), rcond=None)[0]
        apart = (sharp - level - slope * q) ** 2
        scale = max(2.2 * float(np.median(apart - 1 / info)), 1e-14)
        weight = 6.0 / (5.0 + apart / (scale + 1 / info))
    assert found == pytest.approx(weight, rel=0.25)
    assert np.argsort(found)[:3].tolist() == np.argsort(weight)[:3].tolist()
