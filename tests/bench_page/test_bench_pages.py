"""What the pages of the bench do, asked without a browser: sessions, gauge, the next pass, corrections."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from bench.measure_bench import hours
from helpers.bench_page import TOKEN, ask, in_process, until
from helpers.listen import course, in_a_row, new_folder, notes
from pitchcheck.bench.guard import Guard
from pitchcheck.bench.hub import Hub
from pitchcheck.bench.new_session import own_settings
from pitchcheck.bench.page_kit import Bench
from pitchcheck.bench.runner import ChosenInput, Stage, tells_more
from pitchcheck.errors import BadValue
from pitchcheck.instrument import Aim, Fretwork, MeterQuantity
from pitchcheck.session.folder import read_session
from pitchcheck.session.settings import parse_settings, read_settings
from pitchcheck.takes import Position, Stop
from pitchcheck.units import LengthUnit

STRINGS = (2,)
AT = f"/{TOKEN}/session/one"


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Guard, Bench]]:
    """A bench in which one string was played, quick, and measured."""
    root = tmp_path_factory.mktemp("bench")
    with in_process(root, in_a_row(notes(STRINGS))) as (app, bench):
        new_folder(root / "one")
        form = {"name": "two", "kind": "electric", "course": "quick", "only": "2"}
        form |= {"aim": "new nut", "level-frets": "yes"}
        assert ask(app, f"/{TOKEN}/sessions", method="POST", form=form).status == 303
        until(lambda: bench.runner.stage is Stage.ENDED and bench.runner.nut)
        yield app, bench


def test_a_session_by_sound_alone_keeps_every_take_and_shows_the_nut(played: tuple[Guard, Bench]) -> None:
    app, bench = played
    rows = read_session(bench.root / "two").takes
    assert [row.position for row in rows] == list(course(STRINGS))
    settings = read_settings(bench.root / "two").settings
    assert settings.target.aim is Aim.NEW_NUT
    assert settings.instrument.fretwork is Fretwork.LEVEL
    assert bench.hub.part("stage")["stage"] == "ended"
    until(lambda: ask(app, f"/{TOKEN}/session/two/nut").text.count("<figure>") == 2)
    nut = ask(app, f"/{TOKEN}/session/two/nut").text
    assert nut.count("<figure>") == 2  # the nut, and the one slot that was heard
    assert "<svg" in nut
    report = ask(app, f"/{TOKEN}/session/two/report")
    assert report.status == 200
    assert "script-src" not in report.headers["content-security-policy"]
    assert "default-src 'none'" in report.headers["content-security-policy"]


def test_the_start_page_lists_sessions_with_what_is_in_them(played: tuple[Guard, Bench]) -> None:
    app, _ = played
    page = ask(app, f"/{TOKEN}/").text
    assert "6 of " in page  # and what the measurement asks for next
    assert "/session/one" in page


@pytest.mark.parametrize(
    ("form", "what", "value_mm", "passes_mm"),
    [
        ({"what": "third", "string": "6", "unit": "mm", "value": "0.25"}, "clearance_third", 0.25, None),
        ({"what": "third", "string": "6", "unit": "in", "value": "0.010"}, "clearance_third", 0.254, None),
        (
            {"what": "open", "string": "1", "unit": "thou", "passes": "12", "stops": "14"},
            "clearance_open",
            0.3302,
            0.3048,
        ),
        ({"what": "relief", "string": "", "unit": "mm", "value": "0.2"}, "relief", 0.2, None),
    ],
)
def test_a_gauge_or_leaf_reading_is_written_down(
    played: tuple[Guard, Bench], form: dict[str, str], what: str, value_mm: float, passes_mm: float | None
) -> None:
    app, bench = played
    answer = ask(app, f"{AT}/gauge", method="POST", form=form)
    assert answer.status == 200, answer.text
    last = read_settings(bench.root / "one").settings.meter[-1]
    assert last.what is MeterQuantity(what)
    assert last.value_mm == pytest.approx(value_mm)
    assert last.passes_mm == (None if passes_mm is None else pytest.approx(passes_mm))


@pytest.mark.parametrize(
    "form",
    [
        {},
        {"what": "third", "unit": "mm", "string": "6"},
        {"what": "third", "unit": "furlong", "string": "6", "value": "1"},
        {"what": "third", "unit": "mm", "string": "9", "value": "0.2"},
        {"what": "third", "unit": "mm", "string": "6", "value": "200"},
        {"what": "third", "unit": "mm", "string": "6", "value": '0.2 mm"\nx = "'},
        {"what": "third", "unit": "mm", "string": "6", "passes": "0.4", "stops": "0.3"},
    ],
)
def test_a_reading_that_cannot_be_is_refused_and_leaves_the_settings(
    played: tuple[Guard, Bench], form: dict[str, str]
) -> None:
    app, bench = played
    before = (bench.root / "one" / "session.toml").read_bytes()
    answer = ask(app, f"{AT}/gauge", method="POST", form=form)
    assert answer.status == 400
    assert len(answer.text) > 20
    assert (bench.root / "one" / "session.toml").read_bytes() == before


def test_what_was_removed_begins_the_next_pass_with_the_strings_named(played: tuple[Guard, Bench]) -> None:
    app, bench = played
    form = {"removed-2": "0.10", "unit": "mm"}
    answer = ask(app, f"/{TOKEN}/session/two/filed", method="POST", form=form)
    assert answer.status == 303
    assert answer.headers["location"].endswith("/session/two-2")
    until(lambda: not bench.runner.busy)
    session = read_session(bench.root / "two-2")
    assert session.before is not None
    assert session.before.resolve() == (bench.root / "two").resolve()
    assert [(r.string, r.amount_mm) for r in session.settings.removed] == [(2, pytest.approx(0.10))]
    assert {row.position.string for row in session.takes} <= {2}
    nothing = ask(app, f"/{TOKEN}/session/two/filed", method="POST", form={"unit": "mm"})
    assert nothing.status == 400


def test_takes_are_corrected_by_hand_and_the_list_as_it_was_is_kept(played: tuple[Guard, Bench]) -> None:
    app, bench = played
    folder = bench.root / "two"
    page = ask(app, f"/{TOKEN}/session/two/takes").text
    assert page.count('type="checkbox"') == 6
    form = {f"use-{n}": "yes" for n in range(1, 6)}
    for row in read_session(folder).takes:
        form |= {f"string-{row.row}": "2", f"stop-{row.row}": row.position.stop.value}
        form |= {f"fret-{row.row}": str(row.position.fret or "")}
    form["fret-2"] = "3"
    before = (folder / "takes.csv").read_bytes()
    bad = ask(app, f"/{TOKEN}/session/two/takes", method="POST", form={**form, "string-2": "9"})
    assert bad.status == 400
    assert (folder / "takes.csv").read_bytes() == before
    assert ask(app, f"/{TOKEN}/session/two/takes", method="POST", form=form).status == 303
    rows = read_session(folder).takes
    assert [row.position for row in rows][1] == Position(2, Stop.FRET, 3)
    assert len(rows) == 5
    assert (folder / "set-aside" / "takes.csv").read_bytes() == before
    (folder / "takes.csv").write_bytes(before)


def test_an_instrument_is_described_string_by_string() -> None:
    text = own_settings(
        "octave mandola", scale_mm=500.0, strings=["E4 0.011 plain steel", "", "A3 0.40 mm nylon"]
    )
    strings = parse_settings(text, name="session.toml").settings.instrument.strings
    assert [(s.number, s.note, round(s.gauge_mm, 3)) for s in strings] == [(1, "E4", 0.279), (2, "A3", 0.4)]
    for lines, scale in ((["E4 0.011"], 500.0), (["E4 0.011 plain steel"], None)):
        with pytest.raises(BadValue):
            own_settings("x", scale_mm=scale, strings=lines)


def test_another_tuning_is_begun_with_and_a_string_that_is_not_there_makes_nothing(tmp_path: Path) -> None:
    with in_process(tmp_path / "root") as (app, bench):
        form = {"name": "low", "kind": "electric", "tuning": "D A D G A D", "only": "7"}
        refused = ask(app, f"/{TOKEN}/sessions", method="POST", form=form)
        assert refused.status == 400
        assert "1, 2, 3, 4, 5, 6" in refused.text
        assert not (bench.root / "low").exists()
        assert ask(app, f"/{TOKEN}/sessions", method="POST", form=form | {"only": "6"}).status == 303
        strings = read_settings(bench.root / "low").settings.instrument.strings
        assert [spec.note for spec in strings] == ["D4", "A3", "G3", "D3", "A2", "D2"]
        bench.runner.stop()
        own = form | {"name": "own", "strings": "E4 0.010 plain steel", "scale": "648 mm", "only": ""}
        assert ask(app, f"/{TOKEN}/sessions", method="POST", form=own).status == 400


def test_lengths_are_shown_in_the_unit_that_the_scale_was_given_in(tmp_path: Path) -> None:
    with in_process(tmp_path / "root") as (app, bench):
        for scale, unit in (("25.5 in", LengthUnit.THOU), ("648 mm", LengthUnit.MM), ("", LengthUnit.MM)):
            form = {"name": f"of {unit} {len(scale)}", "kind": "electric", "scale": scale}
            assert ask(app, f"/{TOKEN}/sessions", method="POST", form=form).status == 303
            bench.runner.stop()
            settings = read_settings(bench.root / form["name"]).settings
            assert settings.unit is unit
            assert settings.instrument.scale_mm == pytest.approx(648.0, abs=0.5)
        assert (
            ask(app, f"/{TOKEN}/sessions", method="POST", form=form | {"name": "x", "scale": "3"}).status
            == 400
        )


def test_a_channel_of_the_input_is_chosen_and_no_word_passes_for_one(tmp_path: Path) -> None:
    with in_process(tmp_path / "root") as (app, bench):
        form = {"input": "3", "channel": "2"}
        assert ask(app, f"/{TOKEN}/input", method="POST", form=form).status == 303
        assert bench.runner.input == ChosenInput("3", 2)
        for channel in ("0", "two", "-1", "1000", "9" * 4500):
            assert ask(app, f"/{TOKEN}/input", method="POST", form=form | {"channel": channel}).status == 400
        assert bench.runner.input == ChosenInput("3", 2)


def test_every_course_is_told_with_what_it_is_and_how_long_it_takes(tmp_path: Path) -> None:
    with in_process(tmp_path / "root") as (app, _):
        page = ask(app, f"/{TOKEN}/").text
    for line in (
        "5 notes a string, about 6 minutes",
        "6 notes",
        "16 notes",
        "34 notes a string, about 41 min",
    ):
        assert line in page


def test_a_second_session_waits_until_the_first_is_ended(tmp_path: Path) -> None:
    with in_process(tmp_path, np.tile(in_a_row(notes(STRINGS)), 20)) as (app, bench):
        new_folder(tmp_path / "one")
        new_folder(tmp_path / "two")
        assert ask(app, f"{AT}/open", method="POST", form={}).status == 303
        assert ask(app, f"{AT}/press", method="POST", form={"key": "pause"}).status == 200
        assert ask(app, f"{AT}/press", method="POST", form={"key": "format"}).status == 404
        if bench.runner.busy:
            assert ask(app, f"/{TOKEN}/session/two/open", method="POST", form={}).status == 409
        assert ask(app, f"{AT}/stop", method="POST", form={}).status == 303
        assert not bench.runner.busy
        assert not (tmp_path / "one" / "listen.lock").exists()
        assert bench.runner.stage in (Stage.STOPPED, Stage.ENDED)


def test_the_nut_is_measured_when_a_bracket_closes_and_after_every_leaf() -> None:
    opened, press, leaf = Position(1, Stop.OPEN), Position(1, Stop.PRESS, 1), Position(1, Stop.LEAF, 1)
    for taken, more in (
        ((), False),
        ((opened,), False),
        ((opened, press), False),
        ((opened, press, opened), True),
        ((opened, press, opened, leaf), True),  # leaves after the first need no open take around them
    ):
        assert tells_more(taken) is more


def test_a_slow_tab_gets_the_latest_and_no_queue() -> None:
    import asyncio

    async def look() -> list[tuple[str, object]]:
        hub, seen = Hub(), []
        hub.publish(live=0)
        news = hub.news()
        first = await anext(news)
        assert first is not None
        seen.append(first)
        for number in range(1, 1000):
            hub.publish(live=number, stage="on")
        for _ in range(2):
            found = await anext(news)
            assert found is not None
            seen.append(found)
        await news.aclose()
        return seen

    assert asyncio.run(look()) == [("live", 0), ("live", 999), ("stage", "on")]


@pytest.mark.slow
def test_listening_does_not_grow() -> None:
    """Three minutes of a wrong note: `measure_bench hours` for hours; here only what grows with every note.

    48 notes are heard; a note that stayed would be 2.2 s of float64 at 48 kHz, 0.85 MB.
    """
    seen = hours(0.05, looks=6)
    assert seen[-1] - seen[1] < 0.25 * 32 * 0.85  # MB, of the 32 notes after the second look


def test_a_session_of_which_nothing_was_played_offers_nothing_that_needs_takes(tmp_path: Path) -> None:
    with in_process(tmp_path / "root") as (app, bench):
        new_folder(bench.root / "one")
        page = ask(app, AT).text
        assert "nothing was played" in page
        for words in ("The whole report", "Seal it into a job", "Filed: hear it again"):
            assert words not in page
        assert "There is no take yet." in ask(app, f"{AT}/takes").text
        (bench.root / "one" / "readings.csv").write_text("string,stop,fret,capo,hz\n2,open,,0,246.9\n")
        assert "Seal it into a job" in ask(app, AT).text
