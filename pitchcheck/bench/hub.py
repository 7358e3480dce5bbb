"""What the page shows now, handed from the thread that listens to every browser tab that is open.

Conventions: the state has named parts; a tab that is slow gets the latest of each and never a queue of old
ones, so nothing grows.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from threading import Lock
from typing import Any

BEAT_S = 10.0  # [s] without news, after which a sign of life is sent


class Hub:
    """The latest state, and who waits for the next."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._parts: dict[str, tuple[int, Any]] = {}
        self._version = 0
        self._waiting: set[asyncio.Event] = set()
        self._loop: asyncio.AbstractEventLoop | None = None

    def publish(self, **parts: Any) -> None:
        """Put parts of the state in place; a part that has not changed is no news. Any thread may call it."""
        with self._lock:
            fresh = {k: v for k, v in parts.items() if k not in self._parts or self._parts[k][1] != v}
            if not fresh:
                return
            self._version += 1
            self._parts.update({name: (self._version, value) for name, value in fresh.items()})
            loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self._wake)

    def part(self, name: str) -> Any:
        """Return one part as it is now; None if there is none."""
        with self._lock:
            return self._parts.get(name, (0, None))[1]

    async def news(self) -> AsyncIterator[tuple[str, Any] | None]:
        """Give every part, then each as it changes; None is a sign of life."""
        self._loop = asyncio.get_running_loop()
        event = asyncio.Event()
        self._waiting.add(event)
        seen = 0
        try:
            while True:
                event.clear()
                with self._lock:
                    fresh = [(name, value) for name, (at, value) in self._parts.items() if at > seen]
                    seen = self._version
                for name, value in fresh:
                    yield name, value
                if not fresh:
                    try:
                        await asyncio.wait_for(event.wait(), BEAT_S)
                    except TimeoutError:
                        yield None
        finally:
            self._waiting.discard(event)

    def _wake(self) -> None:
        for event in self._waiting:
            event.set()
