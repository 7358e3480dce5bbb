"""Many session folders at once: the same answers as one by one, kept at once, gone on with after a cut."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from helpers.folders import FIXTURES
from pitchcheck.cli.app import app
from pitchcheck.workflow import many

INSTRUMENTS = FIXTURES / "instruments"
NAMES = ("003-bass", "004-tenor-ukulele")


@pytest.fixture
def place(tmp_path: Path) -> Path:
    for name in NAMES:
        shutil.copytree(INSTRUMENTS / name, tmp_path / "bench" / name)
    return tmp_path


def measure(*words: object) -> Result:
    return CliRunner().invoke(app, ["measure", *map(str, words), "--workers", "1"])


def test_a_folder_of_folders_gives_what_each_gives_alone(place: Path) -> None:
    together = measure(place / "bench", "--json")
    assert together.exit_code == 0
    rows = [json.loads(line) for line in together.stdout.splitlines()]
    assert {Path(row["folder"]).name for row in rows} == set(NAMES)
    for row in rows:
        alone = CliRunner().invoke(app, ["measure", row["folder"], "--json"])
        assert row["result"] == json.loads(alone.stdout)


def test_one_that_cannot_be_used_costs_none_of_the_others(place: Path) -> None:
    (place / "bench" / "broken").mkdir()
    (place / "bench" / "broken" / "session.toml").write_text("schema = 1\n[instrument]\nscale = 'long'\n")
    done = measure(place / "bench")
    assert done.exit_code == 0
    assert "2 of 3 folders measured" in done.stderr
    (line,) = [line for line in done.stdout.splitlines() if "broken" in line]
    assert "not measured: session.toml" in line


def test_it_goes_on_where_it_was_cut_off_and_measures_again_what_changed(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    results = place / "results.jsonl"
    measured: list[str] = []
    real = many.measured_line

    def noted(folder: Path) -> str:
        measured.append(folder.name)
        return real(folder)

    monkeypatch.setattr(many, "measured_line", noted)
    first = measure(place / "bench", "--results", results)
    assert measured == list(NAMES)
    whole = results.read_bytes()
    os.truncate(results, len(whole) - 40)  # as a killed run leaves it
    second = measure(place / "bench", "--results", results)
    assert measured[2:] == [NAMES[1]]
    assert (second.stdout, second.exit_code) == (first.stdout, 0)
    assert results.read_bytes() == whole
    settings = place / "bench" / NAMES[0] / "session.toml"
    os.utime(settings, ns=(settings.stat().st_mtime_ns + 10**9,) * 2)
    measure(place / "bench", "--results", results)
    assert measured[3:] == [NAMES[0]]


def test_what_is_no_list_of_results_is_left_alone(place: Path) -> None:
    other = place / "notes.txt"
    other.write_text("not mine\n")
    refused = measure(place / "bench", "--results", other)
    assert refused.exit_code == 2
    assert "left alone" in refused.stderr
    assert other.read_text() == "not mine\n"


def test_options_of_one_folder_are_refused_for_many(place: Path) -> None:
    refused = measure(*(place / "bench" / name for name in NAMES), "--report", place / "x.html")
    assert refused.exit_code == 64
    assert "--report belongs to one folder" in refused.stderr
    refused = measure(place / "bench" / NAMES[0])
    assert refused.exit_code == 64
    assert "--workers" in refused.stderr


@pytest.mark.slow
def test_two_processes_give_the_lines_of_one(place: Path) -> None:
    for name in ("000-electric", "001-acoustic"):
        shutil.copytree(INSTRUMENTS / name, place / "bench" / name)
    folders = many.session_folders([place / "bench"])
    one, two = ({kept.folder: kept.line for kept in many.measure_many(folders, workers=n)} for n in (1, 2))
    assert one == two
    assert len(one) == 4
