"""Takes the pictures of the bench page for the documents: a simulated guitar, a real browser, no sound card.

PYTHONPATH=tests python tests/bench/shoot_bench.py docs/pictures
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from helpers.bench_page import in_thread, until
from helpers.browser import open_browser
from helpers.listen import GAP_S, RATE_HZ, course, in_a_row, new_folder, notes
from pitchcheck.bench.runner import Begin
from pitchcheck.types import FloatArray

STRINGS = (2,)
SHOWN_MS = 90_000  # measuring on a busy machine included
SIZE = {"width": 1280, "height": 800}


def main(folder: Path) -> None:
    """Write every picture."""
    takes = notes(STRINGS)
    wrong = [takes[0], takes[1], takes[2], takes[4]]  # press 2 where press 1 is asked for
    with tempfile.TemporaryDirectory() as name, open_browser() as browser:
        _shoot(browser, Path(name) / "a", in_a_row(wrong), folder, {"again": "Again", "press": "press 1"})
        _shoot(browser, Path(name) / "b", in_a_row(takes[:4]), folder, {"taken": "Taken"})
        _shoot(browser, Path(name) / "c", in_a_row(takes), folder, {"measured": "Measured"})
        with in_thread(Path(name) / "d") as (address, _):
            page = browser.new_page(viewport=SIZE)
            page.goto(address, wait_until="domcontentloaded")
            page.screenshot(path=folder / "bench-start.png")


def _shoot(browser: Any, root: Path, sound: FloatArray, folder: Path, wanted: dict[str, str]) -> None:
    """Play a sound to a bench as slowly as it sounds at its end, and take pictures of what is wanted."""
    from playwright.sync_api import expect

    end = np.zeros(round(60 * RATE_HZ)) + 1e-5  # the room goes on
    whole = sound if "measured" in wanted else np.concatenate([sound, end])
    with in_thread(root, whole, paced_from_s=sound.size / RATE_HZ - GAP_S) as (address, bench):
        new_folder(root / "Guitar on the left")
        bench.runner.begin(Begin(root / "Guitar on the left", course(STRINGS)))
        page = browser.new_page(viewport=SIZE)
        page.goto(f"{address}session/Guitar%20on%20the%20left", wait_until="domcontentloaded")
        for name, words in wanted.items():
            expect(page.locator("#prompt")).to_contain_text(words, timeout=SHOWN_MS)
            if name == "measured":
                until(lambda: bench.runner.nut is not None and bench.runner.nut.slots)
                expect(page.locator("#nut .word").first).to_be_visible(timeout=SHOWN_MS)
                page.locator("#nut-head").scroll_into_view_if_needed()
                page.evaluate("window.scrollTo(0, document.getElementById('nut-head').offsetTop - 20)")
            page.screenshot(path=folder / f"bench-{name}.png")
        page.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
