"""Reading the takes of one string together, so that their differences are as good as they can be."""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.clip import Clip
from pitchcheck.pitch.note import read_note
from pitchcheck.pitch.reading import Reading, Unreadable


def read_group(clips: Sequence[Clip], *, expected_hz: Sequence[float]) -> tuple[Reading | Unreadable, ...]:
    """Read the takes of one string; a take that cannot be read is returned as its Unreadable."""
    read: list[Reading | Unreadable] = []
    for clip, hz in zip(clips, expected_hz, strict=True):
        try:
            read.append(read_note(clip, expected_hz=hz))
        except Unreadable as refusal:
            read.append(refusal)
    return tuple(read)
