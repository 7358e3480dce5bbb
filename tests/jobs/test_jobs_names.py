"""Names of every kind: jobs get folders that every system can hold, and texts come back as typed."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from helpers.jobs import NOW, make_job, quick_source, sound
from pitchcheck.errors import BadInput, BadValue
from pitchcheck.jobs.errors import NoSuchJob
from pitchcheck.jobs.formats import note_text, toml_text
from pitchcheck.jobs.names import RESERVED, check_words, file_fault, is_id, job_id
from pitchcheck.jobs.passes import files_to_copy
from pitchcheck.jobs.read import find_job, list_jobs, read_job
from pitchcheck.jobs.write import add_note, new_job

WORDS = st.text(max_size=300)
FEW = settings(max_examples=40, deadline=None)  # each writes to the disk
MANY = settings(deadline=None)


@MANY
@given(title=WORDS, again=st.integers(1, 999))
@example(title="../../etc", again=1)
@example(title="CON", again=1)
@example(title="nul.wav", again=1)
@example(title="Ω≈ç√ 竹", again=2)
@example(title="a" * 5000, again=7)
def test_an_id_is_a_plain_folder_name_on_every_system(title: str, again: int) -> None:
    name = job_id(title, made=NOW, again=again)
    assert is_id(name)
    assert len(name) <= 60
    assert name.startswith("2026-03-04-")
    assert name.split("-")[0] not in RESERVED
    assert file_fault(name) is None


@FEW
@given(title=WORDS, customer=WORDS, words=WORDS)
@example(title="a/b\\c", customer='quote " and \\', words="tab\tand\nline\r\nand end ")
@example(title="\x7f", customer="x", words="y")
@example(title="竹\U0001f3b8", customer="\u202e", words='"""')
@example(title="CON", customer="nul", words="'''")
def test_a_job_of_any_name_is_made_and_read_back_or_refused(title: str, customer: str, words: str) -> None:
    with TemporaryDirectory() as place:
        jobs = Path(place) / "jobs"
        try:
            made = new_job(jobs, title=title, now=NOW, customer=customer, owner_words=words)
        except BadValue:
            assert list_jobs(jobs) == ()
            return
        assert made.folder.parent == jobs
        assert made.title == " ".join(title.split())
        assert (made.customer or "") == " ".join(customer.split())
        assert made.owner_words == check_words("words", words)
        add_note(made.folder, f"about {made.title}", now=NOW)
        assert read_job(made.folder).notes[0].words == f"about {made.title}"
        assert find_job(jobs, made.id) == made.folder
        sound(made.folder)


LEAF = st.one_of(
    st.text(max_size=30),
    st.booleans(),
    st.integers(-(2**62), 2**62),
    st.floats(allow_nan=False, allow_infinity=False),
    st.integers(0, 4_000_000_000).map(lambda seconds: datetime.fromtimestamp(seconds, UTC)),
)
TABLE = st.recursive(
    st.dictionaries(st.text(max_size=12), st.one_of(LEAF, st.lists(LEAF, max_size=3)), max_size=4),
    lambda inner: st.dictionaries(
        st.text(max_size=12), st.one_of(LEAF, inner, st.lists(inner, min_size=1, max_size=3)), max_size=4
    ),
    max_leaves=8,
)


@MANY
@given(table=TABLE)
def test_what_is_written_as_toml_is_read_back(table: dict[str, object]) -> None:
    """The reader is Python's own, an independent implementation."""
    assert tomllib.loads(toml_text(table)) == table


@MANY
@given(words=WORDS)
def test_a_note_is_read_back_as_typed(words: str) -> None:
    try:
        kept = check_words("note", words)
    except BadValue:
        return
    if kept is not None:
        head, _, rest = note_text(NOW, kept).partition("\n\n")
        assert head == "# 2026-03-04T09:30:00+00:00"
        assert rest == kept + "\n"
        assert check_words("note", kept) == kept


@pytest.mark.parametrize("name", ["..", "../secret", "", " ", ".", "a/b", "\x00", "x" * 400, "*"])
def test_no_name_leads_out_of_the_jobs(tmp_path: Path, name: str) -> None:
    make_job(tmp_path / "jobs" / "inner")
    make_job(tmp_path / "jobs")
    with pytest.raises(NoSuchJob):
        find_job(tmp_path / "jobs" / "inner", name + "\x00")
    with pytest.raises(NoSuchJob):
        find_job(tmp_path / "jobs", name)


