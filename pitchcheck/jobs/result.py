"""What a sealed pass says of each slot, read from its stored result without measuring anything."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.layout import RESULT


@dataclass(frozen=True)
class Cut:
    """A cut at the bottom of the nut. [mm]"""

    bass_mm: float
    treble_mm: float


@dataclass(frozen=True)
class StoredSlot:
    """One slot of a stored pass. [mm] The height and its 90 % interval are None where it was not measured."""

    number: int
    note: str
    height_mm: float | None
    low_mm: float | None
    high_mm: float | None
    target_mm: float
    verdict: str
    remove_now_mm: float


@dataclass(frozen=True)
class StoredResult:
    """A stored pass in numbers.

    Attributes
    ----------
    slots : tuple of StoredSlot
    nut_bottom : Cut or None
        What may come off the bottom of the nut instead, with all slots heard.
    outer_cut : Cut or None
        The same where only the two outer strings were heard.
    faults : int
        Takes and settings that could not be used.
    """

    slots: tuple[StoredSlot, ...]
    nut_bottom: Cut | None
    outer_cut: Cut | None
    faults: int


def read_result(folder: Path) -> StoredResult:
    """Return the stored result of a pass; raise JobDamaged if it cannot be read."""
    try:
        content = json.loads((folder / RESULT).read_bytes())
        bottom, outer = content["plan"], content["outer_cut"]
        return StoredResult(
            slots=tuple(_slot(item) for item in content["strings"]),
            nut_bottom=bottom and Cut(bottom["nut_bottom_bass_mm"], bottom["nut_bottom_treble_mm"]),
            outer_cut=outer and Cut(outer["bass_mm"], outer["treble_mm"]),
            faults=len(content["errors"]),
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise JobDamaged(f"{folder.name}/{RESULT} was altered or damaged ({error}).") from error


def _slot(item: dict[str, Any]) -> StoredSlot:
    """Return one slot."""
    height = item["slot_height_mm"]
    return StoredSlot(
        number=item["number"],
        note=item["note"],
        height_mm=height["median"],
        low_mm=height["low"],
        high_mm=height["high"],
        target_mm=item["target_mm"],
        verdict=item["verdict"],
        remove_now_mm=item["remove_now_mm"],
    )
