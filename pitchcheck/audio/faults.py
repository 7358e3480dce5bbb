"""``Unsound``: a sound file that cannot be read, with the limit it breaks and what to do."""

from __future__ import annotations

from pitchcheck.errors import PitchcheckError


class Unsound(PitchcheckError):
    """A sound file, or the stretch of it, cannot be read."""

    slug = "unsound"

    def __init__(self, limit: str, action: str) -> None:
        super().__init__(f"{limit}. {action}")
        self.limit = limit
        self.action = action
