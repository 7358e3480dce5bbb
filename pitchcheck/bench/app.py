"""The application of the bench: every address, guarded; what is the same for all pages.

Conventions: every address begins with the token (``guard``). Nothing is changed by GET. A refusal that can be
acted on is shown as a page. The pages are in ``start_pages``, ``session_pages``, ``seal_pages`` and
``job_pages``.
"""

from __future__ import annotations

import json
from collections.abc import AsyncIterator

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Mount, Route

from pitchcheck.bench.guard import Guard
from pitchcheck.bench.job_pages import JobPages
from pitchcheck.bench.page_kit import Bench, PageKit, missing
from pitchcheck.bench.seal_pages import SealPages
from pitchcheck.bench.session_pages import SessionPages
from pitchcheck.bench.start_pages import StartPages
from pitchcheck.bench.templating import STATIC, static


def make_app(bench: Bench, *, port: int) -> Guard:
    """Return the application, guarded."""
    pages = (StartPages, SessionPages, SealPages, JobPages, Shared)
    routes = [route for made in pages for route in made(bench).routes()]
    return Guard(Starlette(routes=[Mount(f"/{bench.token}", routes=routes)]), token=bench.token, port=port)


class Shared(PageKit):
    """Handlers of what every page asks for."""

    def routes(self) -> list[Route]:
        """Return the addresses."""
        return [Route("/static/{name}", self.static), Route("/events", self.events)]

    async def static(self, request: Request) -> Response:
        """Give the style sheet or the script."""
        name = request.path_params["name"]
        if name not in STATIC:
            return missing()
        return Response(static(name), media_type=STATIC[name])

    async def events(self, request: Request) -> Response:
        """Stream the state: every part, then each as it changes (server-sent events, WHATWG HTML 9.2)."""

        async def stream() -> AsyncIterator[str]:
            async for news in self._bench.hub.news():
                yield ":\n\n" if news is None else f"event: {news[0]}\ndata: {json.dumps(news[1])}\n\n"

        return StreamingResponse(stream(), media_type="text/event-stream")
