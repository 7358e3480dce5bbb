"""Notes of one string together: the whole linear model written out densely, and averages by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pitchcheck.pitch import differences as module
from pitchcheck.pitch.differences import (
    SCATTERS_CENTS,
    SHAPES,
    _distance_inflation,
    _likely,
    _student_weight,
    first_look,
    fit_differences,
    unlike_pitches,
)
from pitchcheck.pitch.joint_notes import JointNotes, NoteLikelihood, _gather, solve
from pitchcheck.pitch.partial_scatter import own_deviation, variance_inflation

CENT = math.log(2) / 1200
NUMBER = np.array([1.0, 2.0, 3.0, 5.0])
# What is left free is believed to lie within 30 cents of nothing: (half a cent / 30)^2 of what is known.
PRIOR = 3e-4
LAWS = JointNotes(NUMBER, np.array([110.0, 116.5, 147.0]), np.array([2e-5, 2.4e-5, 4e-5]))


def likelihood(rng: np.random.Generator, *, further: int = 0, missing: bool = False) -> NoteLikelihood:
    """A random quadratic likelihood of three notes' partials, ``further`` trends beside pitch and glide.

    What all notes share is a sum of those trends, so it is seen through them.
    """
    courses = 3 + further
    root = rng.normal(size=(3, 4, courses, courses - 1)) / (0.05 * CENT)
    information = root @ root.swapaxes(2, 3)
    score = (root @ rng.normal(size=(3, 4, courses - 1, 1)))[..., 0]
    if missing:
        information[1, 2], score[1, 2] = 0.0, 0.0
    own_sd = tuple(rng.uniform(0.5, 1.5, 3) * CENT for _ in range(further))
    return NoteLikelihood(information, score, 3.0, -0.5, np.zeros(3), own_sd, np.array([[0.9], [0.8], [0.7]]))


def dense(
    trial: NoteLikelihood, shape: np.ndarray, weight: np.ndarray, *, deviate: bool = True
) -> tuple[np.ndarray, np.ndarray, float]:
    """Information and score of the notes' unknowns and the log evidence, all else integrated out.

    All else: what every partial does alike in all notes, in pitch and in glide (free by 30 cents), and what
    a partial does in one note only, in pitch and in its bend about its mean pitch.
    """
    count, partials, courses = trial.score.shape
    depth = courses - 1
    free = depth + 1  # pitch, stiffness, glide, further trends
    sensitivity = LAWS.sensitivity
    width = free * count + 2 * partials + 2 * count * partials
    matrix, vector = np.zeros((width, width)), np.zeros(width)
    own = (own_deviation(NUMBER, shape[None])[0] ** 2) / weight
    bend = own * (shape[1] / trial.fading) ** 2
    for n in range(count):
        for k in range(partials):
            # the partial's courses (pitch, glide, further..., common glide) as sums of the unknowns
            design = np.zeros((courses, width))
            design[0, n] = 1.0
            design[0, count + n] = sensitivity[n, k]
            for i in range(1, depth):
                design[i, (i + 1) * count + n] = 1.0
            common = free * count
            design[0, common + k] = 1.0
            design[depth, common + partials + k] = 1.0
            alone = common + 2 * partials
            design[0, alone + n * partials + k] = 1.0
            # a bend about the mean pitch: a glide, and so much less pitch that the mean stays
            info = trial.information[n, k]
            tilt = info[0, 1] / info[0, 0] if info[0, 0] > 0 else 0.0
            design[1, alone + (count + n) * partials + k] = 1.0
            design[0, alone + (count + n) * partials + k] = -tilt
            matrix += design.T @ info @ design
            vector += design.T @ trial.score[n, k]
    prior = np.zeros(width)
    common = free * count
    prior[common : common + 2 * partials] = (30 * CENT) ** -2
    spreads = np.concatenate([own.ravel(), bend.ravel()]) if deviate else np.full(2 * count * partials, 1e-30)
    spreads = np.maximum(spreads, 1e-30)
    prior[common + 2 * partials :] = 1 / spreads
    matrix[np.diag_indices(width)] += prior
    rest = np.arange(free * count, width)
    scale = np.sqrt(np.diag(matrix)[rest])
    block = matrix[np.ix_(rest, rest)] / scale[:, None] / scale
    cross = matrix[np.ix_(range(free * count), rest)] / scale
    solved = np.linalg.solve(block, np.column_stack([cross.T, vector[rest] / scale]))
    information = matrix[: free * count, : free * count] - cross @ solved[:, :-1]
    score = vector[: free * count] - cross @ solved[:, -1]
    log_det = np.linalg.slogdet(block)[1] + 2 * np.sum(np.log(scale)) - np.sum(np.log(prior[rest]))
    power = (vector[rest] / scale) @ solved[:, -1]
    return information, score, 0.5 * (power - log_det - trial.power) + shape[3]


@pytest.mark.parametrize("further", [0, 2])
@pytest.mark.parametrize("missing", [False, True])
def test_what_the_notes_tell_is_the_dense_model_with_all_else_integrated_out(
    further: int, missing: bool
) -> None:
    rng = np.random.default_rng(1 + further)
    trial = likelihood(rng, further=further, missing=missing)
    weight = rng.uniform(0.5, 1.2, (3, 4))
    shapes = np.array([[0.6, 0.0, 0.0, -1.0], [0.2, 0.5, 1.0, -2.0]])
    matrix, vector, evidence, less = _gather(trial, shapes, LAWS, weight)
    for j, shape in enumerate(shapes):
        information, score, belief = dense(trial, shape, weight)
        size = np.sqrt(np.diag(information))
        assert matrix[j] / size / size[:, None] == pytest.approx(
            information / size / size[:, None], abs=PRIOR
        )
        assert vector[j] / size == pytest.approx(score / size, abs=PRIOR)
        # what all notes share is no evidence: the determinant of it without deviations goes
        still = _common_determinant(trial)
        assert evidence[j] == pytest.approx(belief + still, abs=PRIOR * np.abs(evidence[j]))
        known = trial.information[..., 0, 0]
        own = own_deviation(NUMBER, shape[None])[0] ** 2 / weight
        inflation = variance_inflation(known.ravel(), (known / (1 + known * own)).ravel(), tail=10.0)
        assert less[j] == pytest.approx(inflation)


def _common_determinant(trial: NoteLikelihood) -> float:
    """Half the log determinant of the information on what all notes share, in units of what is free."""
    total = 0.0
    for k in range(NUMBER.size):
        both = trial.information[:, k][:, [0, -1]][:, :, [0, -1]].sum(axis=0)
        # two unknowns: a common pitch, and a common glide
        total += np.linalg.slogdet((30 * CENT) ** 2 * both + np.eye(2))[1]
    return 0.5 * total


def test_differences_are_averaged_over_all_ways_of_looking() -> None:
    rng = np.random.default_rng(3)
    trials = [likelihood(rng), replace(likelihood(rng), belief=1.0)]
    shapes = np.array([[0.6, 0.0, 0.0, -1.0], [0.2, 0.5, 1.0, -2.0]])
    weight = np.ones((3, 4))
    found = fit_differences(trials, shapes, LAWS, robust_weight=weight)
    beliefs, means, variances = [], [], []
    for trial in trials:
        evidence, estimate, variance = solve(trial, shapes, LAWS, weight, glides=(0.0005, 0.1, 0.7, 4.0))
        beliefs += (evidence + trial.belief).ravel().tolist()
        means += estimate[..., :3].reshape(-1, 3).tolist()
        variances += variance.reshape(-1, 3, 3).tolist()
    share = np.exp(np.array(beliefs) - max(beliefs))
    share /= share.sum()
    mean = share @ np.array(means)
    assert found.sharp == pytest.approx(mean)
    for i in range(3):
        for j in range(3):
            apart = np.array(means)[:, i] - np.array(means)[:, j]
            total = share @ (np.array(variances)[:, i, j] + apart**2) - (share @ apart) ** 2
            assert found.variance[i, j] == pytest.approx(total, rel=1e-6, abs=1e-16)


def test_notes_within_half_a_semitone_are_alike_and_the_first_stands_for_them() -> None:
    hz = 110.0 * 2 ** (np.array([0.0, 0.45, 0.55, 1.0, 12.0, 0.05, -0.6]) / 12)
    assert unlike_pitches(hz).tolist() == [0, 2, 4, 6]
    assert unlike_pitches(hz[[0, 1, 5]]).tolist() == [0, 1, 2]  # no other witness: all


@pytest.mark.parametrize(("seed", "more"), [(23, False), (24, True), (25, False), (26, True)])
def test_how_far_partials_deviate_is_told_by_notes_of_unlike_pitch_where_they_tell_of_more(
    seed: int, more: bool
) -> None:
    """The first and third note alone weigh sizes of scatter if they say a larger one; else all three do."""
    rng = np.random.default_rng(seed)
    laws = JointNotes(NUMBER, np.array([110.0, 110.2, 147.0]), np.full(3, 2e-5))
    two = JointNotes(NUMBER, laws.hz[[0, 2]], laws.inharmonicity[[0, 2]])
    trials = [likelihood(rng), replace(likelihood(rng), belief=1.0)]
    shapes = np.array([[0.02, 0.0, 0.0, -1.0], [0.01, 0.5, 1.0, -2.0]])
    weight = rng.uniform(0.5, 1.0, (3, 4))
    by_all, by_two, means = [], [], []
    for trial in trials:
        pair = NoteLikelihood(
            trial.information[[0, 2]],
            trial.score[[0, 2]],
            3.0,
            trial.belief,
            np.zeros(2),
            (),
            trial.fading[[0, 2]],
        )
        evidence, estimate, _ = solve(trial, shapes, laws, weight, glides=(0.0005, 0.1, 0.7, 4.0))
        by_all.append(evidence + trial.belief)
        told, _, _ = solve(pair, shapes, two, weight[[0, 2]], glides=(0.0005, 0.1, 0.7, 4.0))
        by_two.append(told + trial.belief)
        means.append(estimate[..., :3])
    every, few = np.exp(by_all - np.max(by_all)), np.exp(by_two - np.max(by_two))
    larger = [
        one.sum(axis=(0, 1))[0] / one.sum() for one in (every, few)
    ]  # belief in the larger of two sizes
    assert bool(larger[1] > larger[0]) is more
    share = every / every.sum()
    if more:
        share = every / every.sum(axis=(0, 1)) * few.sum(axis=(0, 1)) / few.sum()
    found = fit_differences(trials, shapes, laws, robust_weight=weight)
    assert found.sharp == pytest.approx(np.einsum("tgs,tgsn->n", share, np.array(means)), rel=1e-9)


def test_a_note_played_again_does_not_make_partials_deviate_less() -> None:
    """Twice the same three notes, pulled alike: the differences are known no better than from three."""
    rng = np.random.default_rng(29)
    once = made(rng, np.zeros(3), 0.5 * CENT * rng.normal(size=(3, 4)))
    twice = once.only(np.array([0, 1, 2, 0, 1, 2]))
    laws = [LAWS, LAWS.only(np.array([0, 1, 2, 0, 1, 2]))]
    sds = []
    for trial, law in zip((once, twice), laws, strict=True):
        weight, shapes = first_look(trial, law)
        sds.append(np.sqrt(fit_differences([trial], shapes, law, robust_weight=weight).variance[0, 2]))
    assert sds[1] > 0.9 * sds[0]  # as if all six were witnesses: 0.83


def made(
    rng: np.random.Generator, sharp: np.ndarray, own: np.ndarray, *, noise_cents: float = 0.01
) -> NoteLikelihood:
    """Three notes that lie so far sharp, each partial off by what all share and by its own."""
    common = 3 * CENT * rng.normal(size=4)
    heard = np.zeros((3, 4, 3))
    heard[..., 0] = sharp[:, None] + common + own
    root = np.zeros((3, 4, 3, 3))
    root[..., 0, :] = [1.0, 0.5, 0.5]
    root[..., 1, :] = [0.0, 0.4, 0.38]
    root[..., 2, :] = [0.0, 0.0, 0.02]
    information = root.swapaxes(2, 3) @ root / (noise_cents * CENT) ** 2
    score = np.einsum("nkij,nkj->nki", information, heard)
    return NoteLikelihood(information, score, 0.0, 0.0, np.zeros(3), (), np.full((3, 1), 0.8))


def test_notes_that_differ_in_pitch_alone_are_told_apart_exactly() -> None:
    rng = np.random.default_rng(4)
    sharp = np.array([0.0, 0.3, -0.5]) * CENT
    trial = made(rng, sharp, np.zeros((3, 4)))
    laws = JointNotes(NUMBER, np.array([110.0, 111.0, 112.0]), np.full(3, 2e-5))
    weight, shapes = first_look(trial, laws)
    found = fit_differences([trial], shapes, laws, robust_weight=weight)
    for i, j in ((0, 1), (1, 2), (0, 2)):
        assert found.sharp[i] - found.sharp[j] == pytest.approx(sharp[i] - sharp[j], abs=0.02 * CENT)
        assert 0.003 * CENT < math.sqrt(found.variance[i, j]) < 0.03 * CENT
    assert weight == pytest.approx(np.ones((3, 4)) * weight[0, 0], rel=0.2)


def test_a_partial_pulled_in_one_note_counts_little() -> None:
    rng = np.random.default_rng(5)
    own = 0.05 * CENT * rng.normal(size=(3, 4))
    own[1, 2] = 6 * CENT
    laws = JointNotes(NUMBER, np.array([110.0, 111.0, 112.0]), np.full(3, 2e-5))
    weight, _ = first_look(made(rng, np.zeros(3), own), laws)
    assert weight[1, 2] == weight.min()


def test_the_first_look_is_three_rounds_of_weights_and_shapes() -> None:
    # Its parts again: the best shape and spread of the glides, weights by that, likely shapes.
    rng = np.random.default_rng(6)
    trial = made(rng, np.zeros(3), 0.5 * CENT * rng.normal(size=(3, 4)))
    far = 1 / (1 + (np.log2(LAWS.hz / np.median(LAWS.hz)) / 0.25) ** 2)
    weight, shapes = np.ones((3, 4)) * far[:, None], SHAPES
    for turn in range(3):
        evidence, means, _ = solve(trial, shapes, LAWS, weight, glides=(0.1, 4.0))
        glide, best = np.unravel_index(np.argmax(evidence), evidence.shape)
        weight = _student_weight(trial, LAWS, means[glide, best], shape=shapes[best])
        near = (evidence > evidence.max(axis=1)[:, None] - 12.0).any(axis=0)
        shapes = shapes[near]
        if turn == 0:
            ratio = SCATTERS_CENTS[1] / SCATTERS_CENTS[0]
            shapes = module.closer_shapes(shapes, ratio=ratio, new=1.3)
    found = first_look(trial, LAWS)
    assert found[0] == pytest.approx(weight)
    assert found[1] == pytest.approx(shapes)


def test_shapes_far_behind_the_best_are_dropped() -> None:
    shapes = np.arange(12.0).reshape(3, 4)
    evidence = np.array([[0.0, -11.0, -30.0], [-50.0, -63.0, -61.0]])
    assert _likely(evidence).tolist() == [True] * shapes.shape[0]
    evidence = np.array([[0.0, -11.0, -13.0], [-50.0, -63.0, -63.0]])
    assert _likely(evidence).tolist() == [True, True, False]


def test_notes_far_apart_deviate_by_twice_the_variance_in_a_quarter_of_an_octave() -> None:
    hz = np.array([100.0, 100.0 * 2**0.25, 50.0])
    assert _distance_inflation(hz)[:, 0] == pytest.approx([1.0, 2.0, 17.0])


def test_sizes_of_what_a_partial_does_in_one_note() -> None:
    assert (SCATTERS_CENTS[0], SCATTERS_CENTS[-1]) == (pytest.approx(0.0005), pytest.approx(8.0))
    assert SHAPES[-1, 0] == pytest.approx(0.0003)
    assert SHAPES.shape[0] == 9 * 4 * 2 + 1
