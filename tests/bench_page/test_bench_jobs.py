"""Jobs on the bench page and on the command line: what one writes, the other shows."""

from __future__ import annotations

import io
import re
import shutil
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from helpers.bench_page import TOKEN, Answer, ask, in_process, until, upload
from helpers.folders import FIXTURES
from helpers.jobs import contents, outer_strings, photo
from pitchcheck.bench.guard import UPLOAD_BYTES, Guard
from pitchcheck.bench.page_kit import Bench
from pitchcheck.cli.app import app as command_line
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.verify import verify_job

SOURCE = FIXTURES / "session-readings"


@pytest.fixture(scope="module")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Guard, Bench, str]]:
    """A bench and the address of a job that was begun on the page, with two passes sealed on it."""
    place = tmp_path_factory.mktemp("bench")
    with in_process(place / "root") as (app, bench):
        outer_strings(bench.root / "monday", SOURCE, last="6")
        outer_strings(bench.root / "tuesday", SOURCE, last="6")
        form = {"title": "Lamp room guitar", "customer": "The lamp keeper", "owner-words": "sharp"}
        made = ask(app, f"/{TOKEN}/jobs", method="POST", form=form)
        assert made.status == 303
        at = made.headers["location"]
        assert "no pass yet" in ask(app, at).text
        picture = ("photos", "nut before.PNG", photo(place).read_bytes())
        first = seal(app, "monday", at, [picture], remarks="Came in like this.")
        assert (first.status, first.headers.get("location")) == (303, f"{at}?sealed=1"), first.text
        second = seal(app, "tuesday", at, [], kind="final", removed_6="0.20", unit="mm", anyway="yes")
        assert (second.status, second.headers.get("location")) == (303, f"{at}?sealed=2"), second.text
        yield app, bench, at


def seal(app: Guard, name: str, at: str, files: list[tuple[str, str, bytes]], **fields: str) -> Answer:
    """Seal a session into a job."""
    job = at.rpartition("/")[2]
    return upload(app, f"/{TOKEN}/session/{name}/seal", files, **{"job": job, "unit": "mm"} | fields)


def run(bench: Bench, *words: str) -> str:
    """Return what the command line says, with the same jobs."""
    done = CliRunner().invoke(command_line, [*words, "--jobs", str(bench.places.jobs)])
    assert done.exit_code == 0, done.output
    return done.output


def folder_of(bench: Bench, at: str) -> Path:
    return bench.places.jobs / at.rpartition("/")[2]


def test_what_the_page_sealed_is_whole_and_the_command_line_shows_it(
    sealed: tuple[Guard, Bench, str],
) -> None:
    _, bench, at = sealed
    assert verify_job(folder_of(bench, at)).sound
    job = read_job(folder_of(bench, at))
    assert [one.name for one in job.passes] == ["before", "final"]
    assert [(r.string, r.amount_mm) for r in job.passes[1].removed] == [(6, pytest.approx(0.2))]
    assert [path.name for path in job.passes[0].photos]
    shown = run(bench, "job", "show", "lamp", "--all")
    assert "Came in like this." in shown
    assert "The lamp keeper" in shown


def test_the_page_of_a_job_shows_it_now_and_before_and_after(sealed: tuple[Guard, Bench, str]) -> None:
    app, bench, at = sealed
    before = contents(folder_of(bench, at))
    page = ask(app, at).text
    assert "Pass 2: final" in page
    assert "sharp" in page
    now = ask(app, f"{at}/now").text
    assert now.count("<svg") >= 4  # the nut twice, by width, and the slots that were heard
    assert "with the slots at target" in now  # chords
    change = ask(app, f"{at}/change?before=&after=").text
    assert "Pass 1 (before) against pass 2 (final)." in change
    assert "no change" in change  # the same recordings twice
    assert "0.20\u00a0mm: the sound says less" in change
    wrong = ask(app, f"{at}/change?before=final&after=before").text
    assert "does not come before" in wrong
    picture = ask(app, f"{at}/photo/0")
    assert picture.headers["content-type"] == "image/png"
    assert picture.body == read_job(folder_of(bench, at)).passes[0].photos[0].read_bytes()
    assert ask(app, f"{at}/photo/9").status == 404
    assert contents(folder_of(bench, at)) == before


