"""``pitchcheck new``: what it writes can be measured, printed, and is never written over."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pitchcheck.cli.app import app
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.errors import BadInput, BadValue
from pitchcheck.session.folder import read_session
from pitchcheck.session.presets import find_preset, presets
from pitchcheck.words import cautions
from pitchcheck.workflow import new_folder

MM = 1e-3  # gauges are written with four digits of an inch: 0.0001 in = 0.0025 mm; presets have three


class Text(HTMLParser):
    """Gathers the words of a page and whatever it would fetch."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.fetched: list[str] = []
        self.open_tags: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.fetched += [value or "" for name, value in attrs if name in {"src", "href"}]
        if tag != "meta":
            self.open_tags.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open_tags.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)


@pytest.mark.parametrize("preset", presets(), ids=lambda preset: preset.name)
def test_what_is_written_reads_back_as_the_preset(tmp_path: Path, preset) -> None:
    new_folder(tmp_path / "a", kind=preset.name, scale_mm=500.0)
    session = read_session(tmp_path / "a")
    assert session.problems == ()
    assert session.notices == ()
    assert session.settings.instrument.scale_mm == 500.0
    for read, meant in zip(session.settings.instrument.strings, preset.strings, strict=True):
        assert (read.number, read.note, read.material, read.wound) == (
            meant.number,
            meant.note,
            meant.material,
            meant.wound,
        )
        assert read.gauge_mm == pytest.approx(meant.gauge_mm, abs=MM)
    numbers = [spec.number for spec in preset.strings]
    meant_takes = survey_positions(numbers, thoroughness=Thoroughness.BASE)
    assert tuple(take.position for take in session.takes) == meant_takes


def test_the_sheet_is_one_page_of_its_own_with_every_take_and_caution(tmp_path: Path) -> None:
    new_folder(tmp_path, kind="electric")
    page = Text((tmp_path / "takesheet.html").read_text(encoding="utf-8"))
    text = "\n".join(page.words).replace("\u00a0", " ")
    assert page.open_tags == []
    assert page.fetched == []
    assert [f"{take:03d}" in page.words for take in range(1, 31)] == [True] * 30
    assert "031" not in page.words
    for caution in (*cautions.PRESSING, *cautions.EYES, *cautions.FIRST):
        assert caution in text


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    new_folder(tmp_path, kind="bass")
    kept = (tmp_path / "session.toml").read_text(encoding="utf-8")
    with pytest.raises(BadInput, match="already there"):
        new_folder(tmp_path, kind="electric")
    assert (tmp_path / "session.toml").read_text(encoding="utf-8") == kept
    (tmp_path / "session.toml").unlink()
    with pytest.raises(BadInput, match="already there"):
        new_folder(tmp_path, kind="electric")
    assert not (tmp_path / "session.toml").exists()


def test_names_of_kinds_are_forgiving_and_unknown_ones_are_listed(tmp_path: Path) -> None:
    assert find_preset("Tenor_Ukulele") is find_preset("tenor ukulele")
    assert find_preset("lute") is None
    with pytest.raises(BadValue, match="mandolin"):
        new_folder(tmp_path / "a", kind="lute")
    with pytest.raises(BadValue, match="150 to 1300"):
        new_folder(tmp_path / "a", kind="bass", scale_mm=34.0)
    assert not (tmp_path / "a").exists()


def test_the_command_says_what_it_wrote_and_what_is_next(tmp_path: Path) -> None:
    folder = tmp_path / "bench"
    done = CliRunner().invoke(app, ["new", str(folder), "--kind", "mandolin", "--scale", "13.875 in"])
    assert done.exit_code == 0
    assert "takesheet.html" in done.stdout
    assert "pitchcheck measure" in done.stdout
    again = CliRunner().invoke(app, ["new", str(folder), "--kind", "mandolin"])
    assert again.exit_code == 2
    assert "already there" in again.stderr
    unit = CliRunner().invoke(app, ["new", str(tmp_path / "b"), "--kind", "bass", "--scale", "864"])
    assert unit.exit_code == 2
    assert "unit" in unit.stderr
