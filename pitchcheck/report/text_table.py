"""Tables of plain text for a screen, and what several of them show; light, so that a list comes at once."""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.instrument import MeterReading
from pitchcheck.units import LengthUnit
from pitchcheck.words import numbers


def aligned(lines: Sequence[Sequence[str]]) -> list[str]:
    """Return lines of cells with their columns aligned."""
    widths = [max(len(cell) for cell in column) + 2 for column in zip(*lines, strict=True)]
    return [
        "".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    ]


def gauged(reading: MeterReading, unit: LengthUnit) -> str:
    """Return what a gauge said; of leaves, between which two the gap lies."""
    ends = (reading.passes_mm, reading.stops_mm)
    low, high = ("" if mm is None else numbers.figure(mm, unit=unit) for mm in ends)
    if low and high:
        return f"{low} to {high}"
    return f"over {low}" if low else f"under {high}" if high else numbers.figure(reading.value_mm, unit=unit)
