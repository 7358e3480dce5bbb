"""Names of the sound files of a session at the microphone: a file says which take it is."""

from __future__ import annotations

import re

from pitchcheck.takes import Position, Stop

_NAME = re.compile(
    r"(?P<number>\d{3,6})-string(?P<string>\d{1,2})-(?P<stop>open|fret|press)(?P<fret>\d{1,2})?"
    r"(?:-capo(?P<capo>\d{1,2}))?\.(?:flac|wav)"
)


def take_name(number: int, position: Position, *, ending: str) -> str:
    """Return the name of a take's sound file, such as ``007-string2-press1.flac``.

    Parameters
    ----------
    number : int >= 1
    position : Position
    ending : str
        ``.flac`` or ``.wav``.
    """
    fret = "" if position.fret is None else str(position.fret)
    capo = f"-capo{position.capo}" if position.capo else ""
    return f"{number:03d}-string{position.string}-{position.stop.value}{fret}{capo}{ending}"


def parse_name(name: str) -> tuple[int, Position] | None:
    """Return number and place of a sound file, or None when the name is not one of ours."""
    match = _NAME.fullmatch(name)
    if match is None:
        return None
    stop, fret = Stop(match["stop"]), match["fret"]
    if (stop is Stop.OPEN) != (fret is None):
        return None
    position = Position(
        int(match["string"]), stop, None if fret is None else int(fret), int(match["capo"] or 0)
    )
    return int(match["number"]), position
