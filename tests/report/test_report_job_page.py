"""The job report as HTML: valid, self-contained, true to the comparison; JSON and CSV with it."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from functools import cache
from itertools import pairwise
from xml.etree.ElementTree import Element

import html5lib
import pytest

from helpers.imports import ROOT
from helpers.job import (
    FINGERPRINT,
    NOTHING_DONE,
    ODD,
    TWELVE,
    TWO_LOWERED,
    UNHEARD,
    comparison,
    full_about,
    story,
)
from pitchcheck.chords import chord_table
from pitchcheck.report.chord_words import chords_summary
from pitchcheck.report.comparison_files import CSV_HEADS, comparison_csv, comparison_json
from pitchcheck.report.comparison_sheet import HEADS, comparison_sheet
from pitchcheck.report.job.about import About
from pitchcheck.report.job.view import JobReportInput
from pitchcheck.report.render import render_job
from pitchcheck.units import LengthUnit
from pitchcheck.words import cautions, numbers

STORIES: dict[str, JobReportInput] = {
    "lowered": story(TWO_LOWERED),
    "nothing": story(NOTHING_DONE),
    "odd": story(ODD),
    "unheard": story(UNHEARD),
    "twelve": story(TWELVE, long=True),
    "bare": replace(
        story(TWO_LOWERED),
        about=About(),
        notes=(),
        done=(),
        fingerprint=None,
        made=None,
        snippets=(),
    ),
}
LARGEST_BYTES = 3_000_000


@cache
def page(name: str, reader: str) -> str:
    return render_job(STORIES[name], reader=reader)


@cache
def tree(name: str, reader: str) -> Element:
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    return parser.parse(page(name, reader))


def text_of(element: Element) -> str:
    return " ".join("".join(element.itertext()).split())


def local(element: Element) -> str:
    return str(element.tag).split("}")[-1]


@pytest.fixture(params=STORIES)
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(params=["tech", "player"])
def reader(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_it_is_valid_html(name: str, reader: str) -> None:
    assert tree(name, reader).find("head/title") is not None


def test_nothing_is_asked_of_the_network(name: str, reader: str) -> None:
    source = page(name, reader).replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"https?:|//\w+\.\w+|@import|<link|<script|<iframe|<img", source)
    assert re.findall(r'\bsrc="(?!data:audio/flac;base64,)', source) == []
    assert re.findall(r"url\((?!#)", source) == []


def test_ids_are_single_and_references_have_their_target(name: str, reader: str) -> None:
    ids = [e.attrib["id"] for e in tree(name, reader).iter() if "id" in e.attrib]
    assert len(ids) == len(set(ids))
    wanted = set(re.findall(r"url\(#([^)]+)\)", page(name, reader)))
    for element in tree(name, reader).iter():
        wanted |= set(element.attrib.get("aria-labelledby", "").split())
    assert wanted <= set(ids)


def test_headings_do_not_skip_a_level(name: str, reader: str) -> None:
    levels = [int(local(e)[1]) for e in tree(name, reader).iter() if re.fullmatch("h[1-6]", local(e))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_tables_have_captions_and_scoped_heads(name: str, reader: str) -> None:
    tables = [e for e in tree(name, reader).iter() if local(e) == "table"]
    assert tables or (name, reader) == ("unheard", "player")  # nothing to tell a player in figures
    for table in tables:
        assert text_of(next(e for e in table.iter() if local(e) == "caption"))
        assert all(e.attrib.get("scope") in ("col", "row") for e in table.iter() if local(e) == "th")
        assert len({len(list(row)) for row in table.iter() if local(row) == "tr"}) == 1


def test_it_says_where_its_accuracy_comes_from_and_what_to_watch(name: str, reader: str) -> None:
    body = text_of(tree(name, reader))
    for sentence in (cautions.ACCURACY[0], *cautions.AFTER):
        assert sentence in body


def test_every_number_of_the_table_is_the_comparison_s() -> None:
    body = text_of(tree("lowered", "tech"))
    for slot in STORIES["lowered"].comparison.strings:
        assert slot.before_mm is not None
        assert slot.after_mm is not None
        assert numbers.length(slot.before_mm.median, unit=LengthUnit.MM) in body
        assert numbers.length(slot.after_mm.median, unit=LengthUnit.MM) in body
        assert numbers.interval(slot.after_mm) in body


def test_sounds_are_inside_named_and_warned_about() -> None:
    sounds = [e for e in tree("lowered", "player").iter() if local(e) == "audio"]
    assert len(sounds) == 6
    labels = {e.attrib["aria-label"] for e in sounds}
    assert "String 1 (E4), before" in labels
    assert len(labels) == 6
    assert all("controls" in e.attrib and "autoplay" not in e.attrib for e in sounds)
    assert cautions.SOUND[0] in text_of(tree("lowered", "player"))
    assert "audio" not in {local(e) for e in tree("bare", "player").iter()}


def test_the_fingerprint_is_whole_and_says_what_it_proves() -> None:
    body = text_of(tree("lowered", "player"))
    assert FINGERPRINT in body.replace(" ", "")
    assert all(sentence in body for sentence in cautions.PROOF)
    assert "Fingerprint" not in text_of(tree("bare", "player"))


def test_the_player_is_spared_the_bench() -> None:
    tech, player = (text_of(tree("lowered", who)) for who in ("tech", "player"))
    for words in ("Bench note", "Press 1", "Each slot from the side"):
        assert words in tech
        assert words not in player


def test_a_bare_job_names_nobody() -> None:
    for who in ("tech", "player"):
        body = text_of(tree("bare", who))
        assert "A. Player" not in body
        assert "Sour first chords." not in text_of(tree("bare", "player")).split("What was done")[0]
        assert "Brought by" not in body


def test_what_is_too_low_comes_first() -> None:
    body = text_of(tree("odd", "player"))
    assert body.index("String 1: now too low") < body.index("How true the notes are")
    assert "Do not file it further" in body


def test_words_of_a_user_are_never_html() -> None:
    source = render_job(
        replace(STORIES["lowered"], about=About(owner="<b>x</b>"), title="a & b"), reader="player"
    )
    assert "<b>x</b>" not in source
    assert "&lt;b&gt;x&lt;/b&gt;" in source


def test_json_holds_every_string_and_take() -> None:
    found = comparison_json(comparison(ODD), instrument=STORIES["odd"].after.settings.instrument)
    content = json.loads(found)
    assert content["schema"] == 1
    assert [s["number"] for s in content["strings"]] == [1, 2, 3, 4, 5, 6]
    first = content["strings"][0]
    assert (first["change"], first["match"], first["verdict_now"]) == ("lower", "more", "low")
    assert first["change_mm"]["median"] == pytest.approx(-0.36)
    assert first["change_mm"]["low"] < first["change_mm"]["median"] < first["change_mm"]["high"]
    assert [t["stop"] for t in first["takes"]] == ["fret", "press"]
    assert content["strings"][4]["change_mm"] == {"median": None, "low": None, "high": None}
    assert {c["name"] for c in content["chords"]} > {"C", "G", "E"}


def test_csv_has_a_row_for_every_place() -> None:
    rows = list(csv.reader(io.StringIO(comparison_csv(comparison(ODD)))))
    assert tuple(rows[0]) == CSV_HEADS
    assert {len(row) for row in rows} == {len(CSV_HEADS)}
    assert len(rows) == 1 + 5 * 2 + 1  # the string heard once only has one row without a place
    assert [row[0] for row in rows[1:]] == ["1", "1", "2", "2", "3", "3", "4", "4", "5", "6", "6"]


def test_the_terminal_shows_every_string() -> None:
    view = comparison_sheet(comparison(ODD), title="before to final")
    assert view.heads == HEADS
    assert {len(row) for row in view.rows} == {len(HEADS)}
    assert view.sections[0].title == "First of all"
    assert "now too low" in view.sections[0].lines[0]


def test_a_page_with_sounds_stays_below_its_limit() -> None:
    from pitchcheck.workflow.jobs.snippets import MOST_BYTES

    rest = len(page("twelve", "tech").encode())
    assert MOST_BYTES * 4 / 3 + rest < LARGEST_BYTES


def test_every_field_of_the_json_is_in_the_documents() -> None:
    formats = (ROOT / "docs" / "formats.md").read_text(encoding="utf-8").split("## Before and after")[1]
    found = comparison_json(comparison(ODD), instrument=STORIES["odd"].after.settings.instrument)
    keys = set(re.findall(r'"(\w+)":', found))
    unnamed = {key for key in keys if f"`{key}`" not in formats and f"`{key}[]`" not in formats}
    assert unnamed <= {"median", "low", "high"}  # told as three together
    assert "`{median, low, high}`" in formats


def test_the_customer_reads_what_improved_first_and_in_a_small_table() -> None:
    given = replace(STORIES["lowered"], about=full_about())
    body = text_of(html5lib.HTMLParser(namespaceHTMLElements=False).parse(render_job(given, reader="player")))
    body = body.replace("\u00a0", " ")
    assert body.index("usual open chords sound better than before") < body.index("Every slot")
    assert body.index("LR-0417") < body.index("Every slot") < body.index("How the open chords sound")
    assert "1, 3, 4, 6no change––" in body  # one row for all of which nothing else is to be said
    assert "5 A20.95 mm → 0.50 mm+8.3 → +3.50.45 mm → 0.25 mm (final)fine" in body  # cell by cell
    assert "Lower: string" not in body
    assert body.count("0.45 mm → 0.25 mm") == 1
    assert "Neck relief: 0.20 mm." in body  # what is not in the table stands below


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ((12.0, 7.0), (3.0, 7.0), "1 of 2 {} sounds better than before; 1 is clean now, none before."),
        ((12.0, 12.0), (12.0, 9.9), "1 of 2 {} sounds better than before; none is clean, before or now."),
        (
            (3.0, 3.0),
            (12.0, 3.0),
            "None of 2 {} sounds better than before, 1 sounds worse; 1 is clean now, 2 before.",
        ),
        ((12.0, 12.0), (12.0, 11.0), "None of 2 {} is clean, before or now; none sounds better or worse."),
        ((3.0, 3.0), (1.0, 2.0), "All 2 {} were clean before, and are now."),
    ],
)
def test_how_many_chords_improved(before: tuple[float, ...], after: tuple[float, ...], words: str) -> None:
    """Clean to 5 cents, a little off to 10, else sour: judged by the worst pair."""
    whole = STORIES["lowered"].after
    assert whole.fit is not None
    chords = chord_table(whole.settings.instrument, whole.fit)[: len(before)]
    was, now = (
        [replace(c, worst_now=replace(c.worst_now, now_cents=x)) for c, x in zip(chords, ends, strict=True)]
        for ends in (before, after)
    )
    assert chords_summary(was, now) == words.format("usual open chords")
