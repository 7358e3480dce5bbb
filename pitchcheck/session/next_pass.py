"""The folder of the next pass of an instrument: its settings, with the pass before named in them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import tomlkit

from pitchcheck.errors import BadValue
from pitchcheck.session.new_folder import write_new
from pitchcheck.session.settings import SETTINGS, parse_settings, read_settings
from pitchcheck.units import length_mm

MOST_PASSES = 99
_NUMBERED = re.compile(r"(.+)-(\d{1,2})")


def next_pass(folder: Path, *, removed: Mapping[int, str], to: Path | None = None) -> Path:
    """Write the folder of the next pass, by default beside the folder of the pass before; return it.

    Parameters
    ----------
    folder : Path
        Of the pass before.
    removed : mapping of int to str
        What came off by string, lengths with their unit.
    to : Path, optional
        The folder to make.

    Raises
    ------
    BadValue
        If a string is not one of the instrument's, or an amount is no length.
    NothingMeasured
        If the settings of the pass before cannot be used.
    BadInput
        If the new folder cannot be written.
    """
    instrument = read_settings(folder).settings.instrument
    for number, amount in removed.items():
        instrument.string(number)
        if not length_mm(amount) > 0:
            raise BadValue(f"{amount} came off string {number}; it must be more than nothing. Correct it.")
    text = tomlkit.parse((folder / SETTINGS).read_text(encoding="utf-8-sig"))
    before = tomlkit.table()
    before["folder"] = f"../{folder.name}" if to is None else folder.resolve().as_posix()
    if removed:
        rows = tomlkit.aot()
        for number, amount in removed.items():
            row = tomlkit.table()
            row["string"], row["amount"] = number, amount
            rows.append(row)
        before["removed"] = rows
    text.pop("before", None)
    text.pop("meter", None)  # a gauge told the slots as they were
    text["before"] = before
    settings = tomlkit.dumps(text)
    parse_settings(settings, name=SETTINGS)
    new = _free_name(folder) if to is None else to
    write_new(new, {SETTINGS: settings})
    return new


def last_pass(folder: Path) -> Path:
    """Return the last of the folders that `next_pass` made, one after the other, beside a folder."""
    steps = range(1, MOST_PASSES)
    while following := next(
        (path for step in steps if _follows(path := _numbered(folder, step), folder)), None
    ):
        folder = following
    return folder


def _follows(later: Path, folder: Path) -> bool:
    """Whether a folder names another as its pass before; its name alone may be of another instrument."""
    try:
        before = tomlkit.parse((later / SETTINGS).read_text(encoding="utf-8-sig")).unwrap().get("before")
    except (OSError, ValueError):  # not there, or to be corrected first
        return False
    named = before.get("folder") if isinstance(before, dict) else None
    return isinstance(named, str) and (later / named).resolve() == folder.resolve()


def _numbered(folder: Path, step: int = 1) -> Path:
    """Return NAME-2 for NAME, NAME-3 for NAME-2, and so on."""
    match = _NUMBERED.fullmatch(folder.name)
    stem, number = (match[1], int(match[2])) if match else (folder.name, 1)
    return folder.with_name(f"{stem}-{number + step}")


def _free_name(folder: Path) -> Path:
    """Return the first of those names that is not there."""
    for step in range(1, MOST_PASSES):
        path = _numbered(folder, step)
        if not path.exists():
            return path
    raise BadValue(f"{folder.name} has {MOST_PASSES} passes already. Begin a new session.")