def test_a_part_of_a_name_is_enough_if_it_fits_one_job(tmp_path: Path) -> None:
    first, second = make_job(tmp_path, title="Red lamp"), make_job(tmp_path, title="Blue lamp")
    assert find_job(tmp_path, "red") == first.folder
    assert find_job(tmp_path, second.id.upper()) == second.folder
    with pytest.raises(NoSuchJob, match="fits 2 jobs"):
        find_job(tmp_path, "lamp")
    assert [line.folder for line in list_jobs(tmp_path)] == [second.folder, first.folder]
    assert find_job(tmp_path, "1") == second.folder  # as they are numbered in the list
    assert find_job(tmp_path, "2") == first.folder
    both = new_job(tmp_path, title="Both", serial="2", now=NOW, owner_words="x").folder
    assert find_job(tmp_path, "2") == both  # the second in the list is the one of that serial number
    new_job(tmp_path, title="Zither", serial="1", now=NOW, owner_words="x")
    with pytest.raises(NoSuchJob, match="fits 2 jobs"):  # the first in the list, and the one of that number
        find_job(tmp_path, "1")
    named = make_job(tmp_path, title="Märchen: the Queen's own")
    assert find_job(tmp_path, "the queen's  own") == named.folder  # by words of a title that no id holds
    assert find_job(tmp_path, "Märchen") == named.folder


@pytest.mark.parametrize(
    "name", ["aux.wav", "COM1", "what?.wav", "a" * 130 + ".wav", "trailing. ", "back\\slash.wav", "end."]
)
def test_a_sound_that_not_every_system_can_hold_is_refused_by_name(tmp_path: Path, name: str) -> None:
    source = quick_source(tmp_path / "source")
    (source / name).write_bytes(b"x")
    with pytest.raises(BadInput, match="Rename it"):
        files_to_copy(source, job=tmp_path / "job")


def test_names_that_differ_in_capitals_only_are_refused(tmp_path: Path) -> None:
    """Such a pass could be exported and never imported, nor copied to every system."""
    source = quick_source(tmp_path / "source", extra=1)
    (source / "ASIDE-00.wav").write_bytes(b"another take")
    if len(list(source.glob("*.wav"))) < 2:
        pytest.skip("this file system keeps no such names")
    with pytest.raises(BadInput, match="capital letters only"):
        files_to_copy(source, job=tmp_path / "job")


def test_links_out_of_the_folder_are_refused_and_links_within_are_copied(tmp_path: Path) -> None:
    source = quick_source(tmp_path / "source", extra=1)
    (source / "again.wav").symlink_to(source / "aside-00.wav")
    assert "again.wav" in files_to_copy(source, job=tmp_path / "job")
    (source / "out.wav").symlink_to(tmp_path / "elsewhere.wav")
    with pytest.raises(BadInput, match="link"):
        files_to_copy(source, job=tmp_path / "job")


def test_a_job_cannot_swallow_itself(tmp_path: Path) -> None:
    job = make_job(tmp_path)
    for source in (job.folder, tmp_path):
        with pytest.raises(BadInput, match="the job itself"):
            files_to_copy(source, job=job.folder)


@pytest.mark.parametrize(
    ("words", "says"),
    [("a\x07b", r"unprintable '\\x07'"), ("x" * 4001, "has 4001 characters")],
)
def test_words_that_cannot_be_kept_are_refused_with_the_reason(words: str, says: str) -> None:
    with pytest.raises(BadValue, match=says):
        check_words("note", words)


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("a/../b.wav", "leads out"),
        ("./b.wav", "leads out"),
        ("a//b.wav", "leads out"),
        ("a/b.wav", None),
        ("x" * 121, "longer than 120"),
        ("x" * 120, None),
        ("a./b", "not every system"),
        (" a", "not every system"),
        ("a:b", "not every system"),
        ("lpt1.wav", "reserved"),
        ("LPT1 .wav", "reserved"),
        ("lpt.wav", None),
        ("a/" * 99 + "abc", "too long"),  # 201 bytes
        ("a/" * 99 + "ab", None),
    ],
)
def test_what_a_file_in_a_job_may_be_called(name: str, fault: str | None) -> None:
    # Windows, "Naming Files, Paths, and Namespaces"; 120 and 200 bytes are our choice, below every system's.
    found = file_fault(name)
    assert (found is None) if fault is None else (found is not None and fault in found)
