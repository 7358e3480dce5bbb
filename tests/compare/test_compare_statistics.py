"""How often a comparison cries change where nothing was done, and how often it misses what was.

Pairs come from ``helpers.pairs``. Strings of one pair err together, so the counts of a few pairs say little;
the long runs are marked slow and are the ones of docs/accuracy-compare.md.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from bench.compare_bench import Count, count, finite_element_pairs, simulated_pairs

FALSE_AT_MOST = 0.05  # of strings with no change: the figure asked for
FOUND_AT_LEAST = 0.90  # of strings that lost 0.15 mm, steel, full protocol: the figure asked for
FILED_MM = 0.15
FEW_FALSE = 1  # of the 28 strings of the short run: 5 % of them, rounded down
COVERED = (0.80, 0.99)  # 90 % intervals, with room for a few dozen pairs


def test_a_few_pairs_without_a_change() -> None:
    counts = count(finite_element_pairs(every=4, seeds=(21,), removed_mm=0.0))
    counts += count(simulated_pairs(("electric", "acoustic"), number=2, seed=22, removed_mm=0.0))
    assert counts.strings >= 28
    assert counts.lower + counts.higher <= FEW_FALSE


def test_a_few_pairs_with_a_change() -> None:
    counts = count(simulated_pairs(("electric", "acoustic"), number=3, seed=23, removed_mm=FILED_MM))
    assert counts.lower >= FOUND_AT_LEAST * counts.strings
    assert counts.higher == 0


@pytest.fixture(scope="module")
def unchanged() -> Sequence[Count]:
    return (
        count(finite_element_pairs(every=1, seeds=(31, 32), removed_mm=0.0)),
        count(simulated_pairs(("electric", "acoustic"), number=30, seed=33, removed_mm=0.0)),
    )


@pytest.fixture(scope="module")
def changed() -> Sequence[Count]:
    return (
        count(finite_element_pairs(every=1, seeds=(34, 35), removed_mm=FILED_MM)),
        count(simulated_pairs(("electric", "acoustic"), number=30, seed=36, removed_mm=FILED_MM)),
    )


@pytest.mark.slow
@pytest.mark.parametrize("which", [0, 1], ids=["finite-element", "simulated"])
def test_no_change_is_called_one_in_more_than_a_twentieth(unchanged: Sequence[Count], which: int) -> None:
    one = unchanged[which]
    assert one.lower + one.higher <= FALSE_AT_MOST * one.strings


@pytest.mark.slow
@pytest.mark.parametrize("which", [0, 1], ids=["finite-element", "simulated"])
def test_what_was_filed_off_is_found(changed: Sequence[Count], which: int) -> None:
    one = changed[which]
    assert one.lower >= FOUND_AT_LEAST * one.strings


@pytest.mark.slow
def test_the_intervals_of_changes_hold_the_truth(
    unchanged: Sequence[Count], changed: Sequence[Count]
) -> None:
    for one in (*unchanged, *changed):
        assert COVERED[0] <= one.held / one.strings <= COVERED[1]


@pytest.mark.slow
def test_an_unsteady_hand_is_not_believed_more() -> None:
    """Twice the usual scatter: fewer changes are found, and no more are invented."""
    still = count(simulated_pairs(("electric",), number=12, seed=37, removed_mm=0.0, rougher=2.0))
    assert still.lower + still.higher <= FALSE_AT_MOST * still.strings + 1
    assert np.mean(still.scatter) > 1.2
