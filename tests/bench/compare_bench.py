"""Compares pairs whose change is known and keeps the score: for the tests and for the bench.

Conventions: mm; a string is counted once a pair, and only where it was heard in both passes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from bench.fit_bench import THOROUGH, folders
from helpers.pairs import STEEL, Pair, finite_element_pair, simulated_pair
from pitchcheck.compare import Change, compare_measurements
from pitchcheck.course import Thoroughness


@dataclass(frozen=True)
class Count:
    """What was said of some strings. ``error_mm`` and ``sd_mm``: one a string; ``scatter``: one a pair."""

    strings: int
    lower: int
    higher: int
    same: int
    held: int  # truth inside the 90 % interval
    error_mm: tuple[float, ...]
    sd_mm: tuple[float, ...]
    scatter: tuple[float, ...]

    def __add__(self, other: Count) -> Count:
        return Count(
            self.strings + other.strings,
            self.lower + other.lower,
            self.higher + other.higher,
            self.same + other.same,
            self.held + other.held,
            self.error_mm + other.error_mm,
            self.sd_mm + other.sd_mm,
            self.scatter + other.scatter,
        )


NOTHING = Count(0, 0, 0, 0, 0, (), (), ())


def count(pairs: Iterable[Pair]) -> Count:
    """Compare every pair and add up what was said."""
    total = NOTHING
    for pair in pairs:
        total += count_pair(pair)
    return total


def count_pair(pair: Pair) -> Count:
    """Compare one pair."""
    comparison = compare_measurements(pair.before, pair.after)
    heard = [(s, s.change_mm, pair.change_mm[s.number]) for s in comparison.strings]
    known = [(slot, belief, truth) for slot, belief, truth in heard if belief is not None]
    said = [slot.change for slot, _, _ in known]
    return Count(
        strings=len(known),
        lower=said.count(Change.LOWER),
        higher=said.count(Change.HIGHER),
        same=said.count(Change.SAME),
        held=sum(belief.low <= truth <= belief.high for _, belief, truth in known),
        error_mm=tuple(belief.median - truth for _, belief, truth in known),
        sd_mm=tuple((b.quantile(0.8413) - b.quantile(0.1587)) / 2 for _, b, _ in known),
        scatter=(comparison.scatter,),
    )


def simulated_pairs(
    kinds: Sequence[str],
    *,
    number: int,
    seed: int,
    removed_mm: float,
    protocol: Thoroughness = Thoroughness.FULL,
    rougher: float = 1.0,
) -> Iterator[Pair]:
    """So many pairs, the kinds in turn."""
    for i in range(number):
        rng = np.random.default_rng([seed, i])
        kind = kinds[i % len(kinds)]
        yield simulated_pair(kind, rng, removed_mm=removed_mm, protocol=protocol, rougher=rougher)


def finite_element_pairs(*, every: int, seeds: Sequence[int], removed_mm: float) -> Iterator[Pair]:
    """Pairs from every so many of the steel instruments, each with every reading noise."""
    steel = [f for f in folders(THOROUGH) if any(kind in f.name for kind in STEEL)]
    for i, folder in enumerate(steel[::every]):
        for seed in seeds:
            rng = np.random.default_rng([seed, i])
            yield finite_element_pair(folder, rng, removed_mm=removed_mm)
