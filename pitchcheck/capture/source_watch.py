"""Whether the sound server has given our stream another source.

When a microphone is unplugged some sound servers go on with another one, and nothing in the audio library
tells. Where the server's own command is on the computer it is asked, now and then, which source our process
hears; elsewhere this cannot be known, and nothing is said.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from threading import Event, Thread
from typing import Any

ASK_EVERY_S = 2.0  # [s]
ANSWER_S = 2.0  # [s] allowed for an answer
TRIES = 3  # without any answer: then our sound does not come from such a server


class SourceWatch:
    """Asks, in a thread of its own, which source this process hears."""

    def __init__(self) -> None:
        self._first: str | None = None
        self._now: str | None = None
        self._over = Event()
        command = shutil.which("pactl")
        if command is not None:
            Thread(target=self._watch, args=(command,), name="watching the source", daemon=True).start()

    def change(self) -> tuple[str, str] | None:
        """Return the source before and now, if it has changed."""
        if self._first is None or self._now is None or self._now == self._first:
            return None
        return self._first, self._now

    def close(self) -> None:
        """Ask no more."""
        self._over.set()

    def _watch(self, command: str) -> None:
        """Ask until closed, or until there was no answer at all."""
        tries = 0
        while not self._over.is_set():
            source = source_heard(command, process=os.getpid())
            if source is not None:
                self._first = self._first or source
                self._now = source
            elif self._first is None:
                tries += 1
                if tries == TRIES:
                    return
            self._over.wait(ASK_EVERY_S)


def source_heard(command: str, *, process: int) -> str | None:
    """Return the name of the source that a process hears, or None where that cannot be told."""
    outputs = _ask(command, "source-outputs")
    ours = [o for o in outputs if str(o.get("properties", {}).get("application.process.id")) == str(process)]
    if len(ours) != 1:
        return None
    sources = {source.get("index"): source for source in _ask(command, "sources")}
    name = sources.get(ours[0].get("source"), {}).get("name")
    return None if name is None else str(name)


def _ask(command: str, what: str) -> list[dict[str, Any]]:
    """Return the server's list, empty where it gives none."""
    try:
        answer = subprocess.run(
            [command, "--format=json", "list", what],
            capture_output=True,
            timeout=ANSWER_S,
            check=True,
            stdin=subprocess.DEVNULL,
        )
        found = json.loads(answer.stdout)
    except (OSError, ValueError, subprocess.SubprocessError):
        return []
    return found if isinstance(found, list) else []
