"""The take sheet: what to play, in order, as a page that prints on one or two sheets of paper.

Conventions: takes are numbered from 1 across the instrument, as their sound files are; one box for each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.instrument import Handedness, Instrument
from pitchcheck.takes import Position, Stop
from pitchcheck.units import LengthUnit
from pitchcheck.words import cautions, numbers, phrases

HOW = (
    "Tune. Press the string down once before the first open take, without recording: this seats it.",
    "Record each take by itself: pluck once, let it ring for 2 to 3 seconds, touch nothing else. "
    "Pluck always at the same place and with the same strength.",
    "Damp the other strings. Do not tune between the takes of one string.",
)
SAVE = (
    "Save each take under its number (001.wav, 002.wav ...) in this folder. Then: pitchcheck measure FOLDER"
)


@dataclass(frozen=True)
class StringTakes:
    """The takes of one string: number and place of each."""

    title: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class TakeSheet:
    """The whole sheet."""

    title: str
    care: tuple[str, ...]
    how: tuple[str, ...]
    press: bool  # whether the drawing of a press is wanted
    leaf: bool
    strings: tuple[StringTakes, ...]
    left_handed: bool


def take_sheet(instrument: Instrument, positions: Sequence[Position], *, unit: LengthUnit) -> TakeSheet:
    """Return the sheet of an instrument; ``positions`` are all takes, in playing order."""
    stops = {place.stop for place in positions}
    press = Stop.PRESS in stops
    how = [*HOW]
    if Stop.FRET in stops:
        how.append(f"Fret: {phrases.FRETTING}.")
    if press:
        how.append(f"Press: {phrases.PRESSING}.")
    if Stop.LEAF in stops:
        how.append(f"Leaf: {phrases.LEAF}.")
    scale = numbers.long_length(instrument.scale_mm, unit=unit)
    return TakeSheet(
        title=f"Take sheet: {instrument.kind}, scale {scale}",
        care=(*cautions.FIRST, *cautions.EYES, *(cautions.PRESSING if press else ())),
        how=(*how, SAVE),
        press=press,
        leaf=Stop.LEAF in stops,
        strings=tuple(
            StringTakes(
                f"String {spec.number} ({spec.note})",
                tuple(
                    (f"{take:03d}", _place(place))
                    for take, place in enumerate(positions, 1)
                    if place.string == spec.number
                ),
            )
            for spec in instrument.strings
        ),
        left_handed=instrument.hand is Handedness.LEFT,
    )


def _place(place: Position) -> str:
    """Return what to play in a word or two."""
    return f"{place.stop_words}, capo {place.capo}" if place.capo else place.stop_words
