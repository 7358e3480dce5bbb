"""Draws the screen of a session at the microphone on a terminal it has for itself.

Conventions: at most ten pictures a second, and at once when there is something new to read.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType

from rich.console import Console, ConsoleOptions, RenderResult
from rich.live import Live
from rich.text import Text

from pitchcheck.guide.scene import Scene
from pitchcheck.report.screen.view import Line, screen_lines
from pitchcheck.words.microphone import SceneWords, scene_words

EVERY_S = 0.1


class LiveScreen:
    """A whole terminal, redrawn in place; given back at the end of a ``with`` block.

    Parameters
    ----------
    console : rich.console.Console
    clock : callable
        Seconds on a clock that never goes back.
    """

    def __init__(self, console: Console, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._live = Live(
            console=console, screen=True, auto_refresh=False, redirect_stdout=False, redirect_stderr=False
        )
        self._clock = clock
        self._drawn_s = float("-inf")
        self._read: tuple[SceneWords, str] | None = None

    def __enter__(self) -> LiveScreen:
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with suppress(OSError):  # the window was closed
            self._live.stop()

    def show(self, scene: Scene) -> None:
        """Draw a scene, if it is time."""
        read = (scene_words(scene), f"{scene.keys} {scene.help}")
        now_s = self._clock()
        if read == self._read and now_s - self._drawn_s < EVERY_S:
            return
        self._read, self._drawn_s = read, now_s
        self._live.update(Drawn(scene), refresh=True)


class Drawn:
    """A scene as it is drawn, to the size of whatever it is drawn on."""

    def __init__(self, scene: Scene) -> None:
        self._scene = scene

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Give the lines to the console."""
        height = options.height or console.height
        for line in screen_lines(self._scene, width=options.max_width, height=height):
            yield Text(line.text, style=_style(line), no_wrap=True, end="\n")


def _style(line: Line) -> str:
    return f"{'bold' if line.bold else ''} {'reverse' if line.inverse else ''}".strip()
