"""The linear algebra of the pitch reading, each piece against an integral, an inverse or a definition."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, stats

from pitchcheck.pitch import joint_notes
from pitchcheck.pitch.coarse import _Line
from pitchcheck.pitch.differences import _student_weight, own_variances
from pitchcheck.pitch.inharmonic_fit import _grid, initial_robust_weight, student_weight
from pitchcheck.pitch.joint_notes import JointNotes, NoteLikelihood, _priors
from pitchcheck.pitch.partial_scatter import (
    orthogonalise,
    own_deviation,
    variance_inflation,
    with_own_variance,
)
from pitchcheck.pitch.partial_slopes import Slopes
from pitchcheck.pitch.tracks import _damped, _fitted

EXACT = 1e-9  # relative: sums of a few numbers


@pytest.mark.parametrize("own", [(1.0, 4.0, 9.0), (0.5, 0.2, 0.3, 0.9, 0.4)])
def test_variances_of_differences_come_apart_again(own: tuple[float, ...]) -> None:
    # Of independent notes the variance of a difference is the sum of both.
    v = np.array(own)
    differences = v[:, None] + v[None, :]
    np.fill_diagonal(differences, 0.0)
    assert own_variances(differences) == pytest.approx(v, rel=EXACT)


def test_two_notes_share_their_difference_evenly() -> None:
    assert own_variances(np.array([[0.0, 3.0], [3.0, 0.0]])) == pytest.approx([1.5, 1.5], rel=EXACT)


@pytest.mark.parametrize(("known", "found", "variance"), [(4.0, 1.0, 0.5), (0.3, -2.0, 2.0)])
def test_a_deviation_of_its_own_is_integrated_out(known: float, found: float, variance: float) -> None:
    # exp(found (s + d) - known (s + d)^2 / 2), d ~ N(0, variance), by quadrature at several s.
    less, moved, gain = (
        float(one[0]) for one in with_own_variance(*(np.array([x]) for x in (known, found, variance)))
    )

    def marginal(s: float) -> float:
        def both(d: float) -> float:
            x = s + d
            return float(np.exp(found * x - known * x**2 / 2 - d**2 / (2 * variance)))

        return float(integrate.quad(both, -20, 20)[0] / np.sqrt(2 * np.pi * variance))

    for s in (-1.0, 0.0, 0.7):
        assert np.exp(moved * s - less * s**2 / 2 + gain) == pytest.approx(marginal(s), rel=1e-6)


def test_trends_taken_apart_add_up_again() -> None:
    rng = np.random.default_rng(5)
    root = rng.normal(size=(2, 4, 4))
    information = root @ root.swapaxes(1, 2) + np.eye(4)
    score = rng.normal(size=(2, 4))
    parts = orthogonalise(information, score)
    for full, known, found, rows, heard in zip(
        information, parts.known, parts.found, parts.rows, score, strict=True
    ):
        assert rows.T @ np.diag(known) @ rows == pytest.approx(full, rel=1e-9, abs=1e-12)
        assert rows.T @ found == pytest.approx(heard, rel=1e-9, abs=1e-12)
        assert np.array_equal(np.tril(rows), np.eye(4))


def test_a_student_law_tells_less_of_its_middle_than_its_weights_say() -> None:
    # Lange, Little and Taylor 1989: (tail + 1) / (tail + 3) of it where deviations are all there is, all
    # where noise is, in between by how much of the information they leave.
    known = np.array([1e9, 1e9, 1e9])
    assert variance_inflation(known, np.ones(3), tail=4.0) == pytest.approx(7 / 5, rel=1e-6)
    assert variance_inflation(np.ones(3), np.ones(3), tail=4.0) == pytest.approx(1.0, rel=EXACT)
    assert variance_inflation(np.full(3, 2.0), np.ones(3), tail=4.0) == pytest.approx(1.2, rel=EXACT)


def test_deviations_are_told_at_the_middle_partial_and_fall_by_a_power() -> None:
    number = np.array([1.0, 2.0, 4.0])
    sizes = own_deviation(number, np.array([[3.0, 1.0, 0.5, 0.0]]))[0]
    cent = np.log(2) / 1200
    assert sizes == pytest.approx(3.0 * cent * (number / 2.0) ** -0.5, rel=EXACT)


@pytest.mark.parametrize("inharmonicity", [0.0, 2e-5, 4e-4])
def test_partials_of_a_stiff_string_give_its_note_and_stiffness_back(inharmonicity: float) -> None:
    # f_k = k f sqrt(1 + B k^2): Fletcher 1964.
    line = _Line(110.4)
    for k in range(1, 13):
        line.add(k, k * 110.0 * np.sqrt(1 + inharmonicity * k * k), strength=1 / k)
    first, found = line.fit()
    assert first == pytest.approx(110.0, rel=1e-9)
    assert found == pytest.approx(inharmonicity, rel=1e-6, abs=1e-12)


def test_evidence_and_estimates_of_one_note_are_those_of_dense_algebra() -> None:
    # Unknown: sharp (free), stiffer (believed), glide (5 cents, or none, alike likely). What each partial
    # tells is a quadratic in its pitch and glide; its own deviation of both is integrated out by hand.
    rng, cent = np.random.default_rng(6), np.log(2) / 1200
    number = np.arange(1.0, 7.0)
    root = rng.normal(size=(6, 2, 2)) / cent
    information = root @ root.swapaxes(1, 2)
    score = rng.normal(size=(6, 2)) / cent
    slopes = Slopes(number, np.array([0.6]), information[None], score[None], np.array([0.7]))
    shapes = np.array([[0.5, 1.0, 0.0, -1.0], [2.0, 0.3, 0.5, -2.0]])
    near, believed, weight = 3e-5, (2e-5, 4e-5), np.linspace(0.5, 1.2, 6)
    evidence, mean, variance = _grid(
        slopes, shapes, inharmonicity=near, robust_weight=weight, believed=believed
    )
    sensitivity = number**2 / (2 * (1 + near * number**2))  # d ln f / dB of sqrt(1 + B k^2)
    tilt = information[:, 0, 1] / information[:, 0, 0]
    told = []
    for j, (size, bend, power, before) in enumerate(shapes):
        own = (size * cent * (number / 3.5) ** -power) ** 2 / weight
        total, matrix, vector = before, np.zeros((3, 3)), np.zeros(3)
        kept = []
        parts = (
            (information[:, 0, 0], score[:, 0], own, np.stack([np.ones(6), sensitivity, tilt])),
            (
                information[:, 1, 1] - information[:, 0, 1] ** 2 / information[:, 0, 0],
                score[:, 1] - tilt * score[:, 0],
                own * (bend / 0.7) ** 2,
                np.stack([np.zeros(6), np.zeros(6), np.ones(6)]),
            ),
        )
        for known, found, spread, design in parts:
            less = 1 / (1 + known * spread)
            total += 0.5 * np.sum(spread * less * found**2 + np.log(less))
            matrix += (design * known * less) @ design.T
            vector += design @ (found * less)
            kept.append(known * less)
        matrix[1, 1] += believed[1] ** -2
        vector[1] += (believed[0] - near) * believed[1] ** -2
        inflation = variance_inflation(information[:, 0, 0], kept[0], tail=5.0)
        for i, free in enumerate((2, 3)):  # without a glide, and with one
            precision = matrix[:free, :free] + np.diag([0.0, 0.0, (5 * cent) ** -2][:free])
            covariance = np.linalg.inv(precision)
            middle = covariance @ vector[:free]
            belief = total + vector[:free] @ middle / 2 + np.linalg.slogdet(covariance)[1] / 2
            told.append((evidence[i, 0, j], belief - i * np.log(5 * cent)))
            assert mean[i, :free, 0, j] == pytest.approx(middle, rel=1e-6)
            assert variance[i, :free, 0, j] == pytest.approx(np.diag(covariance) * inflation, rel=1e-6)
    first = told[0]
    for found, true in told:
        assert found - first[0] == pytest.approx(true - first[1], rel=1e-6, abs=1e-6)


LIKELIHOOD = NoteLikelihood(
    information=np.zeros((3, 2, 4, 4)),
    score=np.zeros((3, 2, 4)),
    power=0.0,
    belief=0.0,
    glide=np.array([1e-3, 2e-3, 4e-3]),
    own_sd=(np.array([0.5, 1.0, 2.0]),),
    fading=np.ones((3, 1)),
)
LAWS = JointNotes(np.array([1.0, 2.0]), np.array([110.0, 110.0, 220.0]), np.array([2e-5, 2.2e-5, 5e-5]))


def test_what_is_believed_of_the_notes_of_one_string_before_listening() -> None:
    precision, mean, log_density = _priors(LIKELIHOOD, LAWS, glide=3.0)
    count, cent = 3, np.log(2) / 1200
    blocks = [precision[i * count : (i + 1) * count, i * count : (i + 1) * count] for i in range(4)]
    # Levels: free by 30 cents, each on its own.
    assert np.linalg.inv(blocks[0]) == pytest.approx((30 * cent) ** 2 * np.eye(3), rel=1e-9, abs=1e-15)
    # Stiffness: one level for all (known to its own size), and each within a tenth, more with distance.
    pitch = np.log(LAWS.hz / stats.gmean(LAWS.hz))
    level = np.median(LAWS.inharmonicity / np.exp(pitch)) * np.exp(pitch)
    apart = (level * (0.1 + np.abs(pitch))) ** 2
    assert np.linalg.inv(blocks[1]) == pytest.approx(np.diag(apart) + np.outer(level, level), rel=1e-6)
    assert mean[count : 2 * count] == pytest.approx(level - LAWS.inharmonicity, rel=1e-9)
    # Glides: a common one that is next to free, and 3 cents of difference.
    spread = np.linalg.inv(blocks[2])
    differences = np.array([[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]])
    expected = (3.0 * cent) ** 2 * differences @ differences.T
    assert differences @ spread @ differences.T == pytest.approx(expected, rel=1e-6)
    # next to free: of all three alike hardly anything is believed, and nothing the other way round
    assert 0.0 < np.sum(blocks[2]) < 1e-6 * np.trace(blocks[2])
    assert mean[2 * count : 3 * count] == pytest.approx(LIKELIHOOD.glide.mean() - LIKELIHOOD.glide)
    # Further courses about 0, as told.
    assert np.linalg.inv(blocks[3]) == pytest.approx(np.diag(LIKELIHOOD.own_sd[0] ** 2))
    # Densities: of two differences of glides, and of the further courses.
    wider = _priors(LIKELIHOOD, LAWS, glide=6.0)[2]
    assert log_density - wider == pytest.approx(2 * np.log(2.0), rel=1e-9)


def test_evidence_and_estimates_of_the_notes_are_those_of_dense_algebra(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # A quadratic log likelihood x v - x M x / 2 and normal beliefs: mean, covariance and the integral.
    rng = np.random.default_rng(8)
    root = rng.normal(size=(12, 12))
    matrix, vector = root @ root.T * 1e8, rng.normal(size=12) * 1e4
    monkeypatch.setattr(
        joint_notes, "_gather", lambda *_: (matrix[None], vector[None], np.array([1.5]), np.array([1.0]))
    )
    found = joint_notes.solve(LIKELIHOOD, np.zeros((1, 4)), LAWS, np.ones((3, 2)), glides=(3.0, 6.0))
    totals = []
    for i, glide in enumerate((3.0, 6.0)):
        precision, mean, log_density = _priors(LIKELIHOOD, LAWS, glide=glide)
        covariance = np.linalg.inv(matrix + precision)
        middle = covariance @ (vector + precision @ mean)
        assert found[1][i, 0] == pytest.approx(middle, rel=1e-5, abs=1e-12)
        best = vector @ middle - middle @ matrix @ middle / 2
        best -= (middle - mean) @ precision @ (middle - mean) / 2
        totals.append(1.5 + log_density + best + np.linalg.slogdet(covariance)[1] / 2)
        away = covariance[:3, :3]
        differences = np.diag(away)[:, None] + np.diag(away) - 2 * away
        assert found[2][i, 0] == pytest.approx(differences, rel=1e-4, abs=1e-18)
    assert found[0][:, 0] == pytest.approx(totals, rel=1e-6)


class _Slopes:
    """Slopes of partials that lie a known way off, noise as given."""

    def __init__(self, number: np.ndarray, sharp: np.ndarray, information: float) -> None:
        self.number = number
        self.taus_s = np.array([0.5])
        self.information = np.zeros((1, number.size, 2, 2))
        self.information[..., 0, 0] = information
        self.score = np.zeros((1, number.size, 2))
        self.score[..., 0] = information * sharp


def test_a_partial_far_off_the_law_counts_little_and_the_others_alike() -> None:
    number = np.arange(1.0, 13.0)
    sharp = np.zeros(12)
    sharp[6] = 0.01  # 17 cents
    noise = 1e-5
    slopes = _Slopes(number, sharp + noise * np.tile([1.0, -1.0], 6), 1 / noise**2)
    weight = initial_robust_weight(slopes, inharmonicity=1e-5)
    others = np.delete(weight, 6)
    assert weight[6] < 1e-3
    assert others.min() > 0.7
    shape = np.array([1.0, 1.0, 0.0, 0.0])  # a cent off the law is usual
    found, off = student_weight(slopes, 0, np.zeros(3), inharmonicity=1e-5, shape=shape)
    cent = np.log(2) / 1200
    # Student: (tail + 1) / (tail + z^2), the tail from what is left at z = 0.
    z2 = (sharp[6] - noise * (-1.0) ** 7) ** 2 / (cent**2 + noise**2)
    tail = 1 / (found[0] - 1)
    assert found[6] == pytest.approx((tail + 1) / (tail + z2), rel=0.02)
    assert off[6] == pytest.approx(sharp[6], rel=0.02)


@pytest.mark.parametrize("size", [200, 201])
@pytest.mark.parametrize("fall", [None, (3.0, 8.0, 20.0)])
def test_amplitude_and_phase_at_the_middle_of_a_block_are_found_exactly(
    size: int, fall: tuple[float, ...] | None
) -> None:
    rate_hz, hz = 8000.0, np.array([220.0, 441.0, 665.0])
    t = (np.arange(size) - (size - 1) / 2) / rate_hz  # from the middle of the block
    true = np.array([1.0, 0.4, 0.2]) * np.exp(1j * np.array([0.3, -1.2, 2.5]))
    rate = -np.zeros(3) if fall is None else -np.array(fall)
    block = (true[:, None] * np.exp((rate + 2j * np.pi * hz)[:, None] * t)).real.sum(axis=0) + 0.05
    blocks = np.stack([block, 2 * block])
    found = (
        _fitted(blocks, hz, rate_hz=rate_hz)
        if fall is None
        else _damped(blocks, hz, np.array(fall), rate_hz=rate_hz)
    )
    assert found == pytest.approx(np.stack([true, 2 * true], axis=1), abs=1e-8)


def test_student_weights_of_notes_against_the_mean_of_their_partial() -> None:
    # Three notes an octave apart at most, noise next to nothing: (tail + 1) / (tail + z^2), z over what the
    # partials of one string deviate by, wider with the distance in pitch from the middle note (0.25 octave
    # doubles the variance), and a wider one counts by so much less.
    cent = np.log(2) / 1200
    laws = JointNotes(np.array([1.0, 2.0, 4.0]), np.array([100.0, 110.0, 220.0]), np.full(3, 2e-5))
    away = np.array([[0.0, 1.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, 0.0]]) * cent
    information, score = np.zeros((3, 3, 3, 3)), np.zeros((3, 3, 3))
    information[..., 0, 0] = 1e14
    score[..., 0] = 1e14 * away
    trial = replace(LIKELIHOOD, information=information, score=score, own_sd=())
    shape = np.array([1.0, 1.0, 0.0, 0.0])  # a cent at every partial
    found = _student_weight(trial, laws, np.zeros(9), shape=shape)
    wider = 1 + (np.log2(laws.hz / 110.0) / 0.25)[:, None] ** 2
    z2 = (away / cent) ** 2 / wider
    assert found == pytest.approx(11 / (10 + z2) / wider, rel=1e-4)
