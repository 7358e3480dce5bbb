"""What the guide says: what to play now, how, and what is wrong, in plain words."""

from __future__ import annotations

from pitchcheck.instrument import Instrument
from pitchcheck.takes import Position, Stop


def prompt(position: Position) -> str:
    """Return what to play now, in one short sentence."""
    place = "open" if position.fret is None else f"{position.stop.value} {position.fret}"
    capo = f", capo behind fret {position.capo}" if position.capo else ""
    return f"String {position.string}: {place}{capo}"


def string_words(string: int, *, instrument: Instrument) -> str:
    """Return which string it is, by note and place."""
    numbers = sorted(spec.number for spec in instrument.strings)
    note = instrument.string(string).note
    if string == numbers[0]:
        return f"the {note} string, nearest the floor"
    if string == numbers[-1]:
        return f"the {note} string, nearest your chin"
    return f"the {note} string, number {string} from the floor"


def how(position: Position, *, instrument: Instrument, first: bool) -> str:
    """Return how to play it.

    Parameters
    ----------
    position : Position
    instrument : Instrument
    first : bool
        True for the first open take of a string: the string is seated first.
    """
    which = string_words(position.string, instrument=instrument)
    if position.stop is Stop.PRESS:
        behind = "nut" if position.fret == 1 else f"fret {position.fret - 1}" if position.fret else "nut"
        act = (
            f"with a rounded wooden rod hold it down onto the board midway between {behind} and fret "
            f"{position.fret}, straight down, neck supported"
        )
    elif position.stop is Stop.FRET:
        act = f"finger just behind fret {position.fret}, light touch"
    else:
        act = "touch nothing but the pick"
        if first:
            act = "first press it down once near fret 1 and let go, to seat it; then touch nothing"
    return f"{which[0].upper()}{which[1:]}: {act}. Damp the others, pluck once, let it ring 2 seconds."


def finished(*, early: bool) -> tuple[str, str]:
    """Return what is said at the end."""
    if early:
        return "Ended early.", "What was taken is kept; what is left can be played another time."
    return "All takes are played.", "Everything is kept."


NOTHING_HEARD = " I hear nothing: pluck louder, move the microphone closer, or check the input."
DEAD_SILENT = " I hear nothing, not even the room: check the plug, the mute switch and which input is used."
LOST = "Everything accepted so far is kept. The note that was sounding is not; play it again."
PAUSED = ("Paused.", "Nothing is heard until you go on.")
KEEPING = "Keeping it. Damp the string."
