"""The screen of a session at the microphone, line by line: what to play, what is heard, what is done.

Conventions: a line is a text and whether it is bold; nothing is said by colour, and nothing moves but the
level and the pitch trace. Lines are made to a width and a height in characters; what is least needed gives
way first. String 1 at the top of the map, as on the other pictures.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from pitchcheck.guide.events import GuideView, Phase
from pitchcheck.guide.scene import Scene
from pitchcheck.report.screen.letters import big
from pitchcheck.report.screen.take_map import take_map
from pitchcheck.report.screen.trace import draw_trace
from pitchcheck.words.microphone import SceneWords, help_words, keys_words, progress_words, scene_words

NARROWEST = 40  # columns; our choice
LONGEST_PROMPT = 40  # characters of a prompt that is worth big letters
MOST_SCALE, LINES_A_SCALE = 3, 18  # letters grow by one for so many lines of the terminal; ours
TRACE_ROWS = 5
SILENT_DB, QUIET_DB, LOUD_DB, FULL_DB = -75.0, -45.0, -9.0, -1.0  # [dB full scale] words for a level; ours
BAR_FROM_DB = -80.0


@dataclass(frozen=True)
class Line:
    """One line of the screen."""

    text: str
    bold: bool = False
    inverse: bool = False  # dark on light where the rest is light on dark, or the other way round


def screen_lines(scene: Scene, *, width: int, height: int) -> list[Line]:
    """Return the screen, at most ``height`` lines of at most ``width`` characters.

    Parameters
    ----------
    scene : Scene
    width, height : int
        Of the terminal. Below 40 columns lines are cut off at the right.
    """
    wide = max(width, NARROWEST)
    view, words = scene.view, scene_words(scene)
    head = _prompt(words, wide, height)
    hint = _wrap(words.hint, wide)
    foot = [
        *_wrap(words.said, wide, bold=True),
        *_wrap(words.notes, wide),
        Line(progress_words(view)),
        *_wrap(keys_words(scene.keys), wide),
    ]
    hears = view.phase in _HEARS and scene.measuring is None and scene.entry is None
    level = [Line(level_line(view.level_db, width=wide))] if hears else []
    left = height - len(head) - len(hint) - len(level) - len(foot)
    room = left - len(level)  # a line is kept for the pitch
    if scene.help:
        map_lines = [line for text in help_words(scene.keys) for line in _wrap(text, wide)][: max(0, room)]
    else:
        map_lines = [Line(text) for text in take_map(scene.instrument, view, width=wide, height=room)]
    if map_lines and room > len(map_lines):
        map_lines.insert(0, Line(""))
    left -= len(map_lines)
    trace = [Line(text) for text in _trace(view, width=wide, rows=left)] if level else []
    space = [Line("")] if left > len(trace) else []
    body = [*head, *hint, *level, *trace, *map_lines, *space]
    lines = [*body[: max(0, height - len(foot))], *foot]
    return [Line(line.text[:width].rstrip(), line.bold, line.inverse) for line in lines[:height]]


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


def _prompt(words: SceneWords, width: int, height: int) -> list[Line]:
    """Return the one thing to do now, in letters as big as there is room for; a verdict stands on a bar."""
    text = words.flash or words.prompt
    flash = bool(words.flash)
    if len(text) <= LONGEST_PROMPT:
        for scale in range(min(MOST_SCALE, height // LINES_A_SCALE), 0, -1):
            for parts in ((text,), tuple(text.split(": ", 1))):
                rows = [big(part, scale=scale) for part in parts]
                if all(row is not None and len(row[0]) <= width for row in rows):
                    lines = [line for row in rows if row is not None for line in row]
                    return [Line(line.ljust(width) if flash else line, True, flash) for line in lines]
    return [*_wrap(text, width, bold=True), Line("")]


def _trace(view: GuideView, *, width: int, rows: int) -> list[str]:
    """Return the pitch as a drawing, or in one line where there is no room for it."""
    if rows >= TRACE_ROWS:
        return draw_trace(view.trace, width=width, rows=TRACE_ROWS)
    if rows < 1:
        return []
    return [f"pitch {view.trace[-1][1]:+.1f} cents from its nominal place" if view.trace else "pitch"]


def _wrap(text: str, width: int, *, bold: bool = False) -> list[Line]:
    return [Line(line, bold) for line in textwrap.wrap(text, width)]
