"""The pages of the bench in a real browser: nothing sticks out, nothing is wrong for those who cannot see."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from helpers.bench_page import TOKEN, in_thread, until
from helpers.browser import open_browser
from helpers.listen import in_a_row, new_folder, notes
from pitchcheck.bench.page_kit import Bench
from pitchcheck.bench.runner import Begin

PAGES = ("", "session/one", "session/one/takes", "session/two", "session/two/takes")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Bench]]:
    """A served bench with a session that was begun: two takes of string 2."""
    root = tmp_path_factory.mktemp("bench")
    with in_thread(root, in_a_row(notes((2,))[:2])) as (address, made):
        new_folder(root / "one")
        new_folder(root / "two")
        from helpers.listen import course

        made.runner.begin(Begin(root / "one", course((2,))))
        until(lambda: not made.runner.busy)
        yield address, made


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with open_browser() as running:
        yield running


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1600, "light")])
def test_every_page_fits_and_has_no_violation(
    bench: tuple[str, Bench], browser: Any, page: str, width: int, scheme: str
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    address, _ = bench
    window = browser.new_page(
        viewport={"width": width, "height": 800},
        color_scheme=scheme,
        reduced_motion="reduce",
        bypass_csp=True,
    )
    asked: list[str] = []
    window.on("request", lambda request: asked.append(request.url))
    window.goto(address + page, wait_until="domcontentloaded")
    window.wait_for_timeout(300)
    assert window.evaluate("document.documentElement.scrollWidth") <= width
    found = Axe().run(window).response["violations"]
    assert [f"{v['id']}: {node['html']}" for v in found for node in v["nodes"]] == []
    assert [
        url for url in asked if not url.startswith((address, "data:"))
    ] == []  # nothing leaves the machine
    window.close()


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
