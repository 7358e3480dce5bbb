"""The report page in a real browser: nothing runs over an edge, on a phone, a wide screen or paper."""

from __future__ import annotations

import html
import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest

from pitchcheck.report.page import render_page
from support_measurement import BUSY, TWELVE, USUAL, Extras, measurement
from support_system import needs

PAGES_AT_MOST = 8  # a busy six-string survey with all its small print
EDGE_PX = 1.0  # browsers round boxes to whole pixels
LEADING_PX = 5.0  # a line of 13 px has a box of 15 to 18 px; letters meet only beyond this
TIMEOUT_S = 60

# Runs beside the page, in a frame of the wanted width, and writes down what sticks out.
PROBE = """
<!DOCTYPE html><body style="margin:0">
<iframe id="f" style="border:0;width:%dpx;height:800px" srcdoc="%s"></iframe>
<script>
document.getElementById("f").onload = () => {
  const frame = document.getElementById("f"), doc = frame.contentDocument, wide = frame.clientWidth;
  const edge = %f;
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
      if (side > edge && down > %f) over.push(a + " on " + b);
    }));
  }
  const style = frame.contentWindow.getComputedStyle(doc.documentElement);
  const result = {width: doc.documentElement.scrollWidth, out, cut, small, tight, over,
    ground: style.backgroundColor, wide: doc.querySelectorAll("svg.wide").length,
    shown: [...doc.querySelectorAll("svg")].filter(shown).length};
  const note = document.createElement("pre");
  note.id = "result";
  note.textContent = JSON.stringify(result);
  document.body.append(note);
};
</script></body>
"""


def browse(chromium: str, *options: str) -> str:
    """Run the browser once without a window."""
    command = [chromium, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", *options]
    done = subprocess.run(command, capture_output=True, text=True, timeout=TIMEOUT_S, check=True)
    return done.stdout


@pytest.fixture(scope="module")
def chromium() -> str:
    return needs("chromium")


@pytest.fixture(scope="module")
def source() -> str:
    return render_page(measurement(USUAL, extras=BUSY))


def probe(chromium: str, source: str, folder: Path, *, width: int, scheme: int) -> dict[str, Any]:
    """Show a page in a frame of a width, light (1) or dark (0), and return what the probe saw."""
    beside = folder / "probe.html"
    beside.write_text(PROBE % (width, html.escape(source), EDGE_PX, LEADING_PX), encoding="utf-8")
    look = f"--blink-settings=preferredColorScheme={scheme}"
    dom = browse(chromium, look, "--window-size=1700,900", "--dump-dom", beside.as_uri())
    found = re.search(r'<pre id="result">(.*?)</pre>', dom)
    assert found is not None, "the probe did not finish"
    seen: dict[str, Any] = json.loads(html.unescape(found[1]))
    return seen


@pytest.mark.parametrize(
    ("width", "scheme", "ground"),
    [(360, 0, "rgb(22, 25, 29)"), (1600, 1, "rgb(250, 247, 240)")],
    ids=["phone-dark", "wide-light"],
)
def test_nothing_runs_over_the_edge(
    chromium: str, source: str, tmp_path: Path, width: int, scheme: int, ground: str
) -> None:
    seen = probe(chromium, source, tmp_path, width=width, scheme=scheme)
    assert seen["width"] <= width
    assert seen["out"] == []
    assert seen["cut"] == []
    assert seen["small"] == []
    assert seen["tight"] == []
    assert seen["over"] == []
    assert seen["ground"] == ground  # light and dark are really two
    assert seen["shown"] == 8  # six slots, the nut, the neck: one of the two widths each
    assert seen["wide"] == 2


def test_twelve_strings_fit_on_a_phone(chromium: str, tmp_path: Path) -> None:
    whole = measurement(TWELVE, extras=Extras(doubts={3: ("unbroken" * 20,)}, kind="twelve-string " * 8))
    seen = probe(chromium, render_page(whole), tmp_path, width=360, scheme=1)
    assert [seen[key] for key in ("out", "cut", "tight", "over")] == [[]] * 4
    assert seen["width"] <= 360


def test_the_probe_sees_what_sticks_out(chromium: str, source: str, tmp_path: Path) -> None:
    spoiled = source.replace("<main>", '<main><div style="width:500px">too wide</div>', 1)
    spoiled = spoiled.replace(">target</text>", ">target, but with far too many words</text>")
    spoiled = spoiled.replace(">E2</text>", ">E2, and far too many words</text>")
    spoiled = spoiled.replace('class="word high">high', 'class="word high">incomprehensible')
    seen = probe(chromium, spoiled, tmp_path, width=360, scheme=1)
    assert seen["out"]
    assert seen["cut"]
    assert seen["over"]
    assert seen["tight"]
    assert seen["width"] > 360


def test_it_prints(chromium: str, source: str, tmp_path: Path) -> None:
    page, paper = tmp_path / "page.html", tmp_path / "page.pdf"
    page.write_text(source, encoding="utf-8")
    browse(chromium, "--no-pdf-header-footer", f"--print-to-pdf={paper}", page.as_uri())
    pdf = paper.read_bytes()
    assert pdf.startswith(b"%PDF-")
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= PAGES_AT_MOST
    box = re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert box is not None
    assert float(box[1]) == pytest.approx(595, abs=2)  # A4 is 210 mm wide (ISO 216), 595 points
