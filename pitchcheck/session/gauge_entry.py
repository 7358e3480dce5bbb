"""A gauge or leaf reading as it is typed, added to ``session.toml``, which is else left as it is.

Conventions: ``WHAT [STRING] LENGTH`` or ``WHAT [STRING] passes LENGTH stops LENGTH`` (either or both). WHAT
is ``third`` (gap over fret 1 with the string held behind fret 3), ``open`` (gap over fret 1, string open),
``slot`` (slot floor over the board), ``fret`` (fret height), ``action`` (12th fret) or ``relief``.
"""

from __future__ import annotations

import tomllib
from codecs import BOM_UTF8
from dataclasses import dataclass
from pathlib import Path

from pitchcheck.errors import BadValue, NothingMeasured
from pitchcheck.instrument import MeterQuantity
from pitchcheck.session.settings import SETTINGS, parse_settings, read_settings
from pitchcheck.store.files import write_whole
from pitchcheck.units import length_mm

SHORT_NAMES = {
    "third": MeterQuantity.CLEARANCE_THIRD,
    "open": MeterQuantity.CLEARANCE_OPEN,
    "slot": MeterQuantity.SLOT_FLOOR,
    "fret": MeterQuantity.FRET_HEIGHT,
    "action": MeterQuantity.ACTION_12,
    "relief": MeterQuantity.RELIEF,
}
_KEYS = ("value", "passes", "stops")


@dataclass(frozen=True)
class GaugeEntry:
    """One reading as it was typed; lengths with their units."""

    what: MeterQuantity
    string: int | None
    value: str | None = None
    passes: str | None = None
    stops: str | None = None


def parse_gauge(text: str) -> GaugeEntry:
    """Read a typed gauge reading.

    Raises
    ------
    BadValue
        If it is none; the message says what is missing.

    Examples
    --------
    >>> parse_gauge("third 6 0.010 in").value
    '0.010 in'
    >>> parse_gauge("third 6 passes 0.010 in stops 0.012 in").stops
    '0.012 in'
    """
    words = text.split()
    names = {**SHORT_NAMES, **{str(what): what for what in MeterQuantity}}
    if not words or words[0].lower() not in names:
        known = ", ".join(SHORT_NAMES)
        raise BadValue(
            f"{text.strip()!r} does not begin with what was measured; it must be one of {known}. Correct it."
        )
    what, rest = names[words[0].lower()], words[1:]
    string = None
    if rest and rest[0].isascii() and rest[0].isdigit() and len(rest[0]) < 3 and len(rest) > 1:
        second = rest[1].lower()
        if second in _KEYS or second[0].isdigit():
            string, rest = int(rest[0]), rest[1:]
    found: dict[str, str] = {}
    key = "value"
    for word in rest:
        if word.lower() in _KEYS:
            key = word.lower()
        else:
            found[key] = f"{found[key]} {word}" if key in found else word
    if not found:
        raise BadValue(f"{text.strip()!r} has no length. Add it, like 0.35 mm.")
    for length in found.values():
        length_mm(length)
    return GaugeEntry(what, string, found.get("value"), found.get("passes"), found.get("stops"))


def corrects(later: GaugeEntry, earlier: GaugeEntry) -> bool:
    """Whether a reading is of the same as an earlier one; leaves that pass and that stop go together."""
    if (later.what, later.string) != (earlier.what, earlier.string):
        return False
    if later.value is not None or earlier.value is not None:
        return True
    both = ((later.passes, earlier.passes), (later.stops, earlier.stops))
    return any(one is not None and other is not None for one, other in both)


def add_gauge(folder: Path, entry: GaugeEntry) -> bool:
    """Add a reading to the settings of a folder; an earlier one of the same stays there as a comment.

    Returns
    -------
    bool
        Whether it took the place of an earlier one.

    Raises
    ------
    BadValue
        If the settings would not take it; then nothing is written. The message says why.
    NothingMeasured
        If the settings cannot be read at all.
    OSError
        If the file cannot be written.
    """
    read_settings(folder)
    path = folder / SETTINGS
    content = path.read_bytes()
    corrected = _without_corrected(content.decode("utf-8-sig"), entry).encode("utf-8")
    write_whole(path, settings_with(corrected, entry))
    return corrected != content.removeprefix(BOM_UTF8)


def _without_corrected(text: str, entry: GaugeEntry) -> str:
    """Return settings in which every ``[[meter]]`` that a reading corrects is a comment."""
    lines = text.splitlines(keepends=True)
    heads = [i for i, line in enumerate(lines) if line.lstrip().startswith("[")]
    for start, end in zip(heads, [*heads[1:], len(lines)], strict=True):
        if "[[meter]]" in lines[start] and _corrected("".join(lines[start:end]), entry):
            told = [i for i in range(start, end) if lines[i].strip() and not lines[i].startswith("#")]
            lines[start] = f"# Another reading took its place:\n{lines[start]}"
            for i in told:
                lines[i] = lines[i].replace("[[meter]]", "# [[meter]]") if i == start else f"# {lines[i]}"
    return "".join(lines)


def _corrected(block: str, entry: GaugeEntry) -> bool:
    """Whether one ``[[meter]]`` is of the same as a reading."""
    try:
        (table,) = tomllib.loads(block)["meter"]
        earlier = GaugeEntry(MeterQuantity(table["what"]), table.get("string"), *map(table.get, _KEYS))
    except (tomllib.TOMLDecodeError, LookupError, TypeError, ValueError):
        return False
    return corrects(entry, earlier)


def settings_with(content: bytes, entry: GaugeEntry) -> bytes:
    """Return settings with one reading more and all else as it was; raise BadValue if they do not take it."""
    text = content.decode("utf-8-sig")
    before = parse_settings(text, name=SETTINGS)
    lines = ["", "[[meter]]", f'what = "{entry.what}"']
    if entry.string is not None:
        lines.append(f"string = {entry.string}")
    lines += [f'{key} = "{told}"' for key in _KEYS if (told := getattr(entry, key)) is not None]
    new = text + ("" if text.endswith("\n") else "\n") + "\n".join(lines) + "\n"
    try:
        after = parse_settings(new, name=SETTINGS)
    except NothingMeasured as fault:
        raise BadValue(fault.problems[0].sentence()) from fault
    if len(after.settings.meter) != len(before.settings.meter) + 1:
        known = {fault.sentence() for fault in before.problems}
        faults = [fault.sentence() for fault in after.problems if fault.sentence() not in known]
        raise BadValue(faults[0] if faults else "the settings do not take this reading.")
    return new.encode("utf-8")