@pytest.mark.slow
def test_reports_for_both_readers_and_without_names(sealed: tuple[Guard, Bench, str]) -> None:
    app, _, at = sealed
    for reader in ("tech", "player"):
        report = ask(app, f"{at}/report?for={reader}&without-sound=yes&workshop=The+lamp+room")
        assert report.status == 200, report.text
        assert "The lamp keeper" in report.text
        assert "The lamp room" in report.text
        assert "script-src" not in report.headers["content-security-policy"]
    assert "lamp keeper" not in ask(app, f"{at}/report?for=tech&without-names=yes&without-sound=yes").text
    assert ask(app, f"{at}/report?for=cat").status == 400


def test_the_same_recordings_again_or_another_instrument_wait_for_a_word(
    sealed: tuple[Guard, Bench, str],
) -> None:
    app, bench, at = sealed
    other = outer_strings(bench.root / "other", SOURCE, last="6")
    settings = (other / "session.toml").read_text(encoding="utf-8")
    (other / "session.toml").write_text(re.sub(r"scale = .*", 'scale = "648 mm"', settings), encoding="utf-8")
    before = contents(folder_of(bench, at))
    asked = seal(app, "other", at, [], remarks="a remark that stays")
    assert asked.status == 400
    assert "not the instrument of the pass before" in asked.text, asked.text[:900]
    assert "--changed" not in asked.text  # no word of a command line
    assert "a remark that stays" in asked.text
    assert contents(folder_of(bench, at)) == before
    assert seal(app, "other", "/x/no-such-job", []).status == 400
    assert seal(app, "other", at, [("photos", "x.exe", b"MZ")]).status == 400
    assert seal(app, "other", at, [], kind="never").status == 400
    assert contents(folder_of(bench, at)) == before


def test_notes_steps_gauge_and_a_pass_set_aside_go_both_ways(
    sealed: tuple[Guard, Bench, str], tmp_path: Path
) -> None:
    app, bench, at = sealed

    def post(path: str, **form: str) -> Answer:
        return ask(app, f"{at}/{path}", method="POST", form=form)

    assert post("note", words="Old nut is let in.").status == 303
    assert post("note", words="").status == 400
    picture = [("photo", "score.png", photo(tmp_path).read_bytes())]
    done = upload(app, f"{at}/step", picture, step="score", mark="done", note="by hand")
    assert done.headers["location"] == f"{at}#checklist"
    assert post("step", step="dance", mark="done").status == 400
    said = post("gauge", what="third", string="6", unit="in", passes="0.010", stops="0.012")
    assert said.status == 200
    assert "passes 0.010 in" in said.text
    assert post("gauge", what="third", string="9", unit="in", value="0.010").status == 400
    shown = run(bench, "job", "show", "lamp", "--all")
    for words in ("Old nut is let in.", "[x] 1 Finish scored", "by hand", "a leaf of 0.010 in passes"):
        assert words in shown
    run(bench, "job", "note", "lamp", "Said on the command line.")
    assert "Said on the command line." in ask(app, at).text
    assert post("set-aside", **{"pass": "2", "reason": ""}).status == 400
    third = outer_strings(bench.root / "third", SOURCE, last="6")
    assert third.is_dir()
    assert seal(app, "third", at, [], anyway="yes").status == 303
    assert post("set-aside", **{"pass": "3", "reason": "the wrong folder"}).status == 303
    assert "SET ASIDE" in run(bench, "job", "show", "lamp", "--all")
    assert verify_job(folder_of(bench, at)).sound


