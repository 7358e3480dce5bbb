"""The chain against sums over every path, and against librosa's Viterbi path."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from pitchcheck.memo.courses import COURSES
from pitchcheck.memo.grammar import Order, build_grammar
from pitchcheck.memo.hidden_markov import Chain, believe, log_evidence

ROUNDING = 1e-9  # double precision over some dozen products


def _random(seed: int, states: int, events: int) -> tuple[Chain, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    moves = rng.dirichlet(np.ones(states), size=states)
    return (
        Chain(rng.dirichlet(np.ones(states)), moves),
        rng.uniform(0.01, 1.0, (events, states)),
        rng.uniform(0.01, 0.5, events),
    )


def _paths(chain: Chain, something: np.ndarray, nothing: np.ndarray) -> dict[tuple[int | None, ...], float]:
    """Return the probability of every way to read the events: a state, or None for nothing."""
    events, states = something.shape
    found = {}
    for path in product([None, *range(states)], repeat=events):
        probability, last = 1.0, None
        for t, state in enumerate(path):
            if state is None:
                probability *= nothing[t]
                continue
            probability *= chain.start[state] if last is None else chain.moves[last, state]
            probability *= something[t, state]
            last = state
        found[path] = probability
    return found


@pytest.mark.parametrize("seed", range(5))
def test_evidence_and_beliefs_are_sums_over_all_paths(seed: int) -> None:
    chain, something, nothing = _random(seed, states=3, events=5)
    paths = _paths(chain, something, nothing)
    total = sum(paths.values())
    belief = believe(chain, something, nothing)
    assert belief.log_evidence == pytest.approx(np.log(total), abs=ROUNDING)
    assert log_evidence(chain, something, nothing) == pytest.approx(np.log(total), abs=ROUNDING)
    for t in range(5):
        for state in range(3):
            share = sum(p for path, p in paths.items() if path[t] == state) / total
            assert belief.states[t, state] == pytest.approx(share, abs=ROUNDING)


def test_several_ways_to_look_at_the_events_are_gone_through_as_each_alone() -> None:
    chain, something, nothing = _random(2, states=4, events=6)
    ways = np.stack([something, something[::-1], 0.1 * something])
    together = log_evidence(chain, ways, nothing)
    assert together == pytest.approx([float(log_evidence(chain, way, nothing)) for way in ways], abs=ROUNDING)
    assert together[0] - together[1] != pytest.approx(0.0, abs=1e-3)


@pytest.mark.slow  # 18 s to compile what is asked for once; the sums above hold every day
def test_where_one_path_outweighs_all_it_is_the_viterbi_path_of_librosa() -> None:
    from librosa.sequence import viterbi

    rng = np.random.default_rng(3)
    chain, something, nothing = _random(3, states=6, events=40)
    truth = rng.integers(0, 6, 40)
    something[np.arange(40), truth] *= 1e4
    path = viterbi((something / something.max()).T, chain.moves, p_init=chain.start)
    belief = believe(chain, something, 1e-9 * nothing)
    assert list(np.argmax(belief.states, axis=1)) == list(path)


def test_a_long_recording_does_not_underflow() -> None:
    chain, something, nothing = _random(1, states=4, events=3000)
    belief = believe(chain, 1e-30 * something, 1e-30 * nothing)
    assert np.isfinite(belief.log_evidence)
    assert np.isfinite(belief.states).all()


@pytest.mark.parametrize("order", list(Order))
@pytest.mark.parametrize("count", [1, 2, 6])
def test_every_course_is_a_chain(count: int, order: Order) -> None:
    for course in COURSES:
        grammar = build_grammar(course, strings=range(1, count + 1), order=order)
        assert grammar.chain.start.sum() == pytest.approx(1.0)
        assert np.allclose(grammar.chain.moves.sum(axis=1), 1.0)
        assert len(grammar.positions) == count * len(course.steps)
        assert grammar.chain.moves.min() >= 0.0


def test_the_courses_shares_are_a_belief() -> None:
    assert sum(course.share for course in COURSES) == pytest.approx(1.0)
