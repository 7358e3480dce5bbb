"""What the page shows of a session, as plain data: the scene in words, the takes, the level, the pitch.

Conventions: pure; every value is ready to be shown. ``scene_parts`` gives what changes seldom apart from what
changes with every block of sound.
"""

from __future__ import annotations

from typing import Any

from pitchcheck.guide.events import Phase
from pitchcheck.guide.scene import Scene
from pitchcheck.guide.take_list import TakeState
from pitchcheck.report.screen.view import level_word
from pitchcheck.takes import Position, Stop
from pitchcheck.words.microphone import KEY_WORDS, progress_words, scene_words, string_words

TRACE_STEP_CENTS = 0.1  # finer is not drawn
LEVEL_FROM_DB = -80.0


def scene_parts(scene: Scene) -> dict[str, Any]:
    """Return the parts of the state that a scene fills: ``scene`` and ``live``."""
    view, words = scene.view, scene_words(scene)
    position = view.position
    shown = {
        "phase": "measuring" if scene.measuring is not None else view.phase.value,
        "prompt": words.prompt,
        "hint": words.hint,
        "said": words.said,
        "flash": words.flash.lower(),
        "notes": words.notes,
        "progress": progress_words(view),
        "taken": view.taken,
        "keys": [{"key": k.value, "name": KEY_WORDS[k][0], "does": KEY_WORDS[k][1]} for k in scene.keys],
        "hands": None if position is None or view.lost else hands(position),
        "fret": None if position is None else position.fret,
        "string": None if position is None else position.string,
        "which": "" if position is None else string_words(position.string, instrument=scene.instrument),
        "map": take_rows(scene),
    }
    trace = [[round(s, 2), round(c / TRACE_STEP_CENTS) * TRACE_STEP_CENTS] for s, c in view.trace]
    heard = view.phase in (Phase.WAITING, Phase.HEARING, Phase.STORING, Phase.PAUSED)
    live = {
        "level": round(max(view.level_db, LEVEL_FROM_DB), 1) if heard else LEVEL_FROM_DB,
        "word": level_word(view.level_db) if heard else "",
        "trace": [[s, round(c, 1)] for s, c in trace] if heard else [],
    }
    return {"scene": shown, "live": live}


def hands(position: Position) -> str:
    """Return the name of the drawing of what the hands do."""
    return {Stop.OPEN: "open", Stop.FRET: "fret", Stop.PRESS: "press", Stop.LEAF: "leaf"}[position.stop]


def take_rows(scene: Scene) -> list[dict[str, Any]]:
    """Return the takes string by string: for each its label and its takes in playing order."""
    view = scene.view
    rows: dict[int, list[dict[str, Any]]] = {}
    for index, take in enumerate(view.takes):
        state = "now" if index == view.now else take.state.value.replace(" ", "-")
        place = take.position
        name = "open" if place.fret is None else f"{place.stop.value} {place.fret}"
        rows.setdefault(place.string, []).append({"name": name, "state": state})
    return [
        {
            "string": string,
            "label": f"{string} {scene.instrument.string(string).note}",
            "takes": takes,
            "done": sum(t["state"] == TakeState.TAKEN.value for t in takes),
        }
        for string, takes in sorted(rows.items())
    ]
