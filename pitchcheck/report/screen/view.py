"""The screen of a session at the microphone, line by line: what to play, what is heard, what is done.

Conventions: a line is a text and whether it is bold; nothing is said by colour, and nothing moves but the
level and the pitch trace. Lines are made to a width and a height in characters; what is least needed gives
way first. String 1 at the top of the map, as on the other pictures.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.guide.events import GuideView, Phase, PlaceState
from pitchcheck.instrument import Instrument
from pitchcheck.report.screen.letters import big
from pitchcheck.report.screen.take_map import neck_map
from pitchcheck.report.screen.trace import draw_trace

NARROWEST = 40  # columns; our choice
LONGEST_PROMPT = 40  # characters of a prompt that is worth big letters
TRACE_ROWS = 5
SILENT_DB, QUIET_DB, LOUD_DB, FULL_DB = -75.0, -45.0, -9.0, -1.0  # [dB full scale] words for a level; ours
BAR_FROM_DB = -80.0


@dataclass(frozen=True)
class Scene:
    """What is to be seen now.

    Attributes
    ----------
    instrument : Instrument
    view : GuideView
    keys : tuple of (str, str)
        Keys that do something now, and what.
    note : str
        Last thing the program had to say beside the session itself; empty at first.
    """

    instrument: Instrument
    view: GuideView
    keys: tuple[tuple[str, str], ...]
    note: str = ""


@dataclass(frozen=True)
class Line:
    """One line of the screen."""

    text: str
    bold: bool = False


def screen_lines(scene: Scene, *, width: int, height: int) -> list[Line]:
    """Return the screen, at most ``height`` lines of at most ``width`` characters.

    Parameters
    ----------
    scene : Scene
    width, height : int
        Of the terminal. Below 40 columns lines are cut off at the right.
    """
    wide = max(width, NARROWEST)
    view = scene.view
    head = _prompt(view, wide)
    hint = _wrap(view.hint, wide)
    foot = [
        *_wrap(view.said, wide, bold=True),
        *_wrap(scene.note, wide),
        Line(progress_words(view)),
        *_wrap(keys_words(scene.keys), wide),
    ]
    level = [Line(level_line(view.level_db, width=wide))] if view.phase in _HEARS else []
    left = height - len(head) - len(hint) - len(level) - len(foot)
    room = left - len(level)  # a line is kept for the pitch
    map_lines = [Line(text) for text in neck_map(scene.instrument, view.course, width=wide, height=room)]
    if map_lines and room > len(map_lines):
        map_lines.insert(0, Line(""))
    left -= len(map_lines)
    trace = [Line(text) for text in _trace(view, width=wide, rows=left)] if level else []
    space = [Line("")] if left > len(trace) else []
    body = [*head, *hint, *level, *trace, *map_lines, *space]
    lines = [*body[: max(0, height - len(foot))], *foot]
    return [Line(line.text[:width].rstrip(), line.bold) for line in lines[:height]]


_HEARS = {Phase.WAITING, Phase.HEARING, Phase.STORING, Phase.PAUSED}


def level_line(level_db: float, *, width: int) -> str:
    """Return the level as a bar, in decibels and in a word."""
    words = f"{level_db:4.0f} dB  {level_word(level_db)}"
    room = max(10, min(40, width - len("level  ") - 24))
    part = (max(level_db, BAR_FROM_DB) - BAR_FROM_DB) / -BAR_FROM_DB
    full = min(room, round(part * room))
    return f"level {'█' * full}{'·' * (room - full)} {words}"


def level_word(level_db: float) -> str:
    """Return a level in one or two words."""
    for limit, word in ((SILENT_DB, "silent"), (QUIET_DB, "quiet"), (LOUD_DB, "good"), (FULL_DB, "loud")):
        if level_db < limit:
            return word
    return "too loud"


def progress_words(view: GuideView) -> str:
    """Return how far the session is."""
    skipped = sum(state is PlaceState.SKIPPED for _, state in view.course)
    words = f"{view.taken} of {len(view.course)} takes"
    if skipped:
        words += f", {skipped} left out"
    if view.left_s is not None and view.phase is not Phase.FINISHED:
        words += f", {left_words(view.left_s)} left"
    return words


def left_words(left_s: float) -> str:
    """Return a stretch of time in plain words."""
    if left_s < 90:
        return "about a minute"
    return f"about {round(left_s / 60)} minutes"


def keys_words(keys: Sequence[tuple[str, str]]) -> str:
    """Return the keys and what they do, in one line."""
    return "keys: " + "  ".join(f"{key} {words}" for key, words in keys) if keys else ""


def _prompt(view: GuideView, width: int) -> list[Line]:
    """Return the one thing to do now, in big letters when it is short enough."""
    if len(view.prompt) <= LONGEST_PROMPT:
        for pieces in ((view.prompt,), tuple(view.prompt.split(": ", 1))):
            rows = [big(piece) for piece in pieces]
            if all(row is not None and len(row[0]) <= width for row in rows):
                return [Line(text, bold=True) for row in rows if row is not None for text in row]
    return [*_wrap(view.prompt, width, bold=True), Line("")]


def _trace(view: GuideView, *, width: int, rows: int) -> list[str]:
    """Return the pitch as a drawing, or in one line where there is no room for it."""
    if rows >= TRACE_ROWS:
        return draw_trace(view.trace, width=width, rows=TRACE_ROWS)
    if rows < 1:
        return []
    return [f"pitch {view.trace[-1][1]:+.1f} cents from its nominal place" if view.trace else "pitch"]


def _wrap(text: str, width: int, *, bold: bool = False) -> list[Line]:
    return [Line(line, bold) for line in textwrap.wrap(text, width)]
