"""``pitchcheck demo`` from the outside: a made-up guitar, played, measured, and told the truth about."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import soundfile
from typer.testing import CliRunner

from pitchcheck.cli.app import app
from pitchcheck.simulate.scenario import HEIGHTS_MM, HIGH

GAP_PER_HEIGHT = 0.4856  # gap over fret 1 per slot height, held behind fret 3: from the fret table
TAKES = 16 * len(HEIGHTS_MM)  # takes of the full protocol


def _run(*words: str | Path) -> tuple[int, str, str]:
    done = CliRunner().invoke(app, ["demo", *map(str, words)])
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.stdout, done.stderr


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, str]:
    folder = tmp_path_factory.mktemp("demo")
    status, out, err = _run("--keep", folder / "kept", "--report", folder / "page.html")
    assert status == 0
    return folder, out, err


def test_it_names_the_two_high_slots_and_no_other(demo: tuple[Path, str, str]) -> None:
    out = demo[1]
    rows = {line.split()[0]: line for line in _truth_table(out)}
    assert {int(number) for number, line in rows.items() if "high" in line.lower()} == set(HIGH)
    assert set(rows) == {str(n) for n in HEIGHTS_MM}


def test_it_tells_a_story_and_the_truth(demo: tuple[Path, str, str]) -> None:
    out = " ".join(demo[1].split())
    assert "imaginary" in out
    assert "of 6 intervals" in out
    for number, height in HEIGHTS_MM.items():
        gap = f"{GAP_PER_HEIGHT * height:.2f}"
        assert any(line.startswith(str(number)) and gap in line.split()[8:] for line in _truth_table(demo[1]))


def test_the_report_is_one_page_that_asks_for_nothing(demo: tuple[Path, str, str]) -> None:
    page = (demo[0] / "page.html").read_text(encoding="utf-8")
    assert "<!DOCTYPE html>" in page
    assert "imaginary" in page
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert str(demo[0] / "page.html") in demo[2].replace("\n", "")


def test_the_folder_is_an_ordinary_session_with_the_truth_beside_it(demo: tuple[Path, str, str]) -> None:
    kept = demo[0] / "kept"
    truth = json.loads((kept / "truth.json").read_text(encoding="utf-8"))
    assert len(truth["takes"]) == TAKES
    assert len(list(kept.glob("*.flac"))) == TAKES
    assert len((kept / "takes.csv").read_text(encoding="utf-8").splitlines()) == TAKES + 1
    info = soundfile.info(kept / "001.flac")
    assert (info.samplerate, info.channels, info.format) == (48000, 1, "FLAC")
    assert {s["number"]: s["slot_height_mm"] for s in truth["instrument"]["strings"]} == HEIGHTS_MM


def test_it_leaves_what_is_not_its_own_alone(tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    page.write_text("my page", encoding="utf-8")
    status, _, err = _run("--report", page)
    assert status == 2
    assert "not a demo's report" in err
    assert page.read_text(encoding="utf-8") == "my page"

    kept = tmp_path / "kept"
    kept.mkdir()
    (kept / "001.flac").write_bytes(b"mine")
    status, _, err = _run("--report", tmp_path / "new.html", "--keep", kept)
    assert status == 2
    assert "left alone" in err
    assert (kept / "001.flac").read_bytes() == b"mine"
    assert not (tmp_path / "new.html").exists()


def _truth_table(out: str) -> list[str]:
    """Lines of the table that begin with a string's number; the truth stands in its last columns."""
    after = out.split("in truth", 1)[1]
    return [line for line in after.splitlines() if line[:1].isdigit()]
