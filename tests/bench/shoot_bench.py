"""Takes the pictures of the bench page for the documents: a simulated guitar, a real browser, no sound card.

Every state is one that really came about, but for the microphone, which is a file.

PYTHONPATH=tests python tests/bench/shoot_bench.py docs/pictures
PYTHONPATH=tests python tests/bench/shoot_bench.py FOLDER every

``every`` takes the whole of every page, on a desk and on a phone, light and dark, to be looked at.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from helpers.bench_page import in_thread, until
from helpers.browser import open_browser
from helpers.folders import READINGS, make_folder
from helpers.jobs import NOW
from helpers.listen import GAP_S, RATE_HZ, course, in_a_row, new_folder, notes
from helpers.memo_player import Wish, make_memo
from pitchcheck.bench.page_kit import Bench
from pitchcheck.bench.runner import Begin
from pitchcheck.instrument import Removal
from pitchcheck.jobs.write import new_job
from pitchcheck.simulate.folder import session_text
from pitchcheck.simulate.player import play
from pitchcheck.simulate.scenario import HAND, demo_settings, demo_truth
from pitchcheck.types import FloatArray
from pitchcheck.workflow.jobs.add_pass import add_pass

STRINGS = (2,)
FILED_MM = {2: 0.15, 5: 0.20}  # between the two passes of the job
SHOWN_MS = 240_000  # measuring on a busy machine included
SIZE = {"width": 1280, "height": 800}
PHONE = {"width": 390, "height": 844}


@dataclass(frozen=True)
class Album:
    """Where pictures go; ``every`` takes each page whole in every look."""

    folder: Path
    every: bool = False

    def take(self, page: Any, name: str) -> None:
        """Take a picture of a page."""
        if not self.every:
            page.screenshot(path=self.folder / f"bench-{name}.png")
            return
        for size, width in (("desk", SIZE), ("phone", PHONE)):
            for scheme in ("light", "dark"):
                page.set_viewport_size(width)
                page.emulate_media(color_scheme=scheme)
                page.screenshot(path=self.folder / f"{name}-{size}-{scheme}.png", full_page=True)
        page.set_viewport_size(SIZE)
        page.emulate_media(color_scheme="light")


def main(album: Album) -> None:
    """Write every picture."""
    takes = notes(STRINGS)
    wrong = [takes[0], takes[1], takes[2], takes[4]]  # press 2 where press 1 is asked for
    with tempfile.TemporaryDirectory() as name, open_browser() as browser:
        _shoot(browser, Path(name) / "a", in_a_row(wrong), album, {"again": "Again", "press": "press 1"})
        _shoot(browser, Path(name) / "b", in_a_row(takes[:4]), album, {"taken": "Taken"})
        _shoot(browser, Path(name) / "c", in_a_row(takes), album, {"measured": "Measured"})
        with in_thread(Path(name) / "d") as (address, bench):
            page = browser.new_page(viewport=SIZE)
            page.set_default_timeout(SHOWN_MS)
            page.goto(address, wait_until="domcontentloaded")
            album.take(page, "start")
            _shoot_memo(page, address, Path(name), album)
            _shoot_job(page, address, bench, Path(name) / "source", album)


def _shoot_memo(page: Any, address: str, place: Path, album: Album) -> None:
    """Drop a memo and take a picture of what was found in it."""
    memo = make_memo(7, Wish(kind="bass", course="short", encoder="m4a 64k", snr_db=32.0))
    page.fill("#memo-name", "phone")
    page.select_option("#memo-kind", "bass")
    page.fill("#memo-scale", f"{memo.instrument.scale_mm} mm")
    page.set_input_files("#files", memo.write(place))
    page.click("text=Find out and measure")
    page.wait_for_selector(".sound svg")
    album.take(page, "memo")


def _shoot_job(page: Any, address: str, bench: Bench, source: Path, album: Album) -> None:
    """Make a job with two passes of the demo guitar, filed in between; take a picture of both compared."""
    job = new_job(bench.places.jobs, title="Guitar on the left", now=NOW, owner_words="Sour near the nut.")
    rng, truth, settings = np.random.default_rng(1), demo_truth(), session_text(demo_settings())
    nothing: dict[int, float] = {}
    for number, filed in enumerate((nothing, FILED_MM)):
        strings = tuple(
            replace(s, slot_height_mm=s.slot_height_mm - filed.get(s.number, 0.0)) for s in truth.strings
        )
        played = play(
            rng, truth=replace(truth, strings=strings), hand=HAND, positions=course(tuple(range(1, 7)))
        )
        lines = [
            f"{n.position.string},{n.position.stop.value},{n.position.fret or ''},0,{n.hz:.3f}\n"
            for n in played
        ]
        made = make_folder(
            source.with_name(f"{source.name}-{number}"), settings=settings, readings=READINGS + "".join(lines)
        )
        removed = [Removal(string, amount) for string, amount in filed.items()]
        add_pass(job.folder, made, now=NOW, removed=removed, workers=1)
    page.goto(f"{address}job/{job.id}")
    page.wait_for_selector("text=The slots before and now")
    page.wait_for_selector("text=What to do")
    album.take(page, "job")
    if album.every:
        return
    page.evaluate("document.getElementById('change-head').scrollIntoView()")
    album.take(page, "compare")


def _shoot(browser: Any, root: Path, sound: FloatArray, album: Album, wanted: dict[str, str]) -> None:
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
            album.take(page, name)
        if album.every and "measured" in wanted:
            page.goto(f"{address}session/Guitar%20on%20the%20left/seal")
            album.take(page, "seal")
        page.close()


if __name__ == "__main__":
    main(Album(Path(sys.argv[1]), every="every" in sys.argv[2:]))
