"""Names and places within a job's folder: what is one and what is none, and in which order."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from pitchcheck.jobs.layout import (
    VARIABLE,
    jobs_place,
    numbered,
    parse_pass_folder,
    pass_file,
    pass_folder,
    pass_folders,
    pass_name,
    pass_of,
    plain_file,
)


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("01-before", (1, "before")),
        ("12-after", (12, "after")),
        ("0123-final", (123, "final")),
        ("1-before", None),
        ("01234-before", None),
        ("01-Before", None),
        ("01-middle", None),
        ("x01-before", None),
        ("01-before ", None),
    ],
)
def test_folders_of_passes_by_their_names(name: str, found: tuple[int, str] | None) -> None:
    assert parse_pass_folder(name) == found


def test_a_passs_folder_reads_back() -> None:
    assert pass_folder(7, "after") == "07-after"
    assert parse_pass_folder(pass_folder(112, "final")) == (112, "final")


def test_passes_come_in_the_order_of_their_numbers_and_nothing_else_is_one(tmp_path: Path) -> None:
    place = tmp_path / "passes"
    assert pass_folders(tmp_path) == []
    place.mkdir()
    # made in an order that no listing keeps by chance: by name 100 comes before 09
    names = ["100-after", "09-after", "10-final", "02-after", "01-before", "notes", "03-middle", "11-after"]
    for name in names:
        (place / name).mkdir()
    (place / "04-after").symlink_to(place / "01-before")
    expected = ["01-before", "02-after", "09-after", "10-final", "11-after", "100-after"]
    assert [p.name for p in pass_folders(tmp_path)] == expected
    moved = tmp_path / "moved"
    place.rename(moved)
    place.symlink_to(moved)
    assert pass_folders(tmp_path) == []


def test_files_of_passes() -> None:
    assert pass_file("01-before", "takes.csv") == "passes/01-before/takes.csv"
    assert pass_of("passes/01-before/a/b.wav") == ("01-before", "a/b.wav")
    for name in ("passes/01-before", "notes/0001.txt", "job.toml", "Passes/01-before/x"):
        assert pass_of(name) is None


def test_names_of_passes() -> None:
    assert [pass_name("after", n) for n in (1, 2)] == ["after pass 1", "after pass 2"]
    assert [pass_name("final", n) for n in (1, 2)] == ["final", "final 2"]


def test_the_next_number_is_one_more_than_the_greatest(tmp_path: Path) -> None:
    place = tmp_path / "notes"
    assert numbered(place) == "0001"
    place.mkdir()
    assert numbered(place) == "0001"
    for name in ("0002.txt", "0009-x.txt", "readme.txt", "12x", "unfinished-0040"):
        (place / name).touch()
    assert numbered(place) == "0013"
    assert numbered(place, "unfinished-") == "0041"


def test_a_file_of_a_job_is_no_link_and_no_folder(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "file").write_text("x")
    (tmp_path / "linked").symlink_to(tmp_path / "a" / "file")
    (tmp_path / "way").symlink_to(tmp_path / "a")
    assert plain_file(tmp_path, "a/file") == tmp_path.resolve() / "a" / "file"
    for name in ("a", "linked", "way/file", "missing", "a/../a/file", "x\0y"):
        assert plain_file(tmp_path, name) is None


def test_jobs_are_where_they_were_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv(VARIABLE, str(tmp_path))
    assert jobs_place() == tmp_path
    assert jobs_place(Path("here")) == Path("here")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    for said in ("", None):
        if said is None:
            monkeypatch.delenv(VARIABLE)
        else:
            monkeypatch.setenv(VARIABLE, said)
        assert jobs_place().parts[-2:] == ("pitchcheck", "jobs")
    assert os.environ.get(VARIABLE) is None
