"""What was taken where on the neck, as a table of characters: strings down, kinds of take across.

Conventions: "2/3" is two of three asked for; brackets mark the take that is asked for now; "-" is nothing
asked for there; takes that were left out count as not asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from pitchcheck.guide.events import GuideView
from pitchcheck.guide.take_list import PlannedTake, TakeState
from pitchcheck.instrument import Instrument
from pitchcheck.takes import Position, Stop

_LABEL = 6  # columns for number and note of a string
_CELL = 6
_ORDER = {Stop.OPEN: 0, Stop.FRET: 1, Stop.PRESS: 2, Stop.LEAF: 3}

T = TypeVar("T")
_Kind = tuple[Stop, int, int]  # stop, fret (0 when open), capo


def take_map(instrument: Instrument, view: GuideView, *, width: int, height: int) -> list[str]:
    """Return the map as lines; none if there is no room for a head and one string.

    Parameters
    ----------
    instrument : Instrument
    view : GuideView
    width, height : int
        Room in characters. Kinds of take that do not fit are left out from the right, strings far from
        the one that is played first.
    """
    strings = sorted({take.position.string for take in view.takes})
    if not strings or height < 2:
        return []
    kinds = sorted({_kind(take.position) for take in view.takes}, key=lambda k: (k[2], _ORDER[k[0]], k[1]))
    now = None if view.now is None else view.takes[view.now]
    kinds = _around(
        kinds, None if now is None else _kind(now.position), room=max(1, (width - _LABEL) // _CELL)
    )
    strings = _around(strings, None if now is None else now.position.string, room=height - 1)
    lines = [" " * _LABEL + "".join(_head(kind).rjust(_CELL) for kind in kinds)]
    for string in strings:
        cells = "".join(_cell(view.takes, string, kind, now).rjust(_CELL) for kind in kinds)
        lines.append(f"{string:>2} {instrument.string(string).note:<3}{cells}")
    return lines


def _around(items: list[T], middle: T | None, *, room: int) -> list[T]:
    """Return as many neighbours as there is room for, the middle one among them."""
    if len(items) <= room:
        return items
    at = items.index(middle) if middle in items else 0
    first = min(max(0, at - room // 2), len(items) - room)
    return items[first : first + room]


def _kind(position: Position) -> _Kind:
    return position.stop, position.fret or 0, position.capo


def _head(kind: _Kind) -> str:
    stop, fret, capo = kind
    word = "open" if stop is Stop.OPEN else f"{stop.value[0]}{fret}"
    return f"{word}c{capo}" if capo else word


def _cell(takes: Sequence[PlannedTake], string: int, kind: _Kind, now: PlannedTake | None) -> str:
    here = [t for t in takes if t.position.string == string and _kind(t.position) == kind]
    asked = [t for t in here if t.state is not TakeState.SKIPPED]
    if not asked:
        return "-  "
    text = f"{sum(t.taken and t is not now for t in asked)}/{len(asked)}"
    return f"[{text}]" if any(t is now for t in asked) else f"{text} "
