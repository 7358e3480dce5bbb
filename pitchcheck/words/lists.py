"""Numbers and lists as a person would say them: "three", "a, b and c", "strings 1 to 6"."""

from __future__ import annotations

from collections.abc import Sequence

_RUN = 4  # [-] strings in a row from which "to" reads better than a list
_COUNTS = (
    "none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip


def count(number: int, *, capital: bool = False) -> str:
    """Return a small number as a word, larger ones in figures."""
    word = _COUNTS[number] if number < len(_COUNTS) else str(number)
    return word.capitalize() if capital else word


def listed(parts: Sequence[str], *, joint: str = "and") -> str:
    """Join parts as a person would: ``"a, b and c"``."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {joint} {parts[-1]}"


def strings(numbers: Sequence[int], *, capital: bool = False) -> str:
    """Return ``"string 6"``, ``"strings 5 and 6"``, or ``"strings 1 to 6"`` for a long run."""
    word = "string" if len(numbers) == 1 else "strings"
    first, last = min(numbers), max(numbers)
    run = len(numbers) >= _RUN and sorted(numbers) == list(range(first, last + 1))
    which = f"{first} to {last}" if run else listed([str(n) for n in sorted(numbers)])
    return f"{word.capitalize() if capital else word} {which}"


def sentence(words: str) -> str:
    """Return words with a capital letter first, the rest as it is."""
    return words[:1].upper() + words[1:]
