"""Names of jobs and of their lines at both sides of their limits; which job a few words mean."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from types import SimpleNamespace

import pytest

from pitchcheck.errors import BadValue
from pitchcheck.jobs import read
from pitchcheck.jobs.names import check_line, is_id, job_id, slug


@pytest.mark.parametrize(
    ("name", "good"),
    [
        ("2026-05-04-parlour", True),
        ("a" * 80, True),
        ("a" * 81, False),
        ("", False),
        ("-a", False),
        ("A", False),
        ("a b", False),
        ("a/b", False),
        ("..", False),
        ("unfinished-x", False),
        ("unfinished", True),
    ],
)
def test_what_can_be_a_jobs_id(name: str, good: bool) -> None:
    assert is_id(name) is good


def test_ids_are_day_and_title() -> None:
    made = datetime(2026, 5, 4)  # noqa: DTZ001 - only its day counts
    assert job_id("Müller's  Parlour!", made=made) == "2026-05-04-muller-s-parlour"
    assert job_id("x", made=made, again=2) == "2026-05-04-x-2"
    assert slug("!!!") == "job"


def test_a_line_is_one_line() -> None:
    assert check_line("title", "  two \t words\n") == "two words"
    assert check_line("title", None) is None
    assert check_line("title", "  ") is None
    for bad in (None, " ", "a\x07b", "a" * 100_000):
        with pytest.raises(BadValue, match="title is"):
            check_line("title", bad, required=True)


HEADS = {
    "2026-01-01-a": ("Small parlour", "77"),
    "2026-01-02-b": ("Parlour", "78"),
    "2026-01-03-c": ("Parlour in cherry", None),
    "2026-01-04-d": ("Jumbo", "9"),
}


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ("parlour", ["b"]),  # the whole title comes first
        ("78", ["b"]),  # or the whole serial number
        ("cherry", ["c"]),  # then a part of the title
        ("in cherry", ["c"]),
        ("parl", ["a", "b", "c"]),
        ("cherry parlour", ["c"]),  # then all words, in any order
        ("small 77", ["a"]),
        ("2026-01 jumbo", ["d"]),
        ("banjo", []),
    ],
)
def test_a_job_is_named_by_its_title_its_number_or_its_words(
    monkeypatch: pytest.MonkeyPatch, wanted: str, found: list[str]
) -> None:
    heads = {
        Path(name): SimpleNamespace(title=title, serial=serial, instrument=None, customer=None)
        for name, (title, serial) in HEADS.items()
    }
    monkeypatch.setattr(read, "_heads", lambda folders: {f: heads[f] for f in folders})
    assert [path.name[-1] for path in read._named(list(heads), wanted)] == found
