"""The bench page as a process of its own, and its pages in a real browser."""

from __future__ import annotations

import asyncio
import re
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from threading import Thread
from urllib.parse import unquote, urlencode

from helpers.listen import FileSource, room_noise
from pitchcheck.bench.app import make_app
from pitchcheck.bench.folders import Places
from pitchcheck.bench.guard import Guard
from pitchcheck.bench.hub import Hub
from pitchcheck.bench.input_try import InputTry
from pitchcheck.bench.page_kit import Bench
from pitchcheck.bench.runner import Runner
from pitchcheck.bench.worker import Worker
from pitchcheck.types import FloatArray
from pitchcheck.workflow.listen.ports import NoTones

PORT = 47_110
TOKEN = "a-token-of-the-test"
HOST = f"127.0.0.1:{PORT}"
WAIT_S = 30.0  # on a busy machine


@dataclass(frozen=True)
class RunningBench:
    """A served bench."""

    process: subprocess.Popen[str]
    address: str
    root: Path

    @property
    def port(self) -> int:
        return int(self.address.split(":")[2].split("/")[0])

    def end(self) -> None:
        """Ask it to end, and wait."""
        self.process.terminate()
        self.process.wait(timeout=WAIT_S)


@contextmanager
def served(
    root: Path, *, environment: Mapping[str, str], more: tuple[str, ...] = ()
) -> Iterator[RunningBench]:
    """Serve a bench until the block ends."""
    command = [sys.executable, "-m", "pitchcheck", "bench", str(root), "--no-browser", *more]
    process = subprocess.Popen(command, env=dict(environment), stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    try:
        found = re.search(r"http://\S+", process.stderr.readline())
        assert found is not None
        yield RunningBench(process, found[0], root)
    finally:
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(timeout=WAIT_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        process.stderr.close()


class PacedSource(FileSource):
    """A sound that is read as fast as it goes, and from a time on as slowly as it sounds."""

    def __init__(self, sound: FloatArray, *, from_s: float) -> None:
        super().__init__(sound)
        self._from = round(from_s * self.rate_hz)

    def read(self, timeout_s: float) -> FloatArray:
        piece = super().read(timeout_s)
        if self.read_samples > self._from:
            time.sleep(piece.size / self.rate_hz)
        return piece


@dataclass(frozen=True)
class Answer:
    """What the application answered."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode()


def hardly(seconds: float) -> None:
    """Wait next to nothing: a sound that is read from memory need not gather."""
    time.sleep(min(seconds, 0.0005))


class LastingWorker(Worker):
    """Worker processes that outlast a bench: they take seconds to start, the next needs them too."""

    def close(self) -> None:
        """Leave them to the end of the tests."""


@cache
def lasting_worker() -> LastingWorker:
    """Return the one of this process."""
    return LastingWorker()


@contextmanager
def in_process(
    root: Path, sound: FloatArray | None = None, *, port: int = PORT, paced_from_s: float | None = None
) -> Iterator[tuple[Guard, Bench]]:
    """Make a bench whose input is a sound, read as fast as it goes; without one it is a quiet room."""
    root.mkdir(parents=True, exist_ok=True)
    hub, worker = Hub(), lasting_worker()
    heard = room_noise(0.3) if sound is None else sound
    make = FileSource if paced_from_s is None else partial(PacedSource, from_s=paced_from_s)
    runner = Runner(source=lambda _: make(heard), tones=NoTones(), hub=hub, worker=worker, sleep=hardly)
    places = Places(root, root.parent / "kept" / "jobs")
    bench = Bench(places, TOKEN, hub, runner, InputTry(hub), worker)
    try:
        yield make_app(bench, port=port), bench
    finally:
        runner.close()


@contextmanager
def in_thread(
    root: Path, sound: FloatArray | None = None, *, paced_from_s: float | None = None
) -> Iterator[tuple[str, Bench]]:
    """Serve such a bench from a thread of this process; gives its address."""
    import uvicorn

    with socket.create_server(("127.0.0.1", 0)) as listening:
        port = listening.getsockname()[1]
        with in_process(root, sound, port=port, paced_from_s=paced_from_s) as (app, bench):
            config = uvicorn.Config(app, log_level="critical", lifespan="off", ws="none")
            config.timeout_graceful_shutdown = 1
            server = uvicorn.Server(config)
            thread = Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
            thread.start()
            yield f"http://127.0.0.1:{port}/{TOKEN}/", bench
            server.should_exit = True
            thread.join(WAIT_S)


def ask(
    app: Guard,
    path: str,
    *,
    method: str = "GET",
    form: Mapping[str, str] | None = None,
    body: bytes | None = None,
    headers: Mapping[str, str] | None = None,
    client: str = "127.0.0.1",
) -> Answer:
    """Ask as a browser that shows its page does; ``headers`` replace or add, an empty one takes away."""
    if form is not None:
        body = urlencode(form).encode()
    content = body or b""
    sent = {"host": HOST, "content-length": str(len(content))}
    if method == "POST":
        sent |= {"origin": f"http://{HOST}", "content-type": "application/x-www-form-urlencoded"}
    sent |= {name.lower(): value for name, value in (headers or {}).items()}
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "scheme": "http",
        "path": unquote(path.partition("?")[0]),
        "raw_path": path.partition("?")[0].encode(),
        "query_string": path.partition("?")[2].encode(),
        "root_path": "",
        "headers": [(k.encode(), v.encode()) for k, v in sent.items() if v],
        "client": (client, 50_000),
        "server": ("127.0.0.1", PORT),
    }
    found: list[dict[str, object]] = []
    pieces = [content[i : i + 65_536] for i in range(0, len(content), 65_536)] or [b""]

    sent_all = False

    async def receive() -> dict[str, object]:
        nonlocal sent_all
        if sent_all:
            await asyncio.Event().wait()  # the browser stays and says no more
        sent_all = len(pieces) < 2
        piece = pieces.pop(0) if pieces else b""
        return {"type": "http.request", "body": piece, "more_body": bool(pieces)}

    async def send(message: dict[str, object]) -> None:
        found.append(message)

    asyncio.run(app(scope, receive, send))
    start = found[0]
    return Answer(
        int(str(start["status"])),
        {k.decode().lower(): v.decode() for k, v in start["headers"]},
        b"".join(bytes(m.get("body", b"")) for m in found[1:]),
    )


def upload(app: Guard, path: str, files: Sequence[tuple[str, str, bytes]], **fields: str) -> Answer:
    """Send files (field, name, content) and fields as a browser sends them (RFC 7578)."""
    parts = [
        f'--x\r\nContent-Disposition: form-data; name="{name.replace("_", "-")}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    for field, name, content in files:
        head = f'--x\r\nContent-Disposition: form-data; name="{field}"; filename="{name}"\r\n\r\n'
        parts.append(head.encode() + content + b"\r\n")
    kind = {"content-type": "multipart/form-data; boundary=x"}
    return ask(app, path, method="POST", body=b"".join(parts) + b"--x--\r\n", headers=kind)


def until(true: Callable[[], object], *, within_s: float = WAIT_S) -> None:
    """Wait until a function returns something true."""
    end_s = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < end_s, "it did not come about"
        time.sleep(0.05)
