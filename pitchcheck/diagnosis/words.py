"""String lists in words, until a comparison hands on records."""

from __future__ import annotations

from collections.abc import Sequence


def listed(numbers: Sequence[int], *, noun: str = "string") -> str:
    """Return ``string 1``, ``strings 1 and 2``, ``strings 1, 2 and 5``."""
    if len(numbers) == 1:
        return f"{noun} {numbers[0]}"
    head = ", ".join(str(n) for n in numbers[:-1])
    return f"{noun}s {head} and {numbers[-1]}"