def test_an_earlier_fingerprint_is_found_and_leftovers_are_shown_and_stay(
    sealed: tuple[Guard, Bench, str],
) -> None:
    app, bench, at = sealed
    earlier = read_job(folder_of(bench, at)).fingerprint
    assert "as it is now" in ask(app, f"{at}/check?fingerprint={earlier}").text
    assert ask(app, f"{at}/note", method="POST", form={"words": "One more."}).status == 303
    assert "1 change ago" in ask(app, f"{at}/check?fingerprint={earlier}").text
    assert "not of this job" in ask(app, f"{at}/check?fingerprint=abc").text
    assert "Finish it" not in ask(app, at).text
    left = folder_of(bench, at) / "unfinished-0001" / "passes"
    left.mkdir(parents=True)
    (left / "take.wav").write_bytes(b"a take")
    assert "A write was cut short: unfinished-0001." in ask(app, at).text
    shown = ask(app, f"{at}/tidy", method="POST", form={})
    assert "unfinished-0001: 1 file" in shown.text
    assert (left / "take.wav").read_bytes() == b"a take"
    shutil.rmtree(left.parent)
    assert "Nothing was left over." in ask(app, f"{at}/tidy", method="POST", form={}).text


def test_the_next_pass_is_played_where_the_command_line_plays_it(sealed: tuple[Guard, Bench, str]) -> None:
    app, bench, at = sealed
    number = len(read_job(folder_of(bench, at)).passes) + 1
    form = {"removed-6": "0.1", "unit": "mm", "course": "quick"}
    begun = ask(app, f"{at}/again", method="POST", form=form)
    assert begun.status == 303, begun.text
    where = begun.headers["location"]
    folder = bench.places.sittings / f"{folder_of(bench, at).name}-{number:02d}"
    assert where == f"/{TOKEN}/session/~{folder.name}"
    assert folder.is_dir()
    assert bench.runner.name == f"~{folder.name}"
    page = ask(app, where).text
    assert f"job {folder_of(bench, at).name}" in page
    until(lambda: not bench.runner.busy)
    assert ask(app, f"{where}/filed", method="POST", form={"removed-6": "0.1", "unit": "mm"}).status == 400
    assert f'value="{folder_of(bench, at).name}" selected' in ask(app, f"{where}/seal").text
    again = ask(app, f"{at}/again", method="POST", form={"unit": "mm", "course": "quick"})
    assert again.headers["location"] == where  # a sitting that was begun goes on
    bench.runner.stop()


def test_a_job_goes_out_as_one_archive_and_comes_in_elsewhere(
    sealed: tuple[Guard, Bench, str], tmp_path: Path
) -> None:
    app, bench, at = sealed
    packed = ask(app, f"{at}/archive")
    assert packed.headers["content-type"] == "application/zip"
    assert zipfile.ZipFile(io.BytesIO(packed.body)).testzip() is None
    file = [("archive", "job.zip", packed.body)]
    there = upload(app, f"/{TOKEN}/import", file)
    assert there.status == 400
    assert "already" in there.text
    assert upload(app, f"/{TOKEN}/import", [("archive", "job.zip", b"no archive")]).status == 400
    with in_process(tmp_path / "root") as (elsewhere, other):
        came = upload(elsewhere, f"/{TOKEN}/import", file)
        assert came.status == 303, came.text
        assert contents(folder_of(other, at)) == contents(folder_of(bench, at))
        assert "every byte is as it was written" in ask(elsewhere, f"{at}/check").text


def test_nothing_of_a_job_is_changed_by_get_and_no_name_leads_out(sealed: tuple[Guard, Bench, str]) -> None:
    app, bench, at = sealed
    before = contents(folder_of(bench, at))
    for what in ("again", "note", "step", "set-aside", "gauge"):
        assert ask(app, f"{at}/{what}").status == 405
    for what in ("", "/check", "/archive", "/photo/0"):
        assert ask(app, f"{at}{what}").status == 200
    assert contents(folder_of(bench, at)) == before
    for name in ("..", "%2e%2e", "..%2fsessions", "/etc", "x" * 90, "a\\b"):
        assert ask(app, f"/{TOKEN}/job/{name}").status == 404
        assert ask(app, f"/{TOKEN}/session/~{name}").status == 404
    for path in (f"{at}/step", f"/{TOKEN}/import", f"/{TOKEN}/session/monday/seal"):
        length = {"content-length": str(UPLOAD_BYTES + 1)}
        assert ask(app, path, method="POST", body=b"x", headers=length).status == 413
        foreign = {"origin": "http://evil.example"}
        assert ask(app, path, method="POST", form={}, headers=foreign).status == 403
