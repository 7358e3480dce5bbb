"""A job in clumsy hands on finite elements: it comes to an end, files what is high, ruins nothing.

The sets of the documents are made by hand (``tables``); two short instruments tell when something has broken.
"""

from __future__ import annotations

import pytest

from fe_bench.job import JobCase, do, summary

# Plucks a string over a whole job of a clumsy hand: the documents say 16 in the mean of ten jobs.
MOST_PLUCKS = 36


@pytest.mark.parametrize(
    ("kind", "gauge", "seeds"),
    # Of the first bass only one slot is high, and one slot tells of itself.
    [
        ("bass", "", (1000, 1001)),
        pytest.param("tenor ukulele", "string", (1000,), marks=pytest.mark.slow),  # ten seconds
    ],
)
def test_a_clumsy_hand_finishes_a_nut_and_files_nothing_under(
    kind: str, gauge: str, seeds: tuple[int, ...]
) -> None:
    jobs = [do(JobCase(kind, seed, hand="clumsy", gauge=gauge)) for seed in seeds]
    of = summary(jobs)
    assert of.under == 0
    assert of.below_floor == 0
    assert of.plucks < MOST_PLUCKS
    assert of.helped > 0.4  # as for single cuts: at least two fifths of what there was is gone
    for done in jobs:
        assert done.ended == "nothing to file"
        assert any(slot.filed for slot in done.slots)
        # Of some ten intervals of 90 % three may miss: one instrument's strings err together.
        assert done.held.count(False) <= 3
