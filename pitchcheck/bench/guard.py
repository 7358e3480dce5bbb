"""Who may ask the bench page for what: this machine's own page, by its token, and nobody else.

Conventions: checks come before any of the application's code sees the request. A page of another site that
makes the browser ask here is refused by Host (a name that was made to point here, "DNS rebinding"), by
Origin, and by the token in the address, which it cannot know.
"""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from contextlib import suppress
from typing import Any

LOOPBACK = ("127.0.0.1", "::1")
METHODS = ("GET", "HEAD", "POST")
FORM_BYTES = 256 * 1024  # of an ordinary form
UPLOAD_BYTES = 512 * 1024**2  # of recordings: forty minutes of stereo in 24 bits at 48 kHz take 690 MB as WAV
UPLOADS = ("/recordings", "/seal", "/step", "/import")  # ends of the paths that take files

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# A finished report is one file with its own style sheet and no script.
REPORT_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; media-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # "no-referrer" would make a form's Origin "null"
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]


class TooLarge(Exception):
    """More was sent than the address takes."""


class Guard:
    """Refuses whatever is not asked by the page itself.

    Parameters
    ----------
    app : ASGI application
    token : str
        First part of every address.
    port : int
    """

    def __init__(self, app: App, *, token: str, port: int) -> None:
        self._app = app
        self._token = token.encode()
        self._hosts = (f"127.0.0.1:{port}".encode(), f"localhost:{port}".encode())

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer it with a refusal."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        status = self._refusal(scope)
        if status:
            await _answer(send, status)
            return
        limit = UPLOAD_BYTES if str(scope["path"]).endswith(UPLOADS) else FORM_BYTES
        length = _header(scope, b"content-length")
        if length is not None and not (length.isdigit() and len(length) < 20 and int(length) <= limit):
            await _answer(send, 413)
            return
        begun = False
        body = _Body(receive, limit)

        async def answer(message: Message) -> None:
            nonlocal begun
            if body.too_long and not begun:
                return  # what the application says of a body that was cut off
            if message["type"] == "http.response.start":
                begun = True
                there = {name.lower() for name, _ in message["headers"]}
                message["headers"] = [
                    *message["headers"],
                    *((k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in there),
                ]
            await send(message)

        with suppress(TooLarge):
            await self._app(scope, body.take, answer)
        if body.too_long and not begun:
            await _answer(send, 413)

    def _refusal(self, scope: Message) -> int:
        """Return the status of a refusal, 0 for none."""
        client = scope.get("client")
        hosts = [value for name, value in scope["headers"] if name == b"host"]
        if client is None or client[0] not in LOOPBACK:
            return 403
        if len(hosts) != 1 or hosts[0] not in self._hosts:
            return 421  # RFC 9110, 15.5.20: not meant for this server
        if scope["method"] not in METHODS:
            return 405
        first = str(scope["path"]).split("/")[1].encode()
        if not hmac.compare_digest(first, self._token):
            return 404
        site = _header(scope, b"sec-fetch-site")  # W3C Fetch Metadata: sent by browsers only
        if site is not None and site not in (b"same-origin", b"none"):
            return 403
        if scope["method"] == "POST" and _header(scope, b"origin") != b"http://" + hosts[0]:
            return 403
        return 0


def _header(scope: Message, name: bytes) -> bytes | None:
    return next((value for key, value in scope["headers"] if key == name), None)


class _Body:
    """A request's body, handed on until it is too long."""

    def __init__(self, receive: Receive, limit: int) -> None:
        self._receive, self._left = receive, limit
        self.too_long = False

    async def take(self) -> Message:
        """Return the next piece."""
        message = await self._receive()
        self._left -= len(message.get("body", b""))
        if self._left < 0:
            self.too_long = True
            raise TooLarge
        return message


async def _answer(send: Send, status: int) -> None:
    words = {403: "refused", 404: "not found", 405: "not allowed", 413: "too large", 421: "wrong host"}
    headers = [(b"content-type", b"text/plain; charset=utf-8")]
    headers += [(k.encode(), v.encode()) for k, v in HEADERS.items()]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": words[status].encode()})
