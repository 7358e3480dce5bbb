"""Every byte of a job is covered: whatever is changed, taken away, added or exchanged is named."""

from __future__ import annotations

import random
import shutil
import subprocess
from pathlib import Path

import pytest

from helpers.jobs import NOW, contents, full_job, sound
from helpers.system import needs
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.sums import FINGERPRINT, SUMS, sum_of_file
from pitchcheck.jobs.verify import find_fingerprint, verify_job
from pitchcheck.jobs.write import add_note

FLIPS = 200


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return full_job(tmp_path_factory.mktemp("whole")).folder


@pytest.fixture
def job(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / made.name))


def test_a_job_as_written_is_sound_and_every_file_is_compared(made: Path) -> None:
    checked = sound(made)
    assert checked.files == len(contents(made))
    assert checked.fingerprint == sum_of_file(made / SUMS)
    assert (checked.cut_short, checked.unfinished) == ((), ())


def test_one_flipped_byte_anywhere_is_found_and_named(made: Path) -> None:
    rng = random.Random(11)
    files = sorted(contents(made))
    kinds = {name.split("/")[0] for name in files}
    assert kinds == {
        *("job.toml", "steps.toml", SUMS, FINGERPRINT),
        *("history", "notes", "passes", "photos"),
    }
    found = 0
    for number in range(FLIPS):
        name = files[number % len(files)] if number < len(files) else rng.choice(files)
        path = made / name
        right = path.read_bytes()
        place = rng.randrange(len(right))
        wrong = bytes([right[place] ^ rng.randrange(1, 256)])
        path.write_bytes(right[:place] + wrong + right[place + 1 :])
        checked = verify_job(made)
        path.write_bytes(right)
        assert checked.changed == (name,), (name, place, checked)  # this one, and no other
        found += not checked.sound
    assert found == FLIPS
    sound(made)


def test_a_changed_take_alone_is_named(job: Path) -> None:
    name = "passes/01-before/003.flac"
    (job / name).write_bytes((job / name).read_bytes() + b"x")
    checked = verify_job(job)
    assert (checked.changed, checked.missing, checked.new, checked.broken) == ((name,), (), (), ())


def test_missing_and_new_files_are_named(job: Path) -> None:
    (job / "passes/01-before/004.flac").unlink()
    (job / "notes/0001.md").unlink()
    (job / "notes/0009.md").write_text("# 2026-01-01T00:00:00+00:00\n\nnever said\n")
    shutil.copytree(job / "passes/02-final", job / "passes/03-final")
    checked = verify_job(job)
    assert checked.changed == ()
    assert checked.missing == ("notes/0001.md", "passes/01-before/004.flac")
    assert "notes/0009.md" in checked.new
    assert {name for name in checked.new if name.startswith("passes/")} == {
        f"passes/03-final/{path.name}" for path in (job / "passes/02-final").iterdir()
    }


def test_a_link_in_place_of_a_file_is_a_change(job: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere.md"
    shutil.move(job / "notes/0001.md", elsewhere)
    (job / "notes/0001.md").symlink_to(elsewhere)
    assert verify_job(job).changed == ("notes/0001.md",)


def test_a_take_changed_with_its_own_list_breaks_the_chain(job: Path) -> None:
    """A forger who makes the sums of one pass anew is seen by the pass after it and by the job's list."""
    take, own = job / "passes/01-before/003.flac", job / "passes/01-before" / SUMS
    old = sum_of_file(take)
    take.write_bytes(b"another sound")
    own.write_text(own.read_text().replace(old, sum_of_file(take)))
    checked = verify_job(job)
    assert checked.changed == (f"passes/01-before/{SUMS}",)
    assert any("passes/02-final" in words for words in checked.broken)


def test_a_later_note_does_not_make_a_changed_take_right(job: Path) -> None:
    name = "passes/01-before/003.flac"
    (job / name).write_bytes(b"another sound")
    add_note(job, "nothing to see", now=NOW)
    assert verify_job(job).changed == (name,)


def test_nothing_is_added_to_a_job_whose_list_was_altered(job: Path) -> None:
    text = (job / SUMS).read_text()
    (job / SUMS).write_text("".join(text.splitlines(keepends=True)[1:]))
    before = contents(job)
    with pytest.raises(JobDamaged, match="job verify"):
        add_note(job, "on what?", now=NOW)
    assert contents(job) == before
    checked = verify_job(job)
    assert FINGERPRINT in checked.changed  # all that is still listed agrees: one of the two, and
    assert "history/0005.txt" in checked.new  # what is no longer listed


def test_the_history_holds_every_earlier_fingerprint(job: Path) -> None:
    early = sum_of_file(job / SUMS)
    add_note(job, "one", now=NOW)
    add_note(job, "two", now=NOW)
    now = verify_job(job).fingerprint
    assert now is not None
    assert find_fingerprint(job, now) == 0
    assert find_fingerprint(job, early.upper()) == 2
    assert find_fingerprint(job, "0" * 64) is None
    (job / "history/0002.txt").unlink()
    checked = verify_job(job)
    assert checked.missing == ("history/0002.txt",)
    assert any("history/0002.txt" in words for words in checked.broken)


def test_without_its_lists_everything_is_named(job: Path) -> None:
    (job / SUMS).unlink()
    (job / FINGERPRINT).unlink()
    checked = verify_job(job)
    assert set(checked.missing) == {SUMS, FINGERPRINT}
    assert set(checked.new) == set(contents(job))


def test_the_lists_are_what_sha256sum_reads(made: Path) -> None:
    """An independent program agrees, the chain line included (GNU coreutils)."""
    program = needs("sha256sum")
    for folder, name in [
        (made, SUMS),
        (made, FINGERPRINT),
        *((p, SUMS) for p in (made / "passes").iterdir()),
    ]:
        done = subprocess.run(
            [program, "--check", "--strict", name], cwd=folder, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stdout + done.stderr
    chained = (made / "passes/02-final" / SUMS).read_text().splitlines()[0]
    assert chained == f"{sum_of_file(made / 'passes/01-before' / SUMS)}  ../01-before/{SUMS}"


def test_a_fingerprint_that_is_no_file_is_changed_and_not_missing(job: Path) -> None:
    (job / FINGERPRINT).unlink()
    (job / FINGERPRINT).mkdir()
    checked = verify_job(job)
    assert (FINGERPRINT in checked.changed, FINGERPRINT in checked.missing) == (True, False)


def test_the_first_pass_hangs_on_nothing(job: Path) -> None:
    """A line that lets it hang on a later one is named, though the sum in it is right."""
    own, later = job / "passes/01-before" / SUMS, job / "passes/02-final" / SUMS
    own.write_text(f"{sum_of_file(later)}  ../02-final/{SUMS}\n" + own.read_text())
    broken = verify_job(job).broken
    assert any("01-before/sums.txt does not hang on nothing but on" in words for words in broken)
    assert not any(
        "no longer the one it names" in words and "01-before/sums.txt hangs" in words for words in broken
    )


def test_a_pass_whose_chain_is_cut_is_named(job: Path) -> None:
    own = job / "passes/02-final" / SUMS
    own.write_text("".join(line for line in own.read_text().splitlines(keepends=True) if "../" not in line))
    assert any("02-final/sums.txt does not hang on 01-before" in words for words in verify_job(job).broken)
