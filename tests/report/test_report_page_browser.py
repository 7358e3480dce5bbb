"""The report page in a real browser: nothing runs over an edge, on a phone, a wide screen or paper."""

from __future__ import annotations

from collections.abc import Iterator
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
from helpers.measurement import (
    ALL_FINE,
    BUSY,
    TWELVE,
    TWO_HIGH_REST_FINE,
    USUAL,
    Extras,
    measurement,
)
from pitchcheck.report.render import render_page

PAGES_AT_MOST = 8  # a busy six-string survey with all its small print


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with open_browser() as opened:
        yield opened


@pytest.fixture(scope="module")
def source() -> str:
    return render_page(measurement(USUAL, extras=BUSY))


@pytest.mark.parametrize(
    ("width", "scheme", "ground"),
    [(360, "dark", "rgb(22, 25, 29)"), (1600, "light", "rgb(250, 247, 240)")],
    ids=["phone-dark", "wide-light"],
)
def test_nothing_runs_over_the_edge(browser: Any, source: str, width: int, scheme: str, ground: str) -> None:
    seen = probe(browser, source, width=width, scheme=scheme)
    assert seen["width"] <= width
    assert seen["out"] == []
    assert seen["cut"] == []
    assert seen["small"] == []
    assert seen["tight"] == []
    assert seen["over"] == []
    assert seen["ground"] == ground  # light and dark are really two
    assert seen["shown"] == 9  # six slots, a press; the nut, the neck: one of the two widths each
    assert seen["wide"] == 2


HEIGHT = 740  # [px] of a phone's screen


@pytest.mark.parametrize("slots", [TWO_HIGH_REST_FINE, ALL_FINE, USUAL], ids=["high", "fine", "asked"])
def test_a_phone_holds_the_answer_in_its_first_two_heights(browser: Any, slots: Any) -> None:
    """Headline, causes, what to do and the amounts."""
    extras = BUSY if slots is USUAL else None
    with shown(browser, render_page(measurement(slots, extras=extras)), width=360) as page:
        assert page.locator("h1").bounding_box()["y"] < HEIGHT / 4
        amounts = page.locator(".amounts").bounding_box()
        assert amounts["y"] + amounts["height"] < 2 * HEIGHT


def test_twelve_strings_fit_on_a_phone(browser: Any) -> None:
    whole = measurement(TWELVE, extras=Extras(kind="unbroken" * 20 + " twelve-string" * 8))
    seen = probe(browser, render_page(whole), width=360, scheme="light")
    assert [seen[key] for key in ("out", "cut", "tight", "over")] == [[]] * 4
    assert seen["width"] <= 360


def test_the_probe_sees_what_sticks_out(browser: Any, source: str) -> None:
    spoiled = source.replace("<main>", '<main><div style="width:500px">too wide</div>', 1)
    spoiled = spoiled.replace(">target</text>", ">target, but with far too many words</text>")
    spoiled = spoiled.replace(">E2</text>", ">E2, and far too many words</text>")
    spoiled = spoiled.replace('class="word high">high', 'class="word high">incomprehensible')
    seen = probe(browser, spoiled, width=360, scheme="light")
    assert seen["out"]
    assert seen["cut"]
    assert seen["over"]
    assert seen["tight"]
    assert seen["width"] > 360


def test_it_prints(browser: Any, source: str) -> None:
    pdf = paper(browser, source)
    assert pdf.startswith(b"%PDF-")
    assert 2 <= sheets(pdf) <= PAGES_AT_MOST
    assert sheet_width(pdf) == pytest.approx(A4_WIDTH_POINTS, abs=2)


@pytest.mark.parametrize(
    ("width", "scheme"), [(360, "dark"), pytest.param(1600, "light", marks=pytest.mark.slow)]
)
def test_an_accessibility_checker_finds_nothing(browser: Any, source: str, width: int, scheme: str) -> None:
    assert violations(browser, source, width=width, scheme=scheme) == []
