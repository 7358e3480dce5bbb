"""What writes left behind: found in order, with what lies in it, and removed only where it was chosen."""

from __future__ import annotations

from pathlib import Path

from helpers.jobs import make_job
from pitchcheck.jobs.change import _units
from pitchcheck.jobs.leftovers import leftovers, remove_leftovers


def test_leftovers_come_in_order_with_their_files_and_sizes(tmp_path: Path) -> None:
    names = [f"unfinished-{n:04d}" for n in (7, 3, 11, 1, 9, 2, 12, 5)]
    for size, name in enumerate(names, 1):
        (tmp_path / name / "notes").mkdir(parents=True)
        for file in ("b.md", "a.md", "notes/c.md"):
            (tmp_path / name / file).write_bytes(b"x" * size)
    (tmp_path / "ready").mkdir()
    found = leftovers(tmp_path)
    assert [item.path.name for item in found] == sorted(names)
    assert {item.files for item in found} == {("a.md", "b.md", "notes/c.md")}
    assert [item.size_bytes for item in found] == [3 * (1 + names.index(name)) for name in sorted(names)]


def test_only_what_was_chosen_is_removed(tmp_path: Path) -> None:
    job = make_job(tmp_path).folder
    for name in ("unfinished-0001", "unfinished-0002"):
        (job / name).mkdir()
    first, second = leftovers(job)
    remove_leftovers(job, (first,))
    assert leftovers(job) == (second,)


def test_passes_are_moved_first_in_order_and_the_lists_of_sums_last(tmp_path: Path) -> None:
    names = [f"{n:02d}-after" for n in (7, 3, 11, 1, 9, 2, 12, 5)]
    for name in names:
        (tmp_path / "passes" / name / "sound").mkdir(parents=True)
        (tmp_path / "passes" / name / "sums.txt").touch()
    (tmp_path / "notes").mkdir()
    for name in ("sums.txt", "fingerprint.txt", "steps.toml", "notes/0002.md", "notes/0001.md"):
        (tmp_path / name).touch()
    assert _units(tmp_path) == [
        *(f"passes/{name}" for name in sorted(names)),
        "steps.toml",
        "notes/0001.md",
        "notes/0002.md",
        "sums.txt",
        "fingerprint.txt",
    ]
