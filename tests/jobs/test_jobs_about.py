"""What stands beside the sound: gauge readings, photos, serial number, the intake page, a signature."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from helpers.folders import FIXTURES, make_folder
from helpers.jobs import NOW, OPENS, contents, make_job, outer_strings, sound
from pitchcheck.cli.app import app
from pitchcheck.instrument import MeterQuantity
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.write import new_job
from pitchcheck.workflow.jobs.add_pass import add_pass
from pitchcheck.workflow.jobs.compared import sound_job
from pitchcheck.workflow.jobs.report import Extras, Reader, gauge_readings, intake_report

PNG = bytes.fromhex(  # one black pixel (PNG specification, third edition, chunks IHDR, IDAT, IEND)
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de"
    "0000000c4944415408d763606060000000040001f61738550000000049454e44ae426082"
)


def run(*words: str | Path, status: int = 0) -> str:
    done = CliRunner().invoke(app, list(map(str, words)))
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert done.exit_code == status, done.stdout + done.stderr
    return done.stdout + done.stderr


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with one pass, a photo, a serial number and two gauge readings."""
    place = tmp_path_factory.mktemp("about")
    made = new_job(
        place / "jobs",
        title="Intake of the lamp room",
        now=NOW,
        instrument="Small parlour",
        serial="LR-0417",
        customer="The lamp keeper",
    ).folder
    (place / "nut.png").write_bytes(PNG)
    source = outer_strings(place / "source", FIXTURES / "session-readings", last="6")
    text = (source / "session.toml").read_text()
    (source / "session.toml").write_text(text + '\n[[meter]]\nwhat = "relief"\nvalue = "0.2 mm"\n')
    add_pass(made, source, now=NOW, photos=[place / "nut.png"], workers=1)
    run("gauge", made, "third", "6", "passes", "0.010", "in", "stops", "0.012", "in")
    return made


def test_a_gauge_reading_of_a_job_is_kept_and_stands_beside_the_sound(job: Path) -> None:
    (kept,) = read_job(job).gauge
    assert (kept.what, kept.string, kept.passes, kept.stops) == (
        MeterQuantity.CLEARANCE_THIRD, 6, "0.010 in", "0.012 in",
    )  # fmt: skip
    assert kept.after_pass == 1
    told, gauged = gauge_readings(read_job(job))
    assert (told.what, told.value, told.heard_mm) == (MeterQuantity.RELIEF, "0.20 mm", None)
    assert gauged.heard_mm is not None
    assert gauged.heard_mm[1] < gauged.heard_mm[0] < gauged.heard_mm[2]
    out = run("job", "show", job, "--all")
    assert "a leaf of 0.010 in passes, a leaf of 0.012 in stops" in " ".join(out.split())
    sound(job)


@pytest.mark.parametrize(
    "reading", [["third", "6"], ["third", "9", "0.3", "mm"], ["weight", "3", "mm"], ["third", "0.3", "mm"]]
)
def test_a_reading_that_cannot_be_is_refused(job: Path, reading: list[str]) -> None:
    before = contents(job)
    run("gauge", job, *reading, status=2)
    assert contents(job) == before


def test_a_reading_into_a_session_folder_enters_its_settings(tmp_path: Path) -> None:
    folder = make_folder(tmp_path / "bench", readings=OPENS)
    before = (folder / "session.toml").read_text()
    run("gauge", folder, "third", "1", "0.25", "mm")
    text = (folder / "session.toml").read_text()
    assert text.startswith(before)
    assert tomllib.loads(text)["meter"] == [{"what": "clearance_third", "string": 1, "value": "0.25 mm"}]
    empty = make_job(tmp_path / "jobs").folder
    assert "no pass yet" in run("gauge", empty, "third", "1", "0.25", "mm", status=2)


@pytest.mark.parametrize("reader", list(Reader))
def test_a_job_with_one_pass_has_an_intake_page(job: Path, reader: Reader) -> None:
    extras = Extras(workshop="The lamp room workshop", signature=True)
    page = intake_report(sound_job(job), now=NOW, reader=reader, extras=extras).replace("\u00a0", " ")
    for words in (
        *("Intake: Intake of the lamp room", "Small parlour", "LR-0417", "The lamp keeper"),
        *("What to do", "The lamp room workshop", "Date and signature"),
        *("a leaf of 0.010 in passes", "By sound"),
    ):
        assert words in page
    assert len(re.findall(r'<img src="data:image/png;base64,', page)) == 1
    assert not re.search(r'(src|href)="(?!data:|#)', page)  # nothing from elsewhere


def test_an_intake_page_without_names_has_none(job: Path) -> None:
    page = intake_report(sound_job(job), now=NOW, names=False)
    for words in ("lamp room", "LR-0417", "lamp keeper", "Small parlour", "<img"):
        assert words not in page


def test_the_report_command_writes_the_page_that_fits_the_job(job: Path, tmp_path: Path) -> None:
    run("job", "report", job, "--to", tmp_path / "intake.html", "--signature", "--workshop", "Lamp room")
    assert "Date and signature" in (tmp_path / "intake.html").read_text(encoding="utf-8")
    empty = make_job(tmp_path / "jobs").folder
    assert "nothing to report" in run("job", "report", empty, "--to", tmp_path / "none.html", status=2)


def test_a_copy_without_names_says_what_it_still_holds_and_refuses_the_serial_number(
    job: Path, tmp_path: Path
) -> None:
    said = run("job", "export", job, "--to", tmp_path / "a.zip", "--without-names")
    assert "Still in it, besides the days: Small parlour" in said
    named = ("--without-names", "--title", "guitar lr-0417")
    said = run("job", "export", job, "--to", tmp_path / "b.zip", *named, status=2)
    assert "holds the serial number" in said
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.zip"]
    assert b"LR-0417" not in (tmp_path / "a.zip").read_bytes()
