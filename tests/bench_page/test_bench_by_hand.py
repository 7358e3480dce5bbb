"""The bench page worked by hand in a real browser: keyboard alone, a memo dropped, a job reopened."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from helpers.bench_page import in_thread, served, until
from helpers.browser import open_browser
from helpers.folders import FIXTURES
from helpers.jobs import NOW, outer_strings
from helpers.listen import GAP_S, RATE_HZ, course, in_a_row, new_folder, notes
from helpers.memo_player import RATE_HZ as MEMO_HZ
from helpers.memo_player import Wish, make_memo
from helpers.microphone import virtual_microphone, write_sound
from pitchcheck.bench.runner import Begin, Stage
from pitchcheck.jobs.read import read_job
from pitchcheck.jobs.write import new_job
from pitchcheck.recorder.course_file import parse_course
from pitchcheck.session.folder import read_session
from pitchcheck.session.settings import read_settings
from pitchcheck.takes import Position, Stop
from pitchcheck.units import LengthUnit
from pitchcheck.workflow.jobs.add_pass import add_pass

STRINGS = (2,)
LONG_MS = 120_000  # measuring on a busy machine included
SEED = 7
BEFORE_S = 0.1  # that a file begins before its first pluck


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with open_browser() as running:
        yield running


def tab_to(page: Any, words: str) -> None:
    """Go on by the tab key alone until what has the focus says so."""
    for _ in range(150):
        page.keyboard.press("Tab")
        if page.evaluate("(document.activeElement?.innerText ?? '').trim()").startswith(words):
            return
    raise AssertionError(f"{words!r} is not reached by the keyboard")


def push(page: Any, words: str, key: str = "Enter") -> None:
    tab_to(page, words)
    page.keyboard.press(key)


def prompt(page: Any, words: str) -> None:
    from playwright.sync_api import expect

    expect(page.locator("#prompt")).to_contain_text(words, timeout=LONG_MS)


@pytest.mark.slow
def test_every_button_of_a_session_works_by_keyboard(browser: Any, tmp_path: Path) -> None:
    two = in_a_row(notes(STRINGS)[:2])
    room = np.zeros(round(600 * RATE_HZ)) + 1e-5  # goes on after the second note, at its own pace
    sound = np.concatenate([two, room])
    with in_thread(tmp_path / "root", sound, paced_from_s=two.size / RATE_HZ - GAP_S) as (address, bench):
        new_folder(tmp_path / "root" / "one")
        bench.runner.begin(Begin(tmp_path / "root" / "one", course(STRINGS)))
        page = browser.new_page()
        page.set_default_timeout(LONG_MS)
        page.goto(f"{address}session/one", wait_until="domcontentloaded")
        prompt(page, "String 2: open")  # the third take
        page.wait_for_selector("text=2 of 6")
        push(page, "Skip")
        prompt(page, "press 1")
        push(page, "Undo")
        prompt(page, "open")
        push(page, "Play the last again")
        prompt(page, "fret 1")
        push(page, "Skip", "Space")  # gives the repeat up
        prompt(page, "open")
        push(page, "Pause")
        prompt(page, "Paused")
        push(page, "Go on")
        prompt(page, "open")
        page.focus("#what")
        page.keyboard.type("relief")
        page.focus("#value")
        page.keyboard.type("0.2")
        push(page, "Write it down")
        page.wait_for_selector("text=Written down: relief 0.2 mm.")
        assert read_settings(tmp_path / "root" / "one").settings.meter[-1].value_mm == pytest.approx(0.2)
        page.evaluate("document.activeElement.blur()")
        push(page, "Stop here")
        prompt(page, "Stopped")
        until(lambda: not bench.runner.busy)
        push(page, "Listen")
        until(lambda: bench.runner.stage is Stage.LISTENING)
        prompt(page, "String 2: open")  # the page has come anew
        push(page, "Finish")
        until(lambda: bench.runner.stage is Stage.ENDED, within_s=120.0)
        prompt(page, "Measured")
        tab_to(page, "The whole report")
        tab_to(page, "Seal it into a job")
        page.keyboard.press("Enter")
        page.wait_for_selector("#title")
        page.focus("#title")
        page.keyboard.type("Lamp room guitar")
        push(page, "Measure and seal")
        page.wait_for_selector("text=Sealed as pass 1.", timeout=LONG_MS)
        page.close()
    assert len(read_session(tmp_path / "root" / "one").takes) == 2


def drop(page: Any, paths: list[Path]) -> None:
    """Drop files on the page."""
    dropped = page.evaluate_handle(
        "files => { const data = new DataTransfer();"
        "for (const [name, bytes] of files) data.items.add(new File([new Uint8Array(bytes)], name));"
        "return data; }",
        [[path.name, list(path.read_bytes())] for path in paths],
    )
    page.dispatch_event("main", "drop", {"dataTransfer": dropped})


@pytest.mark.slow
def test_a_memo_is_dropped_corrected_and_measured(browser: Any, tmp_path: Path) -> None:
    memo = make_memo(SEED, Wish(kind="bass", course="short", encoder="m4a 64k", snr_db=32.0))
    path = memo.write(tmp_path)
    played = [h.position for h in memo.happenings if h.what == "pluck"]
    with in_thread(tmp_path / "root") as (address, bench):
        page = browser.new_page()
        page.set_default_timeout(LONG_MS)
        page.goto(address, wait_until="domcontentloaded")
        drop(page, [path])
        assert page.input_value("#memo-name")
        page.fill("#memo-name", "phone")
        page.select_option("#memo-kind", "bass")
        page.fill("#memo-scale", f"{memo.instrument.scale_mm} mm")
        page.click("text=Find out and measure")
        page.wait_for_selector(".sound svg", timeout=LONG_MS)
        assert page.locator(".sound .mark").count() == len(played)
        rows = read_session(bench.root / "phone-takes").takes
        assert [row.position for row in rows] == played
        wrong = next(row for row in rows if row.position.stop is Stop.PRESS)
        page.locator(".sound a").nth(wrong.row - 1).focus()  # the mark leads to its row
        page.keyboard.press("Enter")
        assert page.evaluate("location.hash") == f"#take-{wrong.row}"
        page.select_option(f"[name=stop-{wrong.row}]", "fret")
        page.uncheck(f"[name=use-{rows[-1].row}]")
        page.click("text=Measure again")
        page.wait_for_selector("svg.slot", timeout=LONG_MS)
        assert page.url.endswith("/report")
        page.close()
    after = read_session(tmp_path / "root" / "phone-takes").takes
    assert [row.position for row in after] == [
        Position(p.string, Stop.FRET, p.fret) if row is wrong else p
        for row, p in zip(rows[:-1], played[:-1], strict=True)
    ]


@pytest.mark.slow
def test_several_files_are_dropped_found_shown_and_measured(browser: Any, tmp_path: Path) -> None:
    """A memo in three files, the last two begun with a string; they are given in the order of playing."""
    memo = make_memo(SEED, Wish(kind="bass", course="short", snr_db=32.0))
    plucks = [h for h in memo.happenings if h.what == "pluck"]
    begins = [b for a, b in pairwise(plucks) if a.position.string != b.position.string][:2]
    cuts = [0, *(round((h.time_s - BEFORE_S) * MEMO_HZ) for h in begins), memo.samples.size]
    paths = [tmp_path / f"{name}.wav" for name in ("first", "then", "last")]
    for path, (start, end) in zip(paths, pairwise(cuts), strict=True):
        soundfile.write(path, memo.samples[start:end], MEMO_HZ)
    expected = [
        (f"{number:02d}-{path.name}", [h.position for h in plucks if start <= h.time_s * MEMO_HZ < end])
        for number, (path, (start, end)) in enumerate(zip(paths, pairwise(cuts), strict=True), 1)
    ]
    with in_thread(tmp_path / "root") as (address, bench):
        page = browser.new_page()
        page.set_default_timeout(LONG_MS)
        page.goto(address, wait_until="domcontentloaded")
        drop(page, paths)
        assert page.evaluate("document.getElementById('files').files.length") == 3
        assert page.input_value("#memo-name") == "first"
        assert page.evaluate("document.activeElement.id") == "memo-name"
        page.select_option("#memo-kind", "bass")
        page.fill("#memo-scale", f"{memo.instrument.scale_mm / 25.4:.4f} in")
        page.click("text=Find out and measure")
        page.wait_for_selector(".sound svg", timeout=LONG_MS)
        rows = read_session(bench.root / "first-takes").takes
        found = [
            (name, [r.position for r in rows if r.file == name])
            for name in dict.fromkeys(r.file for r in rows)
        ]
        assert found == expected
        assert read_settings(bench.root / "first-takes").settings.unit is LengthUnit.THOU
        assert page.locator("figure.sound").count() == 3
        assert page.locator(".sound .mark").count() == len(plucks)
        page.click("text=Measure again")
        page.wait_for_selector("svg.slot", timeout=LONG_MS)
        assert page.locator("svg.slot").count() >= len({h.position.string for h in plucks})
        page.close()


@pytest.mark.slow
def test_a_job_is_gone_on_with_killed_with_9_and_reopened_with_every_take(
    browser: Any, tmp_path: Path
) -> None:
    """Begun with its pass before, filed, heard again: two takes are accepted when the program is killed."""
    from playwright.sync_api import expect

    jobs = tmp_path / "kept" / "jobs"
    job = new_job(jobs, title="Lamp room guitar", now=NOW)
    source = outer_strings(tmp_path / "source", FIXTURES / "session-readings", last="6")
    new_folder(tmp_path / "guitar")  # the guitar that sounds
    settings = (tmp_path / "guitar" / "session.toml").read_bytes()
    (source / "session.toml").write_bytes(settings)
    add_pass(job.folder, source, now=NOW, workers=1)
    more = ("--no-tones", "--jobs", str(jobs))
    sitting = tmp_path / "kept" / "sessions" / f"{job.id}-02"
    with virtual_microphone() as microphone:
        sound = write_sound(tmp_path / "s.wav", in_a_row(notes(STRINGS)[:2]))
        with served(tmp_path / "root", environment=microphone.environment, more=more) as bench:
            page = browser.new_page()
            page.set_default_timeout(LONG_MS)
            page.goto(bench.address)
            page.click("text=Lamp room guitar")
            page.fill("[name=removed-2]", "0.1")
            page.select_option("#again-course", "quick")
            page.click("text=Begin the next pass")
            prompt(page, "String 2: open")
            player = microphone.play(sound)
            expect(page.locator("#progress")).to_contain_text("2 of ", timeout=LONG_MS)
            os.kill(bench.process.pid, signal.SIGKILL)
            bench.process.wait()
            player.kill()
            player.wait()
            page.close()
        entries = parse_course((sitting / "course.toml").read_text()).entries
        assert [entry.taken for entry in entries] == [True, True, False, False, False, False]
        with served(tmp_path / "root", environment=microphone.environment, more=more) as bench:
            page = browser.new_page()
            page.set_default_timeout(LONG_MS)
            page.goto(bench.address)
            page.click("text=Lamp room guitar")
            page.click("text=Begin the next pass")
            expect(page.locator("#progress")).to_contain_text("2 of ", timeout=LONG_MS)
            prompt(page, "String 2: open")
            page.click("text=Stop here")
            prompt(page, "Stopped")
            page.click("text=Seal it into a job")
            page.select_option("#kind", "final")
            page.click("text=Measure and seal")
            page.wait_for_selector("text=Sealed as pass 2.", timeout=LONG_MS)
            page.wait_for_selector("text=against pass 2 (final)", timeout=LONG_MS)
            page.close()
    kept = read_job(job.folder)
    assert [one.name for one in kept.passes] == ["before", "final"]
    assert [(r.string, r.amount_mm) for r in kept.passes[1].removed] == [(2, pytest.approx(0.1))]
    assert [row.position for row in read_session(kept.passes[1].folder).takes] == list(course(STRINGS)[:2])


@pytest.mark.slow
def test_the_input_is_tried_and_what_is_wrong_with_it_is_said(browser: Any, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    with (
        virtual_microphone() as microphone,
        served(tmp_path / "root", environment=microphone.environment) as bench,
    ):
        page = browser.new_page()
        page.set_default_timeout(LONG_MS)
        page.goto(bench.address)
        page.click("#try")
        expect(page.locator("#tried p").last).to_be_visible(timeout=LONG_MS)
        expect(page.locator("#try")).to_be_enabled(timeout=LONG_MS)
        said = page.locator("#tried").inner_text()
        assert "silen" in said.lower() or "nothing" in said.lower() or "no sound" in said.lower(), said
        page.close()
