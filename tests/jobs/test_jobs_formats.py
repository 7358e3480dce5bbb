"""Formats of stored jobs: every version that was ever written is read for ever, a later one is refused.

``fixtures/jobs/schema-1`` was written by the first version that knew jobs and is never made anew.
"""

from __future__ import annotations

import shutil
import tomllib
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from helpers.folders import FIXTURES
from helpers.jobs import FINGERPRINT_1, NOW, SCHEMA_1, contents, quick_source, sound
from pitchcheck.instrument import MeterQuantity, Removal
from pitchcheck.jobs.errors import JobDamaged, NewerFormat
from pitchcheck.jobs.formats import (
    MIGRATIONS,
    SCHEMA,
    lines_text,
    read_lines,
    read_record,
    read_table,
    record_text,
    with_before,
)
from pitchcheck.jobs.read import list_jobs, read_job
from pitchcheck.jobs.records import (
    STEPS,
    CopiedFrom,
    GaugeReading,
    JobHead,
    PassHead,
    PassKind,
    SetAside,
    StepDone,
)
from pitchcheck.jobs.write import add_note
from pitchcheck.units import length_mm
from pitchcheck.words.checklist import CHECKLIST
from pitchcheck.workflow.jobs.add_pass import add_pass
from pitchcheck.workflow.jobs.compared import measurement_of
from pitchcheck.workflow.jobs.result_file import read_result


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return Path(shutil.copytree(SCHEMA_1, tmp_path / SCHEMA_1.name))


def test_a_job_of_schema_1_is_read_whole() -> None:
    job = read_job(SCHEMA_1)
    assert job.faults == ()
    assert job.title == "Lamp room parlour guitar"
    assert job.instrument == "Electric guitar, 628 mm, six strings"
    assert job.customer == "The lamp keeper"
    assert job.owner_words == "Sharp at the first fret.\nFine from the fifth on."
    before, final = job.passes
    assert (before.number, before.kind, before.name, before.takes) == (1, PassKind.BEFORE, "before", 96)
    assert (final.number, final.kind, final.name, final.takes) == (2, PassKind.FINAL, "final", 96)
    assert final.removed == (Removal(6, 0.2), Removal(1, 0.1))
    assert final.remarks == "Filed twice, listened in between."
    assert before.when == datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
    assert before.made_with == "pitchcheck 0.1.0"
    assert [path.name for path in final.photos] == ["0001.png"]
    assert [(note.number, note.words) for note in job.notes] == [(1, "Old nut is let in.\nTake care.")]
    assert [(line.name, line.done, line.measured) for line in job.steps] == [
        ("score", True, None),
        ("thickness", True, "5.9 mm"),
        ("score", False, None),
    ]
    assert job.steps[0].photo is not None
    assert job.fingerprint == FINGERPRINT_1


def test_every_byte_of_a_job_of_schema_1_is_still_as_it_was_written() -> None:
    assert sound(SCHEMA_1).fingerprint == FINGERPRINT_1


def test_stored_results_of_schema_1_are_read_and_their_readings_measured() -> None:
    passes = read_job(SCHEMA_1).passes
    assert passes
    for stored in passes:
        result = read_result(stored.folder)
        assert [slot.number for slot in result.slots] == [1, 2, 3, 4, 5, 6]
        measured = measurement_of(stored)
        assert len(measured.takes) == 96
        assert all(string.height_mm is not None for string in measured.plan.strings)


def test_a_job_of_schema_1_is_written_on_and_stays_sound(job: Path, tmp_path: Path) -> None:
    before = contents(job)
    add_note(job, "years later", now=NOW)
    after = contents(job)
    replaced = {name for name in before if after[name] != before[name]}
    assert replaced == {"sums.txt", "fingerprint.txt"}
    sound(job)


def test_a_later_format_anywhere_is_refused_and_nothing_is_written(job: Path, tmp_path: Path) -> None:
    for name in ("job.toml", "steps.toml", "passes/02-final/pass.toml"):
        right = (job / name).read_text()
        (job / name).write_text(right.replace(f"schema = {SCHEMA}", f"schema = {SCHEMA + 1}"))
        before = contents(job)
        with pytest.raises(NewerFormat, match="Update the program; nothing was changed"):
            read_job(job)
        with pytest.raises(NewerFormat):
            add_note(job, "x", now=NOW)
        with pytest.raises(NewerFormat):
            add_pass(job, quick_source(tmp_path / "source"), now=NOW)
        assert contents(job) == before
        (job / name).write_text(right)
    (job / "job.toml").write_text("schema = 99\n")
    assert [bool(line.fault) for line in list_jobs(job.parent) if line.folder == job] == [True]


def test_an_older_table_is_brought_up_step_by_step_and_the_file_left_alone(tmp_path: Path) -> None:
    """Versions made up for this test: 0 called the title a name, 1 had no place, 2 has both."""

    def from_0(table: dict[str, Any]) -> dict[str, Any]:
        return {**{k: v for k, v in table.items() if k != "name"}, "title": table["name"], "schema": 1}

    def from_1(table: dict[str, Any]) -> dict[str, Any]:
        return {**table, "place": "not said", "schema": 2}

    made_up = {("job.toml", 0): from_0, ("job.toml", 1): from_1}
    path = tmp_path / "job.toml"
    path.write_text('schema = 0\nname = "Old"\n')
    assert read_table(path, now=2, migrations=made_up) == {"schema": 2, "title": "Old", "place": "not said"}
    assert path.read_text() == 'schema = 0\nname = "Old"\n'
    path.write_text('schema = 2\ntitle = "New"\nplace = "bench"\n')
    assert read_table(path, now=2, migrations=made_up)["place"] == "bench"
    with pytest.raises(NewerFormat):
        read_table(path, now=1, migrations=made_up)
    (tmp_path / "steps.toml").write_text("schema = 0\n")
    with pytest.raises(JobDamaged, match="never existed"):
        read_table(tmp_path / "steps.toml", now=2, migrations=made_up)


