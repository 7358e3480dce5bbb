"""One table of a settings file, read field by field with a fault for each bad value.

Conventions: a getter returns ``None`` (or the default) after noting a fault, so that one reading finds every
fault at once; keys that no getter asked for become notices. Lengths come as text with a unit.
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import TypeVar

from pitchcheck.errors import BadValue
from pitchcheck.session.limits import Range
from pitchcheck.session.notices import Inbox, shorten
from pitchcheck.units import length_mm

Choice = TypeVar("Choice", bound=StrEnum)
LENGTH_ACTION = 'Write a number and its unit in quotes, like "0.25 mm" or "0.010 in".'
LONGEST_TEXT = 200  # characters; our choice


class Fields:
    """A table of the file under its name (``strings[2]``)."""

    def __init__(self, raw: object, *, name: str, inbox: Inbox) -> None:
        self.name = name
        self.inbox = inbox
        self.asked: set[str] = set()
        self.raw: dict[str, object] = {}
        if isinstance(raw, dict):
            self.raw = raw
        else:
            inbox.fault(name, raw, limit="it must be a table of fields", action=f"Write it under [{name}].")

    def place(self, key: str) -> str:
        """Return the full name of a field."""
        return f"{self.name}.{key}" if self.name else key

    def fault(self, key: str, value: object = None, *, limit: str, action: str) -> None:
        """Note a fault of one field."""
        self.inbox.fault(self.place(key), value, limit=limit, action=action)

    def has(self, key: str) -> bool:
        """Whether the field is there."""
        return self.get(key) is not None

    def get(self, key: str) -> object:
        """Return the raw value, marked as known."""
        self.asked.add(key)
        return self.raw.get(key)

    def text(self, key: str, *, required: bool = False, example: str = "words") -> str | None:
        """Text in quotes, not empty."""
        value = self.get(key)
        if value is None:
            if required:
                self.fault(key, limit="it is missing", action=f'Add it, like {key} = "{example}".')
            return None
        if not isinstance(value, str) or not value.strip() or len(value) > LONGEST_TEXT:
            limit = f"it must be 1 to {LONGEST_TEXT} characters of text in quotes"
            self.fault(key, value, limit=limit, action=f'Write it like {key} = "{example}".')
            return None
        return " ".join(value.split())

    def whole(self, key: str, *, low: int, high: int, required: bool = False) -> int | None:
        """Whole number within limits."""
        value = self.get(key)
        if value is None:
            if required:
                self.fault(key, limit="it is missing", action=f"Add it, like {key} = {low}.")
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            limit = f"it must be a whole number from {low} to {high}"
            self.fault(key, value, limit=limit, action="Correct it; no quotes, no point.")
            return None
        return value

    def flag(self, key: str) -> bool | None:
        """Return true or false."""
        value = self.get(key)
        if value is None or isinstance(value, bool):
            return value
        self.fault(key, value, limit="it must be true or false", action=f"Write {key} = true, no quotes.")
        return None

    def choice(self, key: str, *, default: Choice) -> Choice:
        """One word of a fixed list."""
        value = self.get(key)
        if value is None:
            return default
        kind = type(default)
        if isinstance(value, str) and value.strip().lower() in {str(word) for word in kind}:
            return kind(value.strip().lower())
        words = ", ".join(str(word) for word in kind)
        self.fault(key, value, limit=f"it must be one of {words}", action="Write one of these in quotes.")
        return default

    def length(self, key: str, *, within: Range, required: bool = False) -> float | None:
        """Length in mm within a range."""
        value = self.get(key)
        if value is None:
            if required:
                self.fault(key, limit="it is missing", action=LENGTH_ACTION)
            return None
        return self._length(key, value, within=within)

    def pair(self, key: str, *, within: Range, default: tuple[float, float]) -> tuple[float, float]:
        """Two lengths in mm: for string 1 and for the last string."""
        value = self.get(key)
        if value is None:
            return default
        if not isinstance(value, list) or len(value) != 2:
            limit = "it must be two lengths, for string 1 and for the last string"
            self.fault(key, value, limit=limit, action=f'Write {key} = ["0.006 in", "0.010 in"].')
            return default
        first, last = (self._length(key, item, within=within) for item in value)
        return default if first is None or last is None else (first, last)

    def tables(self, key: str) -> list[Fields]:
        """Return the tables of a list such as ``[[strings]]``, named ``strings[1]`` and so on."""
        value = self.get(key)
        if value is None:
            return []
        if not isinstance(value, list):
            action = f"Write each one under [[{self.place(key)}]], with double brackets."
            self.fault(key, limit="it must be a list of tables", action=action)
            return []
        return [
            Fields(item, name=f"{self.place(key)}[{i}]", inbox=self.inbox) for i, item in enumerate(value, 1)
        ]

    def finish(self) -> None:
        """Note the keys that nothing asked for."""
        for key in self.raw:
            if key not in self.asked:
                self.inbox.notice(f"{shorten(self.place(key))} is not known and was ignored")

    def _length(self, key: str, value: object, *, within: Range) -> float | None:
        """Length from its text."""
        if not isinstance(value, str):
            self.fault(key, value, limit="it must be a length with its unit", action=LENGTH_ACTION)
            return None
        try:
            found = length_mm(value)
        except BadValue:
            self.fault(
                key, value, limit="it must be a number and a unit (mm, cm, in, thou)", action=LENGTH_ACTION
            )
            return None
        if not math.isfinite(found) or not within.low_mm <= found <= within.high_mm:
            limit = f"it must be {within.low_mm:g} to {within.high_mm:g} mm"
            self.fault(key, value, limit=limit, action="Check the number and its unit.")
            return None
        return found
