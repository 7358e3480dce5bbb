"""The tables of the documents in short form: the code says what they say, and nothing has gone badly wrong.

Five instruments a set say little: the limits are where a fit or a course is broken, not a tenth worse.
"""

from __future__ import annotations

import pytest

from fe_bench import job, single, tables
from fe_bench.kinds import FIVE

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("name", ["short", "short-job"])
def test_the_documents_say_what_the_code_says(name: str) -> None:
    assert tables.main([name, "--check", "--workers", "1"]) == 0


@pytest.mark.parametrize("name", ["plain", "uneven board", "press not down"])
def test_single_measurements_are_true_and_cut_nothing_too_deep(name: str) -> None:
    # 90 % intervals of five instruments scatter by some 9 %: two of those below. What is wrongly said: aim
    # 1 %, of 26 slots none.
    found = single.run_all(single.cases(name, kinds=FIVE, count=tables.SHORT, start=tables.START))
    of = single.summary(found)
    assert of.held >= 0.72
    assert of.wrongly_high == 0
    assert of.wrongly_low == 0
    assert of.overcut == 0
    if name == "plain":
        assert of.median_mm < 2 * 0.048  # twice the aim for basses, between those for steel and nylon


def test_jobs_end_and_ruin_nothing() -> None:
    # Aims: 12 plucks a string and 3 passes; 1 % under and none below its floor, of 26 slots none.
    done = job.run_all([job.JobCase(kind, tables.START) for kind in FIVE])
    of = job.summary(done)
    assert {one.ended for one in done} == {"nothing to file"}
    assert of.plucks < 24
    assert of.passes <= 5
    assert of.under == 0
    assert of.below_floor == 0
