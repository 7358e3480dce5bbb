"""Many measured folders as one table: a line each, what is what and what may come off now.

Conventions: rows are made from the fields of a measurement's JSON, so that those read back from a file and
those just measured look the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pitchcheck.units import LengthUnit
from pitchcheck.words import numbers

VERDICTS = ("high", "low", "fine", "unsure")
_LONGEST_FAULT = 100  # characters of why a folder could not be measured


@dataclass(frozen=True)
class FolderRow:
    """One folder: how many slots of each verdict, what comes off now, or why nothing was measured."""

    name: str
    counts: tuple[int, ...]  # in the order of VERDICTS
    removals_mm: tuple[tuple[int, float], ...]
    fault: str | None

    @property
    def measured(self) -> bool:
        """Whether any string was measured."""
        return self.fault is None


def folder_row(name: str, fields: Mapping[str, Any]) -> FolderRow:
    """Return the row of a folder from the fields of its JSON."""
    strings = fields["strings"]
    if not any(string["slot_height_mm"]["median"] is not None for string in strings):
        first = next(iter(fields["errors"]), None)
        told = "no string could be measured" if first is None else f"{first['file']}: {first['limit']}"
        return FolderRow(name, (0, 0, 0, 0), (), told[:_LONGEST_FAULT])
    found = [string["verdict"] for string in strings]
    off = ((string["number"], string["remove_now_mm"]) for string in strings)
    return FolderRow(
        name, tuple(found.count(verdict) for verdict in VERDICTS), tuple(one for one in off if one[1]), None
    )


def table_lines(rows: Sequence[FolderRow], *, unit: LengthUnit | None = None) -> list[str]:
    """Return the table; folders in the order of their names."""
    if not rows:
        return []
    width = max(len("folder"), *(len(row.name) for row in rows))
    lines = [f"{'folder':<{width}}  " + "  ".join(f"{v:>6}" for v in VERDICTS) + "  take off now, by string"]
    for row in sorted(rows, key=lambda row: row.name):
        if row.fault is not None:
            lines.append(f"{row.name:<{width}}  not measured: {row.fault}")
            continue
        off = ", ".join(
            f"{n}: {numbers.removal(mm, unit=unit or LengthUnit.MM)}" for n, mm in row.removals_mm
        )
        lines.append(
            f"{row.name:<{width}}  " + "  ".join(f"{count:>6}" for count in row.counts) + f"  {off or '–'}"
        )
    return lines
