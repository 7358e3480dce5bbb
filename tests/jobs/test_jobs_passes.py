"""A session folder becomes a sealed pass: what is copied, measured, chained and read back."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from helpers.folders import FIXTURES, SETTINGS, make_folder
from helpers.jobs import BOTH_HIGH, NOW, OPENS, contents, make_job, outer_strings, quick_source, sound
from pitchcheck.errors import BadInput, BadValue, NothingMeasured
from pitchcheck.instrument import Removal
from pitchcheck.jobs.change import changing
from pitchcheck.jobs.errors import ConfirmFirst, JobDamaged
from pitchcheck.jobs.formats import with_before
from pitchcheck.jobs.read import list_jobs, read_job
from pitchcheck.jobs.records import Job, PassKind
from pitchcheck.jobs.write import set_pass_aside
from pitchcheck.report.json_out import measurement_json
from pitchcheck.session.folder import read_session
from pitchcheck.workflow.jobs.add_pass import add_pass, parse_kind, parse_removed
from pitchcheck.workflow.jobs.compared import measurement_of
from pitchcheck.workflow.jobs.result_file import read_result
from pitchcheck.workflow.measure import measure_folder
from pitchcheck.workflow.outer_strings import outer_cut

SOURCE = FIXTURES / "session-readings"
OFF = (Removal(6, 0.2), Removal(1, 0.1))
BEFORE_ELSEWHERE = '\n[before]\nfolder = "../elsewhere"\n[[before.removed]]\nstring = 1\namount = "0.10 mm"\n'


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """Return a job of two measured passes."""
    made = make_job(tmp_path_factory.mktemp("jobs"))
    add_pass(made.folder, SOURCE, now=NOW, workers=1)
    add_pass(
        made.folder,
        SOURCE,
        now=NOW,
        removed=OFF,
        kind=PassKind.FINAL,
        remarks="filed",
        anyway=True,
        workers=1,
    )
    return read_job(made.folder)


def stored_json(folder: Path) -> dict[str, Any]:
    content: dict[str, Any] = json.loads((folder / "measurement.json").read_text())
    return content


def test_a_pass_reads_back_as_it_was_added(job: Job) -> None:
    before, final = job.passes
    assert (before.number, before.kind, before.name, before.takes) == (1, PassKind.BEFORE, "before", 96)
    assert (final.number, final.kind, final.name) == (2, PassKind.FINAL, "final")
    assert (before.removed, final.removed, final.remarks) == ((), OFF, "filed")
    assert before.when == NOW
    assert (before.folder / "readings.csv").read_bytes() == (SOURCE / "readings.csv").read_bytes()
    sound(job.folder)


def test_a_pass_is_a_session_folder_that_measures_the_same_again(job: Job) -> None:
    final = job.passes[1]  # it reads the pass before, too
    fresh = json.loads(measurement_json(measure_folder(final.folder)))
    kept = stored_json(final.folder)
    assert {key: kept[key] for key in fresh} == fresh
    assert fresh["errors"] == []


def test_stored_readings_alone_give_the_same_measurement(job: Job) -> None:
    again = json.loads(measurement_json(measurement_of(job.passes[1], before=job.passes[:1])))
    kept = stored_json(job.passes[1].folder)
    assert {key: kept[key] for key in again} == again


def test_the_fit_learns_from_the_pass_before_and_the_removal(job: Job) -> None:
    session = read_session(job.passes[1].folder)
    assert session.before == job.passes[0].folder
    assert session.settings.removed == OFF
    first, second = (read_result(stored.folder) for stored in job.passes)
    assert [slot.height_mm for slot in first.slots] != [slot.height_mm for slot in second.slots]


def test_the_result_is_read_without_measuring(job: Job) -> None:
    result = read_result(job.passes[0].folder)
    content = stored_json(job.passes[0].folder)
    assert [slot.number for slot in result.slots] == [1, 2, 3, 4, 5, 6]
    assert result.slots[0].height_mm == content["strings"][0]["slot_height_mm"]["median"]
    (broken := job.folder.parent / "broken").mkdir()
    (broken / "measurement.json").write_text("{}")
    with pytest.raises(JobDamaged):
        read_result(broken)


def test_everything_in_the_folder_comes_along_but_what_the_job_writes(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs").folder
    source = quick_source(tmp_path / "source", extra=2)
    (source / "undone").mkdir()
    (source / "undone" / "007.wav").write_bytes(b"set aside")
    for name in ("sums.txt", ".hidden", "measurement.json", "pass.toml"):
        (source / name).write_text("foreign")
    before = contents(source)
    stored = add_pass(job, source, now=NOW, anyway=True, workers=1).stored
    kept = contents(stored.folder)
    assert contents(source) == before
    assert kept["undone/007.wav"] == b"set aside"
    assert kept["aside-01.wav"] == before["aside-01.wav"]
    assert ".hidden" not in kept
    assert b"foreign" not in kept["sums.txt"] + kept["measurement.json"] + kept["pass.toml"]
    again = add_pass(
        job, stored.folder, now=NOW, anyway=True, workers=1
    ).stored  # a pass is a session folder too
    assert contents(again.folder)["undone/007.wav"] == b"set aside"
    sound(job)


def test_takes_that_were_filed_before_are_told(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs").folder
    source = quick_source(tmp_path / "source", extra=2)
    assert add_pass(job, source, now=NOW, anyway=True, workers=1).notices == ()
    (again,) = add_pass(job, source, now=NOW, anyway=True, workers=1).notices
    assert (
        "3 of its files are, byte for byte, takes of pass 1 (before)" in again
    )  # readings.csv and two sounds
    fresh = make_folder(tmp_path / "fresh", readings=OPENS + "1,open,,0,329.7\n")
    assert add_pass(job, fresh, now=NOW, workers=1).notices == ()


def test_a_pass_in_which_nothing_could_be_measured_is_kept(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs").folder
    added = add_pass(job, quick_source(tmp_path / "source"), now=NOW, workers=1)
    assert all(string.height_mm is None for string in added.measurement.plan.strings)
    assert read_job(job).passes == (added.stored,)
    assert measurement_of(added.stored).fit is None


def test_settings_that_cannot_be_used_add_nothing(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs").folder
    source = make_folder(tmp_path / "source", settings="schema = 1\n", readings=OPENS)
    before = contents(job)
    with pytest.raises(NothingMeasured):
        add_pass(job, source, now=NOW)
    with pytest.raises(BadValue, match="first pass"):
        add_pass(job, quick_source(tmp_path / "good"), now=NOW, removed=[Removal(1, 0.1)])
    assert contents(job) == before


@pytest.mark.parametrize(
    ("removed", "words"),
    [
        ([Removal(3, 0.1)], "not one of this instrument's strings"),
        ([Removal(1, 0.1), Removal(1, 0.2)], "twice"),
        ([Removal(1, -0.1)], "0 to 5 mm"),
        ([Removal(1, 9.0)], "0 to 5 mm"),
    ],
)
def test_a_removal_that_cannot_be_is_refused(tmp_path: Path, removed: list[Removal], words: str) -> None:
    job = make_job(tmp_path / "jobs").folder
    source = quick_source(tmp_path / "source")
    add_pass(job, source, now=NOW, anyway=True, workers=1)
    before = contents(job)
    with pytest.raises(BadValue, match=words):
        add_pass(job, source, now=NOW, removed=removed, anyway=True, workers=1)
    assert contents(job) == before


def test_a_removal_in_the_settings_counts_and_its_folder_is_put_right(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs").folder
    source = make_folder(tmp_path / "source", settings=SETTINGS + BEFORE_ELSEWHERE, readings=OPENS)
    first = add_pass(job, source, now=NOW, anyway=True, workers=1)
    assert any("outside the job" in words for words in first.notices)
    assert read_session(first.stored.folder).before is None
    second = add_pass(job, source, now=NOW, anyway=True, workers=1)
    assert second.stored.removed == (Removal(1, 0.1),)
    assert read_session(second.stored.folder).before == first.stored.folder


def test_before_is_taken_out_with_everything_else_left_as_written() -> None:
    text = "# mine\n" + SETTINGS + BEFORE_ELSEWHERE + '[target] # kept\ntolerance = "0.10 mm"\n'
    bare = with_before(text, None)
    assert "before" not in bare
    assert bare == "# mine\n" + SETTINGS + '\n[target] # kept\ntolerance = "0.10 mm"\n'
    assert with_before(bare, None) == bare
    assert with_before(bare, "../01-before", removed=OFF).endswith('string = 1\namount = "0.1 mm"\n')
    assert with_before('before = {folder = "x"}\nschema = 1\n', None) == "schema = 1\n"
    with pytest.raises(BadInput, match="not valid TOML"):
        with_before("schema = 1\n[before", None)


def test_removals_and_kinds_are_read_from_words() -> None:
    assert parse_removed(" 12 = 10 thou") == Removal(12, 0.254)
    for text in ("6", "=0.2 mm", "x=0.2 mm", "6=0.2", "6=", "-1=0.2 mm"):
        with pytest.raises(BadValue):
            parse_removed(text)
    assert (parse_kind(None), parse_kind(" Final ")) == (None, PassKind.FINAL)
    with pytest.raises(BadValue, match="before, after, final"):
        parse_kind("last")


def test_no_take_is_ever_overwritten(job: Job) -> None:
    before = contents(job.folder)
    with pytest.raises(JobDamaged, match="ever overwritten"), changing(job.folder) as change:
        change.write("passes/01-before/readings.csv", b"other")
    assert contents(job.folder) == before


def test_two_outer_strings_alone_tell_the_cut_at_the_bottom(tmp_path: Path) -> None:
    """By the plan's definitions: each end below the 2.5th percentile of its excess."""
    measured = measure_folder(outer_strings(tmp_path / "outer", BOTH_HIGH, last="4"), workers=1)
    strings = measured.plan.strings
    cut = outer_cut(measured)
    assert cut is not None
    for end_mm, string in ((cut.treble_mm, strings[0]), (cut.bass_mm, strings[-1])):
        assert string.excess_mm is not None
        assert 0 < end_mm <= string.excess_mm.quantile(0.025)
        assert end_mm / 0.05 == pytest.approx(round(end_mm / 0.05))
    whole = replace(cut, outer_only=False)
    assert outer_cut(replace(measured, plan=replace(measured.plan, nut_bottom=whole))) is None
    assert outer_cut(replace(measured, plan=replace(measured.plan, nut_bottom=None))) is None


