"""The pages of the bench in a real browser: scripts of others, and the keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from helpers.bench_page import TOKEN, in_thread
from helpers.browser import open_browser
from helpers.listen import new_folder
from pitchcheck.bench.page_kit import Bench


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Bench]]:
    """A served bench with a session in which nothing was played."""
    root = tmp_path_factory.mktemp("bench")
    with in_thread(root) as (address, made):
        new_folder(root / "two")
        yield address, made


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with open_browser() as running:
        yield running


def test_no_script_of_others_runs(bench: tuple[str, Bench], browser: Any) -> None:
    address, _ = bench
    window = browser.new_page()
    said: list[str] = []
    window.on("console", lambda message: said.append(message.text))
    window.goto(address, wait_until="domcontentloaded")
    window.evaluate(
        "const s = document.createElement('script'); s.textContent = 'window.broken = 1';"
        "document.body.append(s); document.body.insertAdjacentHTML('beforeend', '<p onclick=\"1\">x</p>')"
    )
    assert window.evaluate("window.broken === undefined")
    assert any("Content Security Policy" in line for line in said)
    window.close()


def test_every_control_is_reached_by_keyboard_and_has_a_name(bench: tuple[str, Bench], browser: Any) -> None:
    address, _ = bench
    window = browser.new_page()
    window.goto(f"{address}session/two", wait_until="domcontentloaded")
    wanted = window.evaluate(
        "[...document.querySelectorAll('a, button, input, select, textarea, summary')]"
        ".filter(e => e.getClientRects().length && !e.disabled).length"
    )
    reached = set()
    for _ in range(wanted + 2):
        window.keyboard.press("Tab")
        reached.add(
            window.evaluate(
                "(() => { const e = document.activeElement; return e.dataset.n ??= Math.random() })()"
            )
        )
    assert len(reached) >= wanted
    assert TOKEN in window.url
    window.close()
