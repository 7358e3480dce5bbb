"""Readings of a session folder, as another instrument would have read them."""

from __future__ import annotations

from pathlib import Path

from pitchcheck.takes import Take


def write_readings(folder: Path, takes: tuple[Take, ...]) -> None:
    """Write what was heard into a session folder."""
    rows = ["string,stop,fret,capo,hz,sd_cents"]
    for take in takes:
        place = take.position
        rows.append(f"{place.string},{place.stop.value},{place.fret or ''},0,{take.hz:.7f},{take.sd_cents}")
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
