"""The report page as HTML: valid, self-contained, accessible, and true to the measurement's numbers."""

from __future__ import annotations

import colorsys
import re
from dataclasses import replace
from functools import cache
from itertools import pairwise
from xml.etree.ElementTree import Element

import html5lib
import pytest
from html5lib.html5parser import ParseError

from helpers.measurement import (
    ALL_FINE,
    ALL_HIGH,
    BUSY,
    EVERY_FINDING,
    MANY_DOUBTS,
    TWELVE,
    USUAL,
    Extras,
    Slot,
    measurement,
)
from pitchcheck.doubts import StatedDoubt
from pitchcheck.instrument import Nut
from pitchcheck.measurement import Measurement
from pitchcheck.plan import NutBottom
from pitchcheck.report.render import render_page
from pitchcheck.words import cautions, numbers

NOTHING = (Slot(None),) * 6
LEAST_CONTRAST = 4.5  # WCAG 2.1, success criterion 1.4.3, text of ordinary size
GREY = 0.25  # saturation below which a colour has no hue to speak of
RED_OR_GREEN_DEGREES = [(0, 25), (75, 175), (335, 360)]  # hues that say stop or go

PAGES: dict[str, Measurement] = {
    "usual": measurement(USUAL),
    "busy": measurement(USUAL, extras=replace(BUSY, findings=EVERY_FINDING)),
    "fine": measurement(ALL_FINE),
    "nothing": measurement(NOTHING, extras=Extras(bad_takes=True)),
    "bottom": measurement(ALL_HIGH, extras=Extras(bottom=NutBottom(0.40, 0.32))),
    "locking": measurement(USUAL, extras=Extras(nut=Nut.LOCKING)),
    "twelve": measurement(TWELVE, extras=Extras(doubts=dict.fromkeys(range(1, 13), MANY_DOUBTS))),
    "four": measurement((Slot(-0.05), Slot(0.3), Slot(None), Slot(1.4, 0.3))),
}


@cache
def page(name: str) -> str:
    return render_page(PAGES[name])


@cache
def tree(name: str) -> Element:
    """The parsed page; strict: any error against the HTML standard's parsing rules raises."""
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    return parser.parse(page(name))


def text_of(element: Element) -> str:
    return " ".join("".join(element.itertext()).split())


def local(element: Element) -> str:
    return str(element.tag).split("}")[-1]


@pytest.fixture(params=PAGES)
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_the_page_is_valid_html(name: str) -> None:
    assert tree(name).find("head/title") is not None


def test_nothing_is_asked_of_the_network(name: str) -> None:
    # the only address allowed is the name of the SVG namespace, which nothing ever fetches
    source = page(name).replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"https?:|//\w+\.\w+|@import|\bsrc=|<link|<script|<iframe|<img", source)
    assert re.findall(r"url\((?!#)", source) == []


def test_every_reference_has_its_target(name: str) -> None:
    ids = [e.attrib["id"] for e in tree(name).iter() if "id" in e.attrib]
    assert len(ids) == len(set(ids))
    wanted = set(re.findall(r"url\(#([^)]+)\)", page(name)))
    for element in tree(name).iter():
        wanted |= set(element.attrib.get("aria-labelledby", "").split())
    assert wanted
    assert wanted <= set(ids)


