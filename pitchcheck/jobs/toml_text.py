"""Small TOML writer for a job's own files; what it writes, ``tomllib`` reads back the same.

Conventions: a table is a dict of str, bool, int, finite float, datetime, date, time, list of these, dict (a
table) or list of dict (an array of tables); ``None`` is left out.
"""

from __future__ import annotations

import json
import re
from datetime import date, datetime, time
from typing import Any

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def toml_text(table: dict[str, Any], *, head: str = "") -> str:
    """Return a table as TOML text.

    Parameters
    ----------
    table : dict
    head : str
        Comment for the first lines, without the signs.
    """
    lines = [f"# {line}" for line in head.splitlines()]
    _write(table, (), lines)
    return "\n".join(lines).lstrip("\n") + "\n"


def _write(table: dict[str, Any], path: tuple[str, ...], lines: list[str]) -> None:
    """Plain values first, then tables and arrays of tables under their full names."""
    for key, value in table.items():
        if value is not None and not _is_table(value):
            lines.append(f"{_key(key)} = {_value(value)}")
    for key, value in table.items():
        if not _is_table(value):
            continue
        name = (*path, _key(key))
        for item in value if isinstance(value, list) else [value]:
            lines += ["", f"[[{'.'.join(name)}]]" if isinstance(value, list) else f"[{'.'.join(name)}]"]
            _write(item, name, lines)


def _is_table(value: object) -> bool:
    """Whether a value gets a heading of its own."""
    tables = isinstance(value, list) and bool(value) and all(isinstance(item, dict) for item in value)
    return isinstance(value, dict) or tables


def _key(key: str) -> str:
    """Return a key, in quotes where it needs them."""
    return key if _BARE.fullmatch(key) else _string(key)


def _value(value: object) -> str:
    """Return one plain value."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, list):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    raise TypeError(f"no TOML for {type(value).__name__}")


def _string(text: str) -> str:
    """Return a basic string; JSON's escapes are among TOML's, which also wants DEL escaped."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
