"""What every handler of the bench needs: its parts, pages from templates, refusals in words."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from pitchcheck.bench import forms
from pitchcheck.bench.folders import Places
from pitchcheck.bench.guard import REPORT_POLICY
from pitchcheck.bench.hub import Hub
from pitchcheck.bench.input_try import InputTry
from pitchcheck.bench.runner import Begin, Runner
from pitchcheck.bench.templating import render
from pitchcheck.bench.worker import Refused, Worker, refused
from pitchcheck.errors import PitchcheckError
from pitchcheck.session.gauge_entry import GaugeEntry
from pitchcheck.words import phrases

Result = TypeVar("Result")


@dataclass
class Bench:
    """Everything the pages share."""

    places: Places
    token: str
    hub: Hub
    runner: Runner
    tries: InputTry
    worker: Worker

    @property
    def root(self) -> Path:
        """The folder that holds the sessions."""
        return self.places.root


class PageKit:
    """Base of the handlers."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def page(self, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:
        """Return a page from a template."""
        shown = render(template, base=f"/{self._bench.token}", phrases=phrases, **values)
        return HTMLResponse(shown, status_code=status)

    def trouble(self, words: str, *, back: str, name: str, status: int = 400) -> HTMLResponse:
        """Return a page that says why something cannot be done; ``back`` is where one goes on."""
        return self.page("trouble.jinja", words=words, back=back, name=name, status=status)

    def to(self, path: str) -> RedirectResponse:
        """Lead on to another page."""
        return RedirectResponse(f"/{self._bench.token}/{path}", status_code=303)

    async def write_gauge(
        self, request: Request, folder: Path, keep: Callable[[Path, GaugeEntry], object]
    ) -> JSONResponse:
        """Let a reading of the gauge form be kept with a folder; answer what was written, or why not."""
        form = await request.form(max_fields=12, max_files=0)
        try:
            entry = forms.gauge(form)
            await run_in_threadpool(keep, folder, entry)
        except (PitchcheckError, OSError) as error:
            return JSONResponse({"said": refused(error).words}, status_code=400)
        return JSONResponse({"said": forms.gauge_words(entry)})

    async def worked(self, work: Callable[..., Result], *args: Any) -> Result | Refused:
        """Let the worker process do something, and wait for it."""
        try:
            return await asyncio.wrap_future(self._bench.worker.submit(work, *args))
        except Exception as error:
            # Faults that may be told came back as `Refused`; this is one of the program, or the process was
            # killed. A person at the bench gets a page and goes on; what was heard is kept either way.
            return Refused(
                f"It could not be worked out ({type(error).__name__}); nothing was changed. Try again."
            )

    def begin(self, begin: Begin) -> Response:
        """Let a session begin, and lead to its page; say so where another one is under way."""
        if not self._bench.runner.begin(begin):
            words = "Another session is under way. End it first."
            return self.session_trouble(begin.folder, Refused(words), status=409)
        return self.to(f"session/{begin.name or begin.folder.name}")

    def session_folder(self, request: Request) -> Path | None:
        """Return the session that an address names."""
        return self._bench.places.session(request.path_params["name"])

    def session_trouble(self, folder: Path, found: Exception | Refused, *, status: int = 400) -> HTMLResponse:
        """Return a page that says why something cannot be done with a session."""
        words = found.words if isinstance(found, Refused) else refused(found).words
        name = self._bench.places.name(folder)
        return self.trouble(words, back=f"session/{name}", name=folder.name, status=status)


def report_response(page: str) -> HTMLResponse:
    """Return a finished report, which is one file with its own style sheet and no script."""
    return HTMLResponse(page, headers={"content-security-policy": REPORT_POLICY})


def missing() -> Response:
    """Say that there is nothing at an address."""
    return Response("not found", status_code=404, media_type="text/plain")


def now() -> datetime:
    """Return the time here, with its offset from UTC."""
    return datetime.now(UTC).astimezone()
