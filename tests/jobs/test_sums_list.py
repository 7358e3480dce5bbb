"""A list of sums is taken only as it is written: every line whole, in order, once."""

from __future__ import annotations

import pytest

from pitchcheck.jobs.sums import BadList, parse_sums, sums_text

SUMS = {"job.toml": "a" * 64, "notes/0001.txt": "b" * 64, "passes/01-before/takes.csv": "0" * 64}


def test_a_list_reads_back() -> None:
    assert parse_sums(sums_text(SUMS).encode()) == SUMS
    assert parse_sums(b"") == {}


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (f"{'a' * 64}  job.toml", 1),  # no end of the last line
        (f"{'a' * 64} job.toml\n", 1),
        (f"{'A' * 64}  job.toml\n", 1),
        (f"{'a' * 63}  job.toml\n", 1),
        (f"{'a' * 64}  b\n{'a' * 64}  a\n", 2),  # out of order
        (f"{'a' * 64}  a\n{'a' * 64}  a\n", 2),  # twice
        (f"{'a' * 64}  ../a\n", 1),
        (f"{'a' * 64}  a\n\n", 2),
        ("words\n", 1),
    ],
)
def test_anything_else_is_refused_with_its_line(content: str, line: int) -> None:
    with pytest.raises(BadList) as told:
        parse_sums(content.encode())
    assert str(line) in str(told.value) or line in told.value.args


def test_bytes_that_are_no_text_are_refused() -> None:
    with pytest.raises(BadList):
        parse_sums(sums_text(SUMS).encode() + b"\xff\n")
