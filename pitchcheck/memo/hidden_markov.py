"""A hidden Markov chain some of whose events are nothing: they leave the state as it was.

Conventions: ``K`` states, ``T`` events; probabilities, not logarithms; one row of ``moves`` is where a state
leads, and sums to one.

References
----------
L. R. Rabiner (1989), Proc. IEEE 77(2), 257-286: forward and backward probabilities with scaling.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitchcheck.types import FloatArray

TINY = 1e-300


@dataclass(frozen=True)
class Chain:
    """How states follow each other.

    Attributes
    ----------
    start : array, shape (K,)
        Probabilities of the first state.
    moves : array, shape (K, K)
        From row to column.
    """

    start: FloatArray
    moves: FloatArray


@dataclass(frozen=True)
class Belief:
    """What a chain makes of the events.

    Attributes
    ----------
    log_evidence : float
        Logarithm of the probability of all events under the chain.
    states : array, shape (T, K)
        Probability that an event is something, and of that state.
    """

    log_evidence: float
    states: FloatArray


def log_evidence(chain: Chain, something: FloatArray, nothing: FloatArray) -> FloatArray:
    """Logarithm of the probability of all events, shape (...).

    Parameters
    ----------
    chain : Chain
    something : array, shape (..., T, K)
        Likelihood of each event as each state's, the probability of being something included; several ways
        to look at the events are gone through together, which takes hardly longer than one.
    nothing : array, shape (T,)
        Likelihood of each event as nothing, the probability of being nothing included.
    """
    return _forward(chain, something, nothing)[2]


def believe(chain: Chain, something: FloatArray, nothing: FloatArray) -> Belief:
    """Forward and backward through the events; parameters as in ``log_evidence``, one way to look at them."""
    alpha, scale, total = _forward(chain, something, nothing)
    count, states = something.shape
    gamma = np.zeros((count, states))
    beta = np.ones(states + 1)  # the last entry: nothing has been something yet
    for t in range(count - 1, -1, -1):
        entered = alpha[t, :-1] @ chain.moves + alpha[t, -1] * chain.start
        gamma[t] = entered * something[t] * beta[:-1] / scale[t]
        ahead = something[t] * beta[:-1]
        beta = np.append(chain.moves @ ahead, chain.start @ ahead) + nothing[t] * beta
        beta /= scale[t]
    return Belief(float(total), gamma)


def _forward(
    chain: Chain, something: FloatArray, nothing: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Scaled forward probabilities before each event, the scales, and the logarithm of their product.

    Shapes (T + 1, ..., K + 1), (T, ...) and (...); the last state is "nothing has been something yet".
    """
    *ways, count, states = something.shape
    alpha = np.zeros((count + 1, *ways, states + 1))
    alpha[0, ..., -1] = 1.0
    scale = np.ones((count, *ways))
    for t in range(count):
        entered = alpha[t, ..., :-1] @ chain.moves + alpha[t, ..., -1:] * chain.start
        now = alpha[t] * nothing[t]
        now[..., :-1] += entered * something[..., t, :]
        scale[t] = np.maximum(now.sum(axis=-1), TINY)
        alpha[t + 1] = now / scale[t][..., None]
    return alpha, scale, np.asarray(np.log(scale).sum(axis=0))
