"""A real browser for tests of pages: what sticks out at a width, in light and dark, and on paper.

Playwright (a test dependency) drives the system's Chromium; nothing is downloaded.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from helpers.system import in_ci, needs

A4_WIDTH_POINTS = 595  # 210 mm (ISO 216)
EDGE_PX = 1.0  # browsers round boxes to whole pixels
LEADING_PX = 5.0  # a line of 13 px has a box of 15 to 18 px; letters meet only beyond this

# Runs in the page and returns what sticks out.
LOOK = """
([edge, leading]) => {
  const doc = document, wide = doc.documentElement.clientWidth;
  const shown = e => e.getClientRects().length > 0, out = [];
  for (const e of doc.body.querySelectorAll("*")) {
    const scrolled = e.parentElement.closest(".scroll");
    if (!shown(e) || scrolled || e.closest("svg")) continue;
    const box = e.getBoundingClientRect();
    if (box.right > wide + edge || box.left < -edge) out.push(e.tagName + "." + e.className);
  }
  const cut = [], small = [];
  for (const t of doc.querySelectorAll("svg text")) {
    if (!shown(t)) continue;
    const box = t.getBBox(), view = t.ownerSVGElement.viewBox.baseVal;
    const right = box.x + box.width - view.width, below = box.y + box.height - view.height;
    if (Math.max(-box.x, -box.y, right, below) > edge) cut.push(t.textContent);
    if (box.height * t.getScreenCTM().d < 9) small.push(t.textContent);
  }
  const tight = [...doc.querySelectorAll(".glance th, .glance td")]
    .filter(e => shown(e) && e.scrollWidth > e.clientWidth + edge).map(e => e.textContent);
  const over = [];
  for (const s of [...doc.querySelectorAll("svg")].filter(shown)) {
    const boxes = [...s.querySelectorAll("text")].map(t => [t.textContent, t.getBBox()]);
    boxes.forEach(([a, p], i) => boxes.slice(i + 1).forEach(([b, q]) => {
      const side = Math.min(p.x + p.width, q.x + q.width) - Math.max(p.x, q.x);
      const down = Math.min(p.y + p.height, q.y + q.height) - Math.max(p.y, q.y);
      if (side > edge && down > leading) over.push(a + " on " + b);
    }));
  }
  const style = getComputedStyle(doc.documentElement);
  return {width: doc.documentElement.scrollWidth, out, cut, small, tight, over,
    ground: style.backgroundColor, wide: doc.querySelectorAll("svg.wide").length,
    shown: [...doc.querySelectorAll("svg")].filter(shown).length};
}
"""


@contextmanager
def open_browser() -> Iterator[Any]:
    """Open Chromium without a window; without its driver skip the test, or fail it in CI."""
    chromium = needs("chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        reason = "needs playwright and axe-playwright-python, which the test extra brings"
        if in_ci():
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


@contextmanager
def shown(browser: Any, source: str, *, width: int, scheme: str = "light") -> Iterator[Any]:
    """Show a page in a window of a width, light or dark; whatever it asks of the network fails the test."""
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.set_content(source)
    yield page
    page.close()
    assert [url for url in asked if not url.startswith("data:")] == []


def probe(browser: Any, source: str, *, width: int, scheme: str) -> dict[str, Any]:
    """Return what sticks out of a page."""
    with shown(browser, source, width=width, scheme=scheme) as page:
        seen: dict[str, Any] = page.evaluate(LOOK, [EDGE_PX, LEADING_PX])
    return seen


def violations(browser: Any, source: str, *, width: int, scheme: str) -> list[str]:
    """What axe-core (Deque; the WCAG 2 rules and good practice) finds wrong with a page."""
    from axe_playwright_python.sync_playwright import Axe

    with shown(browser, source, width=width, scheme=scheme) as page:
        found = Axe().run(page).response["violations"]
    return [f"{v['id']}: {node['html']}" for v in found for node in v["nodes"]]


def paper(browser: Any, source: str) -> bytes:
    """Print a page and return the PDF."""
    with shown(browser, source, width=1200) as page:
        printed: bytes = page.pdf(prefer_css_page_size=True, print_background=True)
    return printed


def sheets(pdf: bytes) -> int:
    """Number of pages of a PDF."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def sheet_width(pdf: bytes) -> float:
    """Width of the first page. [point]"""
    box = re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert box is not None
    return float(box[1])
