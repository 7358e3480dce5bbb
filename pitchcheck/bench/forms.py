"""What forms of the page say, checked where it enters.

Conventions: whatever cannot be used raises BadValue in words for a person at the page.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from starlette.datastructures import FormData, UploadFile

from pitchcheck.bench.runner import ChosenInput
from pitchcheck.course import Thoroughness
from pitchcheck.errors import BadValue
from pitchcheck.instrument import Aim, Removal, StringSpec
from pitchcheck.session.gauge_entry import SHORT_NAMES, GaugeEntry
from pitchcheck.units import length_mm

MOST_FIELDS, MOST_FILES = 2000, 60
MOST_CHANNELS = 128
MOST_PART_BYTES = 1024**2  # of a field that is no file
LENGTHS = {"mm", "in", "thou"}


def text(form: FormData, name: str) -> str:
    """Return a field without blanks around it; empty if it is not there."""
    value = form.get(name)
    return value.strip() if isinstance(value, str) else ""


def ticked(form: FormData, name: str) -> bool:
    """Whether a box is ticked."""
    return bool(text(form, name))


def numbers(words: str) -> tuple[int, ...]:
    """Return string numbers from "1, 6"."""
    parts = words.replace(",", " ").split()
    if not all(part.isascii() and part.isdigit() and len(part) < 3 for part in parts):
        raise BadValue("Only these strings: write their numbers, like 1, 6.")
    return tuple(int(part) for part in parts)


def thoroughness(form: FormData) -> Thoroughness:
    """Return how much is to be played; base if it is not said."""
    try:
        return Thoroughness(text(form, "course") or Thoroughness.BASE)
    except ValueError as error:
        raise BadValue("There is no such course. Choose one of the list.") from error


def aim(form: FormData) -> Aim | None:
    """Return what the slots are wanted for; None if it is not said."""
    said = text(form, "aim")
    if not said:
        return None
    try:
        return Aim(said)
    except ValueError as error:
        raise BadValue("There is no such aim. Choose one of the list.") from error


def chosen_input(form: FormData) -> ChosenInput:
    """Return the input that was chosen, and its channel if one was named."""
    channel = text(form, "channel")
    number = _whole(channel)
    if channel and not (number is not None and 1 <= number <= MOST_CHANNELS):
        raise BadValue(f"The channel is {channel[:20]!r}: a number from 1 to {MOST_CHANNELS}. Correct it.")
    return ChosenInput(text(form, "input") or None, number)


def _whole(said: str) -> int | None:
    """Return a whole number of at most nine digits; None if it is none."""
    return int(said) if said.isascii() and said.isdigit() and len(said) <= 9 else None


def gauge(form: FormData) -> GaugeEntry:
    """Return a gauge or leaf reading."""
    what = SHORT_NAMES.get(text(form, "what"))
    if what is None:
        raise BadValue("Say what was measured: choose it from the list.")
    unit = _unit(form)
    lengths: dict[str, str | None] = {}
    for key in ("value", "passes", "stops"):
        number = text(form, key)
        lengths[key] = f"{number} {unit}" if number else None
        if number:
            length_mm(f"{number} {unit}")
    if not any(lengths.values()):
        raise BadValue("There is no length. Type what the gauge told, or a leaf that passes or stops.")
    return GaugeEntry(what, _whole(text(form, "string")), **lengths)


def gauge_words(entry: GaugeEntry) -> str:
    """Return what is said when a reading was written down."""
    lengths = [
        f"{word}{length}"
        for word, length in (("", entry.value), ("passes ", entry.passes), ("stops ", entry.stops))
        if length is not None
    ]
    string = "" if entry.string is None else f" string {entry.string}"
    what = str(entry.what).replace("_", " ")
    return f"Written down: {what}{string} {', '.join(lengths)}."


def filed(form: FormData, strings: Sequence[StringSpec]) -> tuple[list[Removal], list[int]]:
    """Return what came off, and which strings are to be heard again: those filed and those ticked."""
    removed: list[Removal] = []
    again: list[int] = []
    for spec in strings:
        amount = text(form, f"removed-{spec.number}")
        if amount:
            removed.append(Removal(spec.number, length_mm(f"{amount} {_unit(form)}")))
        if amount or ticked(form, f"again-{spec.number}"):
            again.append(spec.number)
    return removed, again


def files(form: FormData, name: str) -> list[UploadFile]:
    """Return the files of a field that were really chosen."""
    return [item for item in form.getlist(name) if isinstance(item, UploadFile) and item.filename]


@contextmanager
def kept_for_now(uploads: Sequence[UploadFile]) -> Iterator[list[Path]]:
    """Keep uploads under names of our own, with their ending, until the block ends."""
    with TemporaryDirectory(prefix="pitchcheck-") as folder:
        paths = []
        for number, upload in enumerate(uploads, 1):
            ending = Path((upload.filename or "").replace("\\", "/")).suffix.lower()
            plain = ending if ending[1:].isascii() and ending[1:].isalnum() and len(ending) < 6 else ""
            path = Path(folder) / f"{number:02d}{plain}"
            with path.open("xb") as kept:
                shutil.copyfileobj(upload.file, kept)
            paths.append(path)
        yield paths


def fields(form: FormData) -> dict[str, Any]:
    """Return the fields that are text, to show a form again as it was filled in."""
    return {key: value for key, value in form.multi_items() if isinstance(value, str)}


def _unit(form: FormData) -> str:
    unit = text(form, "unit")
    if unit not in LENGTHS:
        raise BadValue("Say the unit: choose it from the list.")
    return unit
