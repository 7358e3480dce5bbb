"""The job report in a real browser: no overflow, on paper as many sheets as promised, and accessible."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from helpers.browser import (
    A4_WIDTH_POINTS,
    open_browser,
    paper,
    probe,
    sheet_width,
    sheets,
    shown,
    violations,
)
from helpers.job import NOTHING_DONE, ODD, TWELVE, TWO_LOWERED, full_about, story
from helpers.measurement import BUSY, USUAL, measurement
from pitchcheck.report.render import render_intake, render_job

SHEETS = {"tech": 2, "player": 1}
MOST_SHEETS = {"tech": 3, "player": 1}  # with names, photos, gauge, workshop and a place to sign
READERS = tuple(SHEETS)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with open_browser() as opened:
        yield opened


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize(
    ("width", "scheme"), [(360, "dark"), (1600, "light")], ids=["phone-dark", "wide-light"]
)
def test_nothing_runs_over_the_edge(browser: Any, reader: str, width: int, scheme: str) -> None:
    seen = probe(browser, render_job(story(ODD), reader=reader), width=width, scheme=scheme)
    assert seen["width"] <= width
    assert [seen[key] for key in ("out", "cut", "small", "over")] == [[]] * 4
    assert seen["ground"] == ("rgb(22, 25, 29)" if scheme == "dark" else "rgb(250, 247, 240)")


def test_twelve_strings_and_long_words_fit_on_a_phone(browser: Any) -> None:
    source = render_job(story(TWELVE, long=True), reader="tech")
    seen = probe(browser, source, width=360, scheme="light")
    assert [seen[key] for key in ("out", "cut", "over")] == [[]] * 3
    assert seen["width"] <= 360


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("moved", [TWO_LOWERED, NOTHING_DONE], ids=["lowered", "nothing"])
def test_it_prints_on_as_many_sheets_as_promised(browser: Any, reader: str, moved: Any) -> None:
    pdf = paper(browser, render_job(story(moved), reader=reader))
    assert sheets(pdf) == SHEETS[reader]
    assert sheet_width(pdf) == pytest.approx(A4_WIDTH_POINTS, abs=2)


@pytest.mark.parametrize("reader", READERS)
def test_with_everything_on_it_it_prints_on_no_more_sheets_than_promised(browser: Any, reader: str) -> None:
    moved = TWO_LOWERED if reader == "player" else ODD
    source = render_job(replace(story(moved), about=full_about()), reader=reader)
    assert sheets(paper(browser, source)) <= MOST_SHEETS[reader]
    seen = probe(browser, source, width=360, scheme="light")
    assert [seen[key] for key in ("out", "cut", "small", "over")] == [[]] * 4


@pytest.mark.parametrize("reader", READERS)
def test_an_intake_page_fits_a_phone_and_its_sheets(browser: Any, reader: str) -> None:
    """What is wrong and what is proposed; how it is done stands only on the tech's."""
    whole = measurement(USUAL, extras=BUSY)
    source = render_intake(
        whole, title="parlour", made="4 May", about=full_about(), fingerprint="0" * 64, reader=reader
    )
    assert sheets(paper(browser, source)) <= MOST_SHEETS[reader]
    seen = probe(browser, source, width=360, scheme="dark")
    assert [seen[key] for key in ("out", "cut", "small", "over")] == [[]] * 4
    for width in (360, 1280):
        assert violations(browser, source, width=width, scheme="light") == []
    assert ("Slacken" in source) == (reader == "tech")
    assert "File off the slot now" in source


@pytest.mark.parametrize(
    ("reader", "width", "scheme"),
    [
        ("tech", 360, "dark"),
        ("player", 1600, "light"),
        pytest.param("tech", 1600, "light", marks=pytest.mark.slow),
        pytest.param("player", 360, "dark", marks=pytest.mark.slow),
    ],
)
def test_an_accessibility_checker_finds_nothing(browser: Any, reader: str, width: int, scheme: str) -> None:
    assert violations(browser, render_job(story(ODD), reader=reader), width=width, scheme=scheme) == []


def test_the_checker_sees_a_fault(browser: Any) -> None:
    source = render_job(story(), reader="player").replace('lang="en"', "")
    source = source.replace("<main>", '<main><p style="color:#bbb;background:#fff">too pale</p>')
    found = violations(browser, source, width=1600, scheme="light")
    assert any(v.startswith("html-has-lang") for v in found)
    assert any(v.startswith("color-contrast") for v in found)


WORDS = """
() => [...document.querySelectorAll("h1, h2, h3, p, li, td, th, dt, dd, caption, figcaption")]
  .filter(e => e.getClientRects().length > 0)
  .map(e => e.textContent.replace(/\\s+/g, " ").trim())
"""


@pytest.mark.parametrize("reader", READERS)
def test_a_phone_shows_the_same_words_as_a_wide_screen(browser: Any, reader: str) -> None:
    source = render_job(story(ODD), reader=reader)
    seen = []
    for width in (360, 1600):
        with shown(browser, source, width=width) as page:
            seen.append(page.evaluate(WORDS))
    assert len(seen[0]) > 50
    assert seen[0] == seen[1]


PLAY = """
async () => {
  const sound = document.querySelector("audio");
  sound.preload = "auto";
  const ready = new Promise((good, bad) => { sound.onloadedmetadata = good; sound.onerror = bad; });
  sound.load();
  await ready;
  return sound.duration;
}
"""
SOUND_S = 0.1  # of the made-up sounds


def test_the_sounds_can_be_played(browser: Any) -> None:
    with shown(browser, render_job(story(), reader="player"), width=1600) as page:
        assert page.evaluate(PLAY) == pytest.approx(SOUND_S, abs=0.01)


def test_paper_says_where_the_sounds_are(browser: Any) -> None:
    with shown(browser, render_job(story(), reader="tech"), width=1200) as page:
        assert not page.locator(".on-paper").is_visible()
        page.emulate_media(media="print")
        assert page.locator(".on-paper").is_visible()
        assert not page.locator("audio").first.is_visible()
