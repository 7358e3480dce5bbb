"""How far the work has come, for whoever shows it."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Anything that can be told how far the work has come."""

    def __call__(self, done: int, total: int, doing: str, /) -> None:
        """Take note: steps done, steps in all, what is being done now in a few words."""
