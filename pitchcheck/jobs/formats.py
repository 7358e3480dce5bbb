"""The text files of a job: how they are written, and how they are read back.

Conventions: a TOML file carries ``schema`` and the fields of one record under their names; ``None`` and empty
lists are left out; a removal is ``{string, amount}`` with the amount as text. Files on disk are never
rewritten for a new format, as a sealed pass may not change: an older table is brought up to date in memory
each time it is read. A newer one is refused, and nothing is written to a job that holds one.

History: schema 1 is the first.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, fields, is_dataclass
from datetime import datetime
from enum import StrEnum
from functools import cache
from pathlib import Path
from types import UnionType
from typing import Any, TypeVar, get_args, get_type_hints

from pitchcheck.errors import BadInput, BadValue, Problem
from pitchcheck.instrument import Removal
from pitchcheck.jobs.errors import JobDamaged, NewerFormat
from pitchcheck.jobs.names import is_printable
from pitchcheck.session.settings import SETTINGS
from pitchcheck.session.textfile import parse_toml
from pitchcheck.units import length_mm

SCHEMA = 1
LARGEST_BYTES = 2_000_000  # our choice: a checklist with thousands of lines is smaller
HEADS = {
    "job.toml": "A job of pitchcheck: one instrument from first look to hand-over. "
    "docs/formats.md says what is where.",
    "pass.toml": "One pass of a job. Sealed: sums.txt beside it covers every file here. "
    "A correction is a new pass.",
    "steps.toml": "The checklist. The last line for a step counts; earlier ones stay.",
}
_BEFORE_MARK = "The pass before this one, written when the pass entered its job."
_NOTE = re.compile(r"# (\S+)\n\n(.*)\n", re.DOTALL)

Table = dict[str, Any]
Migration = Callable[[Table], Table]
Record = TypeVar("Record")

# (name of the file, schema it is read from) -> the table one schema later. The first comes with schema 2.
MIGRATIONS: Mapping[tuple[str, int], Migration] = {}


def toml_text(table: Table, *, head: str = "") -> str:
    """Return a table as TOML text, with a comment before it; ``None`` is left out."""
    import tomlkit

    text = "".join(f"# {line}\n" for line in head.splitlines())
    return text + tomlkit.dumps({key: value for key, value in table.items() if value is not None})


def record_text(record: object, name: str) -> str:
    """Return the file of one record, called ``name``."""
    return toml_text({"schema": SCHEMA, **_table(record)}, head=HEADS.get(name, ""))


def read_record(kind: type[Record], path: Path, **more: Any) -> Record:
    """Return the record of a file that `record_text` wrote; ``more`` are fields that are not in it.

    Raises
    ------
    JobDamaged, NewerFormat
        As `read_table`; also where a value is of another kind.
    """
    return _record(kind, read_table(path), f"{path.parent.name}/{path.name}", more)


def lines_text(key: str, records: Sequence[object], name: str) -> str:
    """Return the file of several records of one kind, called ``name``."""
    return toml_text({"schema": SCHEMA, key: [_table(one) for one in records]}, head=HEADS.get(name, ""))


def read_lines(kind: type[Record], key: str, path: Path) -> tuple[Record, ...]:
    """Return the records of a file that `lines_text` wrote; raise as `read_record`."""
    where = f"{path.parent.name}/{path.name}"
    items = read_table(path).get(key, [])
    if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
        raise _damaged(where, f"{key} is no list of tables")
    return tuple(_record(kind, item, where, {}) for item in items)


def note_text(when: datetime, words: str) -> str:
    """Return the file of a bench note."""
    return f"# {when.isoformat(timespec='seconds')}\n\n{words}\n"


def parse_note(text: str) -> tuple[datetime, str]:
    """Return time and words of a bench note; raise ValueError if it is none."""
    match = _NOTE.fullmatch(text)
    if match is None:
        raise ValueError("it has no date in its first line")
    when = datetime.fromisoformat(match[1])
    if when.tzinfo is None:
        raise ValueError(f"{match[1]} has no offset from UTC")
    if not is_printable(match[2]):
        raise ValueError("it holds signs that cannot be printed")
    return when, match[2]


def with_before(text: str, folder: str | None, *, removed: Sequence[Removal] = ()) -> str:
    """Return settings whose ``[before]`` names a folder and what came off since; None: without ``[before]``.

    Everything else, comments too, stays as it was written.

    Raises
    ------
    BadInput
        If the settings are no TOML.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        wanted = {key: value for key, value in tomllib.loads(text).items() if key != "before"}
        settings = tomlkit.parse(text)
        settings.pop("before", None)
        rest = tomlkit.dumps(settings)
        if tomllib.loads(rest) != wanted:
            raise ValueError("[before] cannot be told apart from the rest; take it out")
        if folder is None:
            return rest
        before: Table = {"folder": folder}
        if removed:
            before["removed"] = [_removal_table(item) for item in removed]
        return f"{rest.rstrip()}\n\n# {_BEFORE_MARK}\n" + tomlkit.dumps({"before": before})
    except (TOMLKitError, ValueError, RecursionError) as error:
        limit = f"it is not valid TOML: {error}"
        raise BadInput(Problem(SETTINGS, None, None, None, limit, "Correct that.")) from error


