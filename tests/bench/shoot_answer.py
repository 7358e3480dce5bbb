"""Takes the picture of an answer as a phone shows it: a simulated memo, a real browser.

PYTHONPATH=tests python tests/bench/shoot_answer.py docs/pictures
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from helpers.browser import open_browser
from helpers.memo_player import Wish, make_memo
from pitchcheck.report.render import render_page
from pitchcheck.workflow.memo import measure_memo

SEED = 424242
WISH = Wish(kind="acoustic", course="home", encoder="m4a 64k", offset_cents=-4.0, snr_db=30.0)
WIDTH, HEIGHT = 360, 900  # a phone's screen


def main(folder: Path) -> None:
    """Write the picture."""
    memo = make_memo(SEED, WISH)
    with tempfile.TemporaryDirectory() as name, open_browser() as browser:
        path = memo.write(Path(name))
        found = measure_memo([path], kind=memo.kind, scale_mm=memo.instrument.scale_mm)
        answer = Path(name) / "answer.html"
        answer.write_text(render_page(found.measurement), encoding="utf-8")
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
        page.goto(answer.as_uri())
        page.screenshot(path=folder / "answer-phone.png")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