def test_a_job_folder_that_was_moved_still_reads_and_checks(job: Job, tmp_path: Path) -> None:
    moved = Path(shutil.copytree(job.folder, tmp_path / "elsewhere"))
    assert [stored.name for stored in read_job(moved).passes] == ["before", "final"]
    assert read_session(moved / "passes/02-final").before == moved / "passes/01-before"
    sound(moved)


def test_another_instrument_is_asked_about_before_anything_is_sealed(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs").folder
    add_pass(job, make_folder(tmp_path / "a", settings=SETTINGS, readings=OPENS), now=NOW, workers=1)
    before = contents(job)
    fresh = OPENS + "1,open,,0,329.7\n"
    for old, new, words in (
        ('scale = "628 mm"', 'scale = "648 mm"', "the scale was 628 mm and is 648 mm"),
        ('gauge = "0.010 in"', 'gauge = "0.011 in"', "string 1 was E4, 0.25 mm"),
    ):
        assert old in SETTINGS
        other = make_folder(tmp_path / new[:5], settings=SETTINGS.replace(old, new), readings=fresh)
        with pytest.raises(ConfirmFirst, match=words):
            add_pass(job, other, now=NOW, workers=1)
        assert contents(job) == before
    stored = add_pass(job, other, now=NOW, changed="new strings", workers=1).stored
    assert stored.changed == "new strings"
    assert read_session(stored.folder).before is None  # the passes before are of other strings
    assert read_job(job).passes[-1] == stored
    sound(job)


def test_the_same_recordings_are_asked_about_and_some_of_them_are_told(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs").folder
    source = quick_source(tmp_path / "source", extra=2)
    add_pass(job, source, now=NOW, workers=1)
    before = contents(job)
    with pytest.raises(ConfirmFirst, match="Every recording"):
        add_pass(job, source, now=NOW, workers=1)
    assert contents(job) == before
    (source / "aside-00.wav").write_bytes(b"new")
    (words,) = add_pass(job, source, now=NOW, workers=1).notices
    assert "2 of its files are, byte for byte, takes of pass 1" in words


def test_a_pass_that_was_set_aside_stays_and_does_not_count(tmp_path: Path) -> None:
    job = make_job(tmp_path / "jobs").folder
    source = quick_source(tmp_path / "source")
    for _ in range(2):
        add_pass(job, source, now=NOW, anyway=True, workers=1)
    before = contents(job)
    set_pass_aside(job, "after pass 1", reason="the wrong folder", now=NOW)
    kept = read_job(job)
    assert [stored.number for stored in kept.passes] == [1, 2]
    assert [stored.number for stored in kept.counted] == [1]
    after = contents(job)
    assert {name: after[name] for name in before if name not in ("sums.txt", "fingerprint.txt")} == {
        name: content for name, content in before.items() if name not in ("sums.txt", "fingerprint.txt")
    }
    (line,) = list_jobs(job.parent)
    assert (line.passes, line.last) == (1, "before")
    with pytest.raises(BadValue, match="set aside already"):
        set_pass_aside(job, "2", reason="again", now=NOW)
    with pytest.raises(BadValue, match="no pass is called"):
        set_pass_aside(job, "7", reason="x", now=NOW)
    third = add_pass(job, source, now=NOW, anyway=True, workers=1).stored
    assert (third.number, third.name) == (3, "after pass 2")
    assert read_session(third.folder).before == read_job(job).passes[0].folder.resolve()
    sound(job)