def test_headings_do_not_skip_a_level(name: str) -> None:
    levels = [int(local(e)[1]) for e in tree(name).iter() if re.fullmatch("h[1-6]", local(e))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_tables_have_captions_and_scoped_heads(name: str) -> None:
    tables = [e for e in tree(name).iter() if local(e) == "table"]
    assert tables
    for table in tables:
        assert text_of(next(e for e in table.iter() if local(e) == "caption"))
        assert all(e.attrib.get("scope") in ("col", "row") for e in table.iter() if local(e) == "th")
        widths = {len(list(row)) for row in table.iter() if local(row) == "tr"}
        assert len(widths) == 1


def test_drawings_are_named_and_described(name: str) -> None:
    drawings = [e for e in tree(name).iter() if local(e) == "svg"]
    assert len(drawings) >= 2 or name == "nothing"
    for drawing in drawings:
        assert drawing.attrib["role"] == "img"
        first, second = list(drawing)[:2]
        assert (local(first), local(second)) == ("title", "desc")
        assert text_of(first)
        assert text_of(second)


def test_every_string_has_its_words_and_its_figures(name: str) -> None:
    whole = PAGES[name]
    rows = {}
    for table in tree(name).iter("table"):
        if table.attrib.get("class") == "glance":
            rows = {text_of(next(iter(r))).split()[0]: text_of(r) for r in list(table.iter("tr"))[1:]}
    assert list(rows) == [str(plan.number) for plan in whole.plan.strings if whole.anything_measured]
    if not rows:
        return
    for plan in whole.plan.strings:
        row = rows[str(plan.number)]
        if plan.height_mm is None:
            assert "not measured" in row
            continue
        assert plan.verdict.value in row
        assert f"{round(plan.height_mm.low, 2):.2f}".replace("-", numbers.MINUS) in row
        assert f"{round(plan.height_mm.high, 2):.2f}".replace("-", numbers.MINUS) in row
        assert f"{round(plan.target_mm, 2):.2f} mm" in row
        files = plan.remove_now_mm > 0 and whole.plan.nut_bottom is None
        assert ("File off at most" in row) == files
        if files:
            assert f"{plan.remove_now_mm:.2f} mm" in row


def test_a_nut_that_is_not_slotted_is_never_told_to_be_filed() -> None:
    assert "File off" not in page("locking")
    assert "at most 0." not in text_of(tree("locking"))


def test_all_cautions_stand_on_the_page(name: str) -> None:
    said = text_of(tree(name))
    for _, sentences in cautions.EVERYTHING:
        for sentence in sentences:
            assert sentence in said
    assert "simulated instruments only" in said


def test_nothing_measured_draws_no_empty_picture() -> None:
    body = text_of(tree("nothing"))
    assert "<svg" not in page("nothing")
    assert "No slot could be measured." in body
    assert "too quiet: the loudest part is 52 dB below full scale" in body
    assert "36 takes" in body  # one line for a reason


def test_only_slots_that_were_measured_are_drawn_from_the_side() -> None:
    drawn = re.findall(r'id="slot-(\d+)-title"', page("twelve"))
    assert drawn == [str(p.number) for p in PAGES["twelve"].plan.strings if p.height_mm is not None]


@pytest.mark.parametrize("name", sorted(set(PAGES) - {"nothing"}))
def test_the_vertical_scale_is_told(name: str) -> None:
    found = re.search(r"Heights are drawn (\d+) times larger", text_of(tree(name)))
    assert found is not None
    assert int(found[1]) > 10


@pytest.mark.parametrize("fault", ["<p>open<div></p>", '<p id="x" id="y">', "<svg><title></svg>"])
def test_the_strict_parser_sees_a_fault(fault: str) -> None:
    with pytest.raises(ParseError):
        html5lib.HTMLParser(strict=True).parse(page("fine").replace("<main>", f"<main>{fault}"))


def test_words_from_outside_are_escaped() -> None:
    wild = measurement(extras=Extras(kind='<script>alert("x")</script>', doubts={2: MANY_DOUBTS}))
    spoken = replace(wild.takes[0], doubts=(StatedDoubt("<b>&"),))
    wild = replace(wild, takes=(spoken, *wild.takes[1:]))
    source = render_page(wild)
    assert "<script" not in source
    assert "<b>" not in source
    html5lib.HTMLParser(strict=True).parse(source)


def colours() -> list[dict[str, str]]:
    """The custom colours of the light and the dark page."""
    light, dark = re.findall(r":root \{([^}]*#[0-9a-f]{6}[^}]*)\}", page("fine"))[:2]
    return [dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", block)) for block in (light, dark)]


def rgb(colour: str) -> tuple[float, float, float]:
    r, g, b = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return r, g, b


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.1 defines it (relative luminance of sRGB)."""

    def luminance(colour: str) -> float:
        parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb(colour)]
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    bright, dull = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dull + 0.05)


def test_contrast_formula_knows_black_on_white() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.1: ratios run from 1 to 21


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
def test_all_text_can_be_read(scheme: int) -> None:
    theme = colours()[scheme]
    for ink in ("ink", "soft", "blue", "ochre"):
        for ground in ("paper", "card"):
            assert contrast(theme[ink], theme[ground]) >= LEAST_CONTRAST, (ink, ground)
    for ink in ("ink", "soft"):  # labels on the drawn neck
        assert contrast(theme[ink], theme["wood"]) >= LEAST_CONTRAST, ink


def test_no_colour_says_stop_or_go() -> None:
    for theme in colours():
        judged = set()
        for name, colour in theme.items():
            hue, _, saturation = colorsys.rgb_to_hls(*rgb(colour))
            if saturation > GREY:
                judged.add(name)
                assert not any(low <= hue * 360 <= high for low, high in RED_OR_GREEN_DEGREES), name
        assert judged >= {"blue", "ochre"}  # the two that mark a verdict