def test_every_schema_before_the_present_one_has_its_migration_and_its_fixture() -> None:
    for version in range(1, SCHEMA):
        assert [key for key in MIGRATIONS if key[1] == version]
    kept = {path.name for path in (FIXTURES / "jobs").iterdir() if path.is_dir()}
    assert kept == {f"schema-{version}" for version in range(1, SCHEMA + 1)}


@pytest.mark.parametrize(
    "text", ["", "schema = 1", 'schema = "1"', "schema = -1", "schema = true", "schema = 1\ntitle = 3", "{"]
)
def test_a_job_file_that_cannot_be_read_is_named(job: Path, text: str) -> None:
    (job / "job.toml").write_text(text)
    with pytest.raises(JobDamaged, match=r"job\.toml"):
        read_job(job)


def test_a_part_that_cannot_be_read_costs_only_itself(job: Path) -> None:
    (job / "passes/01-before/pass.toml").write_bytes(b"\xff\x00")
    (job / "notes/0001.md").write_text("no date")
    (job / "steps.toml").write_text("schema = 1\nstep = 3\n")
    kept = read_job(job)
    assert [stored.name for stored in kept.passes] == ["final"]
    assert (kept.notes, kept.steps) == ((), ())
    assert len(kept.faults) == 3
    assert all(any(name in words for words in kept.faults) for name in ("pass.toml", "0001.md", "steps.toml"))


def test_every_step_of_the_checklist_has_its_words() -> None:
    assert tuple(step.name for step in CHECKLIST) == STEPS


LINE = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=30)
WHEN = st.integers(0, 4_000_000_000).map(lambda seconds: datetime.fromtimestamp(seconds, UTC))
SOME_LINE = st.none() | LINE
REMOVED = st.builds(Removal, st.integers(1, 12), st.integers(0, 50_000).map(lambda tenths: tenths / 10_000))
RECORDS = st.one_of(
    st.builds(
        JobHead,
        title=LINE,
        instrument=SOME_LINE,
        serial=SOME_LINE,
        customer=SOME_LINE,
        owner_words=SOME_LINE,
        made=WHEN,
        copy=st.none() | st.builds(CopiedFrom, of=SOME_LINE, left_out=st.lists(LINE, max_size=3).map(tuple)),
    ),
    st.builds(
        PassHead,
        kind=st.sampled_from(PassKind),
        name=LINE,
        when=WHEN,
        takes=st.integers(0, 500),
        remarks=SOME_LINE,
        changed=SOME_LINE,
        made_with=LINE,
        removed=st.lists(REMOVED, max_size=3).map(tuple),
    ),
    st.builds(SetAside, number=st.integers(1, 99), when=WHEN, reason=LINE),
    st.builds(
        GaugeReading,
        when=WHEN,
        after_pass=st.integers(0, 99),
        what=st.sampled_from(MeterQuantity),
        string=st.none() | st.integers(1, 12),
        value=SOME_LINE,
        passes=SOME_LINE,
        stops=SOME_LINE,
    ),
)


@settings(deadline=None)
@given(record=RECORDS)
def test_every_record_is_read_back_as_it_was_written(record: object) -> None:
    with TemporaryDirectory() as place:
        path = Path(place) / "record.toml"
        path.write_text(record_text(record, path.name), encoding="utf-8")
        assert read_record(type(record), path) == record


@settings(deadline=None)
@given(
    steps=st.lists(
        st.builds(
            StepDone,
            name=LINE,
            when=WHEN,
            done=st.booleans(),
            note=SOME_LINE,
            measured=SOME_LINE,
            photo=SOME_LINE,
        ),
        max_size=4,
    )
)
def test_the_checklist_is_read_back_as_it_was_written(steps: list[StepDone]) -> None:
    with TemporaryDirectory() as place:
        path = Path(place) / "steps.toml"
        path.write_text(lines_text("step", steps, path.name), encoding="utf-8")
        assert read_lines(StepDone, "step", path) == tuple(steps)


@settings(deadline=None)
@given(
    before=st.lists(REMOVED, max_size=3, unique_by=lambda one: one.string),
    comment=LINE,
    tail=st.sampled_from(["", '[target] # kept\ntolerance = "0.10 mm"\n', '[[meter]]\nwhat = "relief"\n']),
)
def test_the_pass_before_goes_in_and_out_of_settings_that_else_stay(
    before: list[Removal], comment: str, tail: str
) -> None:
    text = f'# {comment}\nschema = 1\n[instrument]\nkind = "x" # {comment}\n{tail}'
    chained = with_before(text, "../01-before", removed=before)
    assert chained.startswith(text.rstrip())
    told = tomllib.loads(chained)["before"]
    assert told["folder"] == "../01-before"
    assert [(row["string"], length_mm(row["amount"])) for row in told.get("removed", [])] == [
        (one.string, pytest.approx(one.amount_mm)) for one in before
    ]
    assert tomllib.loads(with_before(chained, None)) == tomllib.loads(text)
    assert with_before(chained, "../01-before", removed=before).count("[before]") == 1