def amount_text(removal: Removal) -> str:
    """Return a removal as text with its unit, to a tenth of a micrometre.

    Examples
    --------
    >>> amount_text(Removal(6, 0.2)), amount_text(Removal(1, 0))
    ('0.2 mm', '0 mm')
    """
    return f"{removal.amount_mm:.4f}".rstrip("0").rstrip(".") + " mm"


def read_table(
    path: Path, *, now: int = SCHEMA, migrations: Mapping[tuple[str, int], Migration] = MIGRATIONS
) -> Table:
    """Return one of a job's TOML files in the present format.

    Parameters
    ----------
    path : Path
        Its name says which file it is.
    now : int
        Present schema.
    migrations : mapping

    Raises
    ------
    JobDamaged
        If the file is missing or cannot be read.
    NewerFormat
        If a later version wrote it.
    """
    label = f"{path.parent.name}/{path.name}"
    try:
        if path.is_symlink() or not path.is_file():
            raise JobDamaged(f"{label} cannot be read (it is missing, or no file).")
        if path.stat().st_size > LARGEST_BYTES:
            raise JobDamaged(
                f"{label} is larger than {LARGEST_BYTES // 1_000_000} MB, so it is no {path.name}."
            )
        table: Table = parse_toml(path.read_bytes().decode("utf-8"))
    except OSError as error:
        raise JobDamaged(f"{label} cannot be read ({error.strerror or error}).") from error
    except ValueError as error:  # not UTF-8, or no TOML
        raise _damaged(label, str(error)) from error
    found = table.get("schema")
    if type(found) is not int or found < 0:
        raise _damaged(label, f"schema is {_shown(found)}, it must be a whole number")
    if found > now:
        raise NewerFormat(
            f"{label} has format {found}; this version reads up to {now}. "
            "Update the program; nothing was changed."
        )
    for version in range(found, now):
        step = migrations.get((path.name, version))
        if step is None:
            raise JobDamaged(f"{label} has format {version}, which never existed for {path.name}.")
        table = step(table)
    return table


def _table(record: object) -> Table:
    """Return the fields of a record as TOML keeps them."""
    assert is_dataclass(record)
    values = {field.name: _plain(getattr(record, field.name)) for field in fields(record)}
    return {key: value for key, value in values.items() if value is not None and value != []}


def _plain(value: object) -> object:
    """Return one value as TOML keeps it."""
    if isinstance(value, Removal):
        return _removal_table(value)
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, StrEnum):
        return value.value
    return _table(value) if is_dataclass(value) else value


def _removal_table(removal: Removal) -> Table:
    return {"string": removal.string, "amount": amount_text(removal)}


@cache
def _kinds(record: type) -> dict[str, tuple[object, bool]]:
    """Return kind, and whether it may be missing, of every field of a record."""
    hints = get_type_hints(record)
    found: dict[str, tuple[object, bool]] = {}
    for field in fields(record):
        kind, optional = hints[field.name], field.default is not MISSING
        if isinstance(kind, UnionType):
            kind, optional = next(arm for arm in get_args(kind) if arm is not type(None)), True
        found[field.name] = (kind, optional)
    return found


def _record(kind: type[Record], table: Table, where: str, more: Table) -> Record:
    """Return a record from its table."""
    values = dict(more)
    of: type = kind  # any class is hashable, as the cache wants it
    for name, (wanted, optional) in _kinds(of).items():
        if name in more:
            continue
        value = table.get(name)
        if value is None and optional:
            continue
        values[name] = _value(wanted, value, f"{where} was altered or damaged: {name}", where)
    return kind(**values)


def _value(kind: Any, value: object, what: str, where: str) -> object:
    """Return one value of a kind, or raise JobDamaged."""
    arguments = get_args(kind)
    if arguments and isinstance(value, list):
        return tuple(_value(arguments[0], item, what, where) for item in value)
    if kind is Removal and isinstance(value, dict):
        string, amount = value.get("string"), value.get("amount")
        if type(string) is int and isinstance(amount, str):
            try:
                return Removal(string, length_mm(amount))
            except BadValue as error:
                raise JobDamaged(f"{what}: {error}") from error
    elif isinstance(kind, type) and is_dataclass(kind) and isinstance(value, dict):
        return _record(kind, value, where, {})
    elif isinstance(kind, type) and issubclass(kind, StrEnum):
        if isinstance(value, str) and value in list(kind):
            return kind(value)
    elif type(value) is kind and (not isinstance(value, str) or is_printable(value)):
        if not isinstance(value, datetime) or value.tzinfo is not None:
            return value
        raise JobDamaged(f"{what} has no offset from UTC.")
    raise JobDamaged(f"{what} is {_shown(value)}.")


def _shown(value: object) -> str:
    """Return a strange value so that it can be printed."""
    return ascii(value)[:80]


def _damaged(where: str, why: str) -> JobDamaged:
    return JobDamaged(f"{where} was altered or damaged: {why}.")
