"""Who the bench page answers: its own page on this machine, and nobody else."""

from __future__ import annotations

import socket
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path

import pytest

from helpers.bench_page import HOST, PORT, TOKEN, ask, in_process
from pitchcheck.bench.guard import FORM_BYTES, UPLOAD_BYTES, Guard
from pitchcheck.bench.page_kit import Bench
from pitchcheck.bench.server import HOST as BOUND

NEW = f"/{TOKEN}/sessions"
FORM = {"name": "one", "kind": "electric", "course": "quick"}


@pytest.fixture
def app(tmp_path: Path) -> Iterator[Guard]:
    with in_process(tmp_path / "root") as (made, _):
        yield made


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[tuple[Guard, Bench]]:
    with in_process(tmp_path / "root") as made:
        yield made


def test_its_own_page_is_answered_and_may_run_nothing_but_its_own_script(app: Guard) -> None:
    answer = ask(app, f"/{TOKEN}/")
    assert answer.status == 200
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    assert "<script>" not in answer.text
    assert " style=" not in answer.text
    assert " onclick" not in answer.text


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:47110", "127.0.0.1", "127.0.0.1:1", "localhost.evil.example:47110", ""],
)
def test_a_name_that_was_made_to_point_here_is_refused(app: Guard, host: str) -> None:
    assert ask(app, f"/{TOKEN}/", headers={"host": host}).status == 421


def test_another_machine_is_refused(app: Guard) -> None:
    assert ask(app, f"/{TOKEN}/", client="192.0.2.7").status == 403
    assert BOUND == "127.0.0.1"
    with socket.create_server((BOUND, 0)) as listening:  # what is bound is the loopback alone
        assert listening.getsockname()[0] == "127.0.0.1"


@pytest.mark.parametrize("path", ["/", "//", "/wrong/", f"/{TOKEN}x/", f"/{TOKEN[:-1]}/", f"/x/{TOKEN}/"])
def test_without_the_token_nothing_is_there(app: Guard, path: str) -> None:
    assert ask(app, path).status == 404


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": ""},
        {"origin": "null"},
        {"origin": "http://evil.example"},
        {"origin": "https://" + HOST},
        {"origin": "http://127.0.0.1:1"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_form_of_another_page_changes_nothing(bench: tuple[Guard, Bench], headers: dict[str, str]) -> None:
    app, made = bench
    assert ask(app, NEW, method="POST", form=FORM, headers=headers).status == 403
    assert list(made.root.iterdir()) == []


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"])
def test_other_methods_are_refused(app: Guard, method: str) -> None:
    assert ask(app, f"/{TOKEN}/", method=method).status == 405


def test_nothing_is_changed_by_get(bench: tuple[Guard, Bench]) -> None:
    app, made = bench
    assert ask(app, NEW, method="POST", form=FORM).status == 303
    made.runner.stop()
    before = {p: p.read_bytes() for p in made.root.rglob("*") if p.is_file()}
    for path in ("", "sessions", "input", "try", "recordings", "session/one"):
        assert ask(app, f"/{TOKEN}/{path}").status in (200, 404, 405)
    for path in ("open", "press", "stop", "gauge", "filed"):
        assert ask(app, f"/{TOKEN}/session/one/{path}").status == 405
    assert {p: p.read_bytes() for p in made.root.rglob("*") if p.is_file()} == before
    assert not made.runner.busy


@pytest.mark.parametrize(
    "name",
    [
        "..",
        ".",
        "../outside",
        "..%2foutside",
        "%2e%2e",
        "/etc",
        "one/..",
        "a\\b",
        "link",
        "nul",
        "x" * 61,
        "o%00ne",
    ],
)
def test_a_name_never_leads_out_of_the_benchs_folder(bench: tuple[Guard, Bench], name: str) -> None:
    app, made = bench
    outside = made.root.parent / "outside"
    outside.mkdir()
    (outside / "session.toml").write_text("schema = 1\n")
    (made.root / "link").symlink_to(outside)
    for path in ("", "/report", "/takes", "/nut"):
        assert ask(app, f"/{TOKEN}/session/{name}{path}").status == 404
    if name != "link":
        said = ask(app, NEW, method="POST", form={**FORM, "name": name})
        assert said.status == 400
    assert sorted(p.name for p in made.root.iterdir()) == ["link"]
    assert sorted(p.name for p in outside.iterdir()) == ["session.toml"]


def test_static_files_are_two_and_no_more(app: Guard) -> None:
    assert ask(app, f"/{TOKEN}/static/bench.js").headers["content-type"].startswith("text/javascript")
    assert "prefers-color-scheme: dark" in ask(app, f"/{TOKEN}/static/bench.css").text
    for name in ("start.jinja", "../app.py", "..%2fapp.py", "bench.js/"):
        assert ask(app, f"/{TOKEN}/static/{name}").status in (404, 307)


def test_what_is_too_large_is_refused_by_what_is_said_and_by_what_comes(app: Guard) -> None:
    big = b"name=" + b"x" * FORM_BYTES
    assert ask(app, NEW, method="POST", body=big).status == 413
    assert ask(app, NEW, method="POST", body=big, headers={"content-length": ""}).status == 413
    assert ask(app, NEW, method="POST", body=big, headers={"content-length": "10"}).status == 413
    for said in (str(UPLOAD_BYTES + 1), "-1", "1e9", "9" * 40):
        length = {"content-length": said}
        assert ask(app, f"/{TOKEN}/recordings", method="POST", body=b"x", headers=length).status == 413


def test_a_kind_of_instrument_never_names_a_file(bench: tuple[Guard, Bench]) -> None:
    app, made = bench
    secret = made.root.parent / "secret.toml"
    secret.write_text("schema = 1\n", encoding="utf-8")
    for kind in (str(secret), "../secret.toml", "secret.toml"):
        said = ask(app, NEW, method="POST", form={**FORM, "kind": kind})
        assert said.status == 400
        assert "no kind of instrument" in said.text
    assert list(made.root.iterdir()) == []


@pytest.mark.parametrize(("path", "status"), [(f"/{TOKEN}/", 200), ("/", 404), (f"/{TOKEN}x/", 404)])
def test_the_guard_itself_asks_for_the_token(path: str, status: int) -> None:
    async def anything(scope: object, receive: object, send: Callable[..., Awaitable[None]]) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    assert ask(Guard(anything, token=TOKEN, port=PORT), path).status == status
