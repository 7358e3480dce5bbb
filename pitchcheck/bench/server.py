"""Serves the bench page on this machine, until it is ended."""

from __future__ import annotations

import secrets
import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path
from threading import Timer

from pitchcheck.bench.app import make_app
from pitchcheck.bench.folders import Places
from pitchcheck.bench.hub import Hub
from pitchcheck.bench.input_try import InputTry
from pitchcheck.bench.page_kit import Bench
from pitchcheck.bench.runner import Runner
from pitchcheck.bench.worker import Worker
from pitchcheck.errors import BadValue
from pitchcheck.jobs.layout import jobs_place
from pitchcheck.workflow.listen.input import microphone, tones

HOST = "127.0.0.1"  # this machine and no other
TOKEN_BYTES = 24
OPEN_AFTER_S = 0.5
END_S = 1  # [s] given to open connections at the end


def serve(
    root: Path,
    *,
    jobs: Path | None = None,
    port: int = 0,
    device: str | None = None,
    rate_hz: float | None = None,
    channel: int = 1,
    with_tones: bool = True,
    browser: bool = True,
    say: Callable[[str], None],
) -> None:
    """Serve the page until Ctrl-C, a request to end, or a closed window.

    Parameters
    ----------
    root : Path
        The folder that holds the sessions; made if needed.
    jobs : Path, optional
        The folder that holds the jobs; by default where the command line keeps them.
    port : int
        0 takes a free one.
    device, rate_hz, channel
        The input, until another is chosen on the page.
    with_tones : bool
    browser : bool
        Open the page in the system's browser.
    say : callable
        Told the address.

    Raises
    ------
    BadValue
        If the folder cannot be made or the port is taken.
    """
    import uvicorn

    try:
        root.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadValue(f"{root} cannot be made ({error.strerror}). Name another folder.") from error
    hub, worker = Hub(), Worker()
    runner = Runner(
        source=lambda chosen: microphone(
            device=chosen.device or device, rate_hz=rate_hz, channel=chosen.channel or channel
        ),
        tones=tones(with_tones),
        hub=hub,
        worker=worker,
    )
    places = Places(root, jobs_place(jobs))
    bench = Bench(places, secrets.token_urlsafe(TOKEN_BYTES), hub, runner, InputTry(hub), worker)
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((HOST, port))
            listening.listen()  # a browser that comes before the server runs waits instead of being refused
        except OSError as error:
            raise BadValue(f"Port {port} is taken ({error.strerror}). Name another, or none.") from error
        address = f"http://{HOST}:{listening.getsockname()[1]}/{bench.token}/"
        app = make_app(bench, port=listening.getsockname()[1])
        config = uvicorn.Config(
            app,
            log_level="critical",
            access_log=False,  # it would write the token
            lifespan="off",
            server_header=False,
            timeout_graceful_shutdown=END_S,
            http="h11",
            ws="none",
        )
        say(f"The bench is open at {address}")
        say("Only this machine can see it. Ctrl-C ends it; what was accepted is kept.")
        if browser:
            Timer(OPEN_AFTER_S, webbrowser.open, [address]).start()
        try:
            uvicorn.Server(config).run(sockets=[listening])
        finally:
            runner.close()
