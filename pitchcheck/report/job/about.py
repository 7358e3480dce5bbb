"""What every page of a job says beside the sound: instrument, photos, gauge, workshop, place for a signature.

Conventions: lengths that a gauge said are shown as they were written; what the sound says stands beside them.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass

from pitchcheck.instrument import MeterQuantity
from pitchcheck.units import LengthUnit
from pitchcheck.words import numbers, phrases


@dataclass(frozen=True)
class Photo:
    """A picture; ``kind`` is its media type."""

    title: str
    kind: str
    content: bytes


@dataclass(frozen=True)
class GaugeInput:
    """A gauge reading, lengths as written; ``heard_mm`` is the same gap by sound: median, low, high."""

    what: MeterQuantity
    string: int | None
    value: str | None
    passes: str | None
    stops: str | None
    after: str  # name of the pass before it, empty before the first
    heard_mm: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class About:
    """What is to be said; names that are to be left out are not in it."""

    owner: str | None = None
    owner_words: str | None = None
    instrument: str | None = None
    serial: str | None = None
    workshop: str | None = None
    photos: tuple[Photo, ...] = ()
    gauge: tuple[GaugeInput, ...] = ()
    signature: bool = False


NOTHING_ABOUT = About()


@dataclass(frozen=True)
class AboutView:
    """The same as it is shown."""

    pairs: tuple[tuple[str, str], ...]
    photos: tuple[tuple[str, str], ...]  # title, and the picture as a data address
    gauge: tuple[str, ...]
    workshop: str
    signature: bool


def about_view(about: About, *, unit: LengthUnit) -> AboutView:
    """Return what is shown."""
    pairs = (
        ("Brought by", about.owner),
        ("Instrument", about.instrument),
        ("Serial number", about.serial),
        ("Said to be wrong", about.owner_words),
    )
    return AboutView(
        pairs=tuple((name, words) for name, words in pairs if words),
        photos=tuple(
            (photo.title, f"data:{photo.kind};base64,{base64.b64encode(photo.content).decode('ascii')}")
            for photo in about.photos
        ),
        gauge=tuple(gauge_sentence(reading, unit=unit) for reading in about.gauge),
        workshop=about.workshop or "",
        signature=about.signature,
    )


def told_by_gauge(reading: GaugeInput) -> str:
    """Return what a gauge said, as it was written."""
    told = (
        reading.value,
        reading.passes and f"a leaf of {reading.passes} passes",
        reading.stops and f"a leaf of {reading.stops} stops",
    )
    return ", ".join(words for words in told if words)


def gauge_sentence(reading: GaugeInput, *, unit: LengthUnit) -> str:
    """Return what a gauge said, and what the sound said of the same gap."""
    place = phrases.GAUGE_WORDS[reading.what]
    where = place if reading.string is None else f"string {reading.string}, {place}"
    when = f" (read in the pass “{reading.after}”)" if reading.after else ""
    sentence = f"{where[:1].upper()}{where[1:]}: {told_by_gauge(reading)}{when}."
    if reading.heard_mm is None:
        return sentence
    median, low, high = (numbers.figure(value, unit=unit) for value in reading.heard_mm)
    return f"{sentence} By sound {median} {unit} ({low} to {high})."
