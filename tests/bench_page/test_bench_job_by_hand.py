"""The page of a job worked by keyboard alone in a real browser: every button, form and link of it."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from helpers.bench_page import in_thread, until
from helpers.browser import open_browser
from helpers.folders import FIXTURES
from helpers.jobs import NOW, outer_strings, photo
from pitchcheck.bench.page_kit import Bench
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.write import new_job
from pitchcheck.workflow.jobs.add_pass import add_pass

pytestmark = pytest.mark.slow

SOURCE = FIXTURES / "session-readings"
LONG_MS = 120_000  # measuring on a busy machine included
MOST_TABS = 200
# What has the focus, by all that it may be called.
FOCUS = """() => { const e = document.activeElement;
  const field = ['INPUT', 'SELECT', 'TEXTAREA'].includes(e.tagName);
  return (field ? e.labels?.[0]?.innerText ?? '' : e.innerText ?? '').replace(/\\s+/g, ' ').trim(); }"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with open_browser() as running:
        yield running


@pytest.fixture
def at_job(browser: Any, tmp_path: Path) -> Iterator[tuple[Any, Bench, str]]:
    """A page that shows a job with two passes."""
    with in_thread(tmp_path / "root") as (address, bench):
        made = new_job(bench.places.jobs, title="Lamp room guitar", now=NOW, owner_words="Sour.")
        source = outer_strings(tmp_path / "source", SOURCE, last="6")
        add_pass(made.folder, source, now=NOW, photos=[photo(tmp_path)], workers=1)
        add_pass(made.folder, source, now=NOW, anyway=True, workers=1)
        page = browser.new_page()
        page.set_default_timeout(LONG_MS)
        page.goto(f"{address}job/{made.id}")
        yield page, bench, made.id
        page.close()


def tab_to(page: Any, words: str) -> None:
    """Go on by the tab key alone until what has the focus is called so."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        if page.evaluate(FOCUS).startswith(words):
            return
    raise AssertionError(f"{words!r} is not reached by the keyboard")


def push(page: Any, words: str, key: str = "Enter") -> None:
    tab_to(page, words)
    page.keyboard.press(key)


def follow(page: Any, words: str, key: str = "Enter") -> None:
    """Push what leads to a page, and wait for that."""
    tab_to(page, words)
    with page.expect_navigation():
        page.keyboard.press(key)


def write(page: Any, words: str, text: str) -> None:
    tab_to(page, words)
    page.keyboard.type(text)


def text_of(page: Any, words: str) -> None:
    page.wait_for_selector(f"text={words}")


def test_what_is_written_into_a_job_is_written_by_keyboard(at_job: tuple[Any, Bench, str]) -> None:
    page, bench, name = at_job
    folder = bench.places.jobs / name
    push(page, "Notes")  # the way down the page
    assert page.evaluate("location.hash") == "#notes"
    write(page, "A bench note", "Old nut is let in.")
    follow(page, "Keep it")
    until(lambda: read_job(folder).notes)
    write(page, "What", "gap")  # the first of the list that begins so stays chosen
    write(page, "String", "6")
    write(page, "Unit", "i")
    write(page, "or by leaves", "0.010")
    write(page, "and this one stops", "0.012")
    push(page, "Write it down")
    text_of(page, "passes 0.010 in, stops 0.012 in.")
    (reading,) = read_job(folder).gauge
    assert (reading.string, reading.passes, reading.stops) == (6, "0.010 in", "0.012 in")
    push(page, "open 1 Finish scored")
    write(page, "Measured", "0.2 mm")
    write(page, "Note", "with a blade")
    follow(page, "Done")
    until(lambda: read_job(folder).steps)
    (step,) = read_job(folder).steps
    assert (step.name, step.done, step.measured, step.note) == ("score", True, "0.2 mm", "with a blade")
    push(page, "done 1 Finish scored")
    follow(page, "Not done", "Space")
    until(lambda: len(read_job(folder).steps) == 2)
    assert not read_job(folder).last_steps()["score"].done
    push(page, "Pass 2 was a mistake")
    write(page, "Why it does not count", "the same again")
    follow(page, "Set it aside")
    until(lambda: read_job(folder).passes[1].aside)
    text_of(page, "SET ASIDE")


def test_what_a_job_shows_and_gives_is_reached_by_keyboard(at_job: tuple[Any, Bench, str]) -> None:
    page, _, name = at_job
    text_of(page, "The slots before and now")
    text_of(page, "What to do")
    push(page, "Slot")  # a finding: its evidence is one key away
    assert page.evaluate("document.activeElement.parentElement.open")
    push(page, "The open chords now")
    assert page.evaluate("document.activeElement.parentElement.open")
    write(page, "against", "after")  # chosen by typing
    follow(page, "Compare")
    assert "after=after" in page.url
    text_of(page, "against pass 2")
    write(page, "For", "the player")
    push(page, "with a place to sign", "Space")
    write(page, "A line of your workshop", "Two Lamps")
    follow(page, "Show the report")
    assert "for=player" in page.url
    assert "signature=yes" in page.url
    text_of(page, "Two Lamps")
    page.go_back()
    follow(page, "Compare every byte")
    text_of(page, "every byte is as it was written")
    write(page, "Fingerprint on an earlier report", "abc")
    follow(page, "Look for it")
    text_of(page, "That fingerprint is not of this job")
    follow(page, name)  # the way back
    tab_to(page, "recordings cut to the notes")
    page.keyboard.press("Space")
    with page.expect_download() as saved:
        push(page, "Save one archive")
    assert zipfile.ZipFile(io.BytesIO(Path(saved.value.path()).read_bytes())).testzip() is None


def test_the_next_pass_is_begun_and_sealed_by_keyboard(at_job: tuple[Any, Bench, str]) -> None:
    page, bench, name = at_job
    tab_to(page, "I removed")  # string 1
    write(page, "I removed", "0.1")  # string 2
    follow(page, "Begin the next pass")
    assert "/session/" in page.url
    until(lambda: not bench.runner.busy)
    sitting = bench.places.sittings / f"{name}-03"
    outer_strings(sitting.with_name("heard"), SOURCE, last="6")  # what was played in the meantime
    for file in sitting.with_name("heard").iterdir():
        if file.name != "session.toml":
            file.rename(sitting / file.name)
    page.reload()
    follow(page, "Seal it into a job")
    write(page, "It is the pass", "final")
    write(page, "Remarks", "As it goes out.")
    push(page, "Other strings than before")
    push(page, "Add recordings that are in the job already", "Space")
    follow(page, "Measure and seal")
    text_of(page, "Sealed as pass 3.")
    kept = read_job(bench.places.jobs / name).passes[2]
    assert (kept.name, kept.remarks) == ("final", "As it goes out.")
    assert [(r.string, r.amount_mm) for r in kept.removed] == [(2, pytest.approx(0.1))]
