"""Pieces of the fit against definitions, integrals and dense linear algebra."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import STEP, TOUCH_STEP, TOUCH_WEIGHT, Coordinate
from pitchcheck.fit.joint import Outlook
from pitchcheck.fit.modes import _log_belief
from pitchcheck.fit.scatter import _given_others
from pitchcheck.fit.skewness import _directions

EXACT = 1e-9


def test_some_rows_given_the_others_by_the_precision_matrix() -> None:
    # Of a normal distribution the precision of some given the rest is their block of the whole precision.
    rng = np.random.default_rng(2)
    root = rng.normal(size=(6, 6))
    covariance, value = root @ root.T + np.eye(6), rng.normal(size=6)
    rows = np.array([True, False, True, False, False, True])
    fixed, given = _given_others(covariance, value, rows)
    precision = np.linalg.inv(covariance)
    block = np.linalg.inv(precision[np.ix_(rows, rows)])
    mean = -block @ precision[np.ix_(rows, ~rows)] @ value[~rows]
    assert fixed == pytest.approx(block, rel=EXACT)
    assert given == pytest.approx(value[rows] - mean, rel=EXACT)


def test_directions_add_up_to_the_covariance() -> None:
    rng = np.random.default_rng(3)
    count = len(Coordinate)
    root = rng.normal(size=(2, count, count)) * STEP[:, None]
    covariance = root @ root.swapaxes(1, 2)
    steps = _directions(covariance)
    again = np.einsum("cka,ckb->cab", steps, steps)
    assert (again / STEP[:, None] / STEP) == pytest.approx(
        covariance / STEP[:, None] / STEP, rel=1e-6, abs=1e-6
    )


@dataclass
class _Rows:
    robust: np.ndarray


@dataclass
class _Mode:
    residual: np.ndarray
    scatter: np.ndarray
    z: np.ndarray
    covariance: np.ndarray


def test_belief_in_a_mode_is_its_share_of_the_whole_integral() -> None:
    # Readings a z + noise, z ~ N(0, 1): the integral over z is normal with a^2 + s^2. Two such models, told
    # apart by what they say of the same reading.
    def model(a: float, s: float, y: float) -> tuple[float, float]:
        variance = 1 / (1 + a**2 / s**2)
        z = variance * a * y / s**2
        mode = _Mode(np.array([y - a * z]), np.array([s]), np.array([z]), np.array([[variance]]))
        return _log_belief(_Rows(np.array([False])), mode), float(
            stats.norm.logpdf(y, 0, np.sqrt(a**2 + s**2))
        )

    (one, true_one), (other, true_other) = model(1.0, 0.5, 1.3), model(3.0, 0.2, 1.3)
    assert one - other == pytest.approx(true_one - true_other, rel=1e-9)


def test_a_bad_take_costs_the_same_however_far_it_is_off() -> None:
    def belief(residual: float) -> float:
        mode = _Mode(np.array([residual]), np.array([1.0]), np.zeros(1), np.eye(1))
        return _log_belief(_Rows(np.array([True])), mode)

    assert belief(50.0) == pytest.approx(belief(500.0), rel=1e-6)
    # near: all but the share of bad takes of a normal density
    assert np.exp(belief(0.0) - belief(1.0)) == pytest.approx(np.exp(0.5), rel=0.05)
    assert belief(0.0) > belief(50.0)


@pytest.mark.parametrize("skewness", [-0.8, -0.2, 0.2, 0.8])
def test_a_skew_belief_has_the_moments_it_is_given(skewness: float) -> None:
    belief = Belief.skew(3.0, 2.0, skewness)
    p = (np.arange(20_000) + 0.5) / 20_000
    values = np.array([belief.quantile(q) for q in p])
    assert values.mean() == pytest.approx(3.0, abs=0.01)
    assert values.std() == pytest.approx(2.0, rel=0.01)
    assert stats.skew(values) == pytest.approx(skewness, abs=0.03)  # the last 4.5 sd are cut off


def test_belief_below_and_quantile_of_a_normal_are_scipys() -> None:
    belief = Belief.normal(1.0, 0.5)
    for p in (0.025, 0.05, 0.5, 0.9, 0.975):
        assert belief.quantile(p) == pytest.approx(stats.norm.ppf(p, 1.0, 0.5), abs=1e-3)
    assert (belief.low, belief.high) == pytest.approx(stats.norm.interval(0.9, 1.0, 0.5), abs=1e-3)
    assert belief.median == pytest.approx(1.0, abs=1e-9)
    assert belief.below(1.5) == pytest.approx(stats.norm.cdf(1.0), abs=1e-4)
    assert belief.shifted(0.3).median == pytest.approx(1.3)
    assert belief.scaled(2.0).median == pytest.approx(2.0)


def test_three_touches_stand_for_a_normal_scatter() -> None:
    # Gauss-Hermite with three nodes is exact to the fifth moment: Abramowitz and Stegun 25.4.46.
    for order, moment in enumerate((1.0, 0.0, 1.0, 0.0, 3.0, 0.0)):
        assert float(TOUCH_WEIGHT @ TOUCH_STEP**order) == pytest.approx(moment, abs=1e-12)


@pytest.mark.parametrize("expected", [0.35, 0.40, 0.48])
def test_a_leaf_tells_as_much_as_its_yes_or_no_does(expected: float) -> None:
    # The gap is normal, the string sounds open where it is wider than the leaf, but for noise: by quadrature,
    # how far the gap's variance falls on average once the answer is known.
    leaf, variance, noise = 0.40, 0.05**2, 0.01**2
    gap = np.linspace(expected - 0.4, expected + 0.4, 20_001)
    density = stats.norm.pdf(gap, expected, np.sqrt(variance))
    left = 0.0
    for answer in (stats.norm.cdf(gap, leaf, np.sqrt(noise)), stats.norm.sf(gap, leaf, np.sqrt(noise))):
        chance = (density * answer).sum() * (gap[1] - gap[0])
        share = density * answer / (density * answer).sum()
        mean = float(share @ gap)
        left += float(chance) * float(share @ (gap - mean) ** 2)
    outlook = SimpleNamespace(
        positions=[SimpleNamespace(leaf_mm=leaf)], noise=np.array([noise]), expected=np.array([expected])
    )
    as_noise = Outlook._noise_of(outlook, 0, variance)
    assert variance - variance**2 / (variance + as_noise) == pytest.approx(left, rel=1e-3)


def test_a_leaf_whose_answer_is_sure_tells_nothing() -> None:
    outlook = SimpleNamespace(
        positions=[SimpleNamespace(leaf_mm=0.1)], noise=np.array([1e-4]), expected=np.array([0.9])
    )
    as_noise = Outlook._noise_of(outlook, 0, 0.05**2)
    assert 0.05**2 / as_noise < 1e-6
