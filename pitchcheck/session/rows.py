"""Lists of takes and of readings, row by row, each checked against the instrument.

Conventions: rows in playing order; ``capo`` empty or 0 = none; ``fret`` counted from the nut. One bad row is
listed and left out, never the rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pitchcheck.errors import BadValue
from pitchcheck.instrument import Board, Instrument
from pitchcheck.session.csv_table import Row, read_table
from pitchcheck.session.limits import (
    DEFAULT_SD_CENTS,
    HIGHEST_FRET,
    HIGHEST_HZ,
    HIGHEST_STRING,
    LARGEST_SD_CENTS,
    LEAF,
    LOWEST_HZ,
)
from pitchcheck.session.notices import Inbox
from pitchcheck.takes import Position, Stop
from pitchcheck.units import length_mm

TAKES, READINGS = "takes.csv", "readings.csv"
PLACE = ("string", "stop", "fret")
LONGEST_S = 86400.0  # [s] a day: beyond it the cell is no time in a recording


@dataclass(frozen=True)
class TakeRow:
    """A row of ``takes.csv``: where the note lies in which file. None: from its beginning, to its end."""

    row: int
    file: str
    position: Position
    start_s: float | None
    end_s: float | None


@dataclass(frozen=True)
class ReadingRow:
    """A row of ``readings.csv``: a pitch read with another instrument."""

    row: int
    position: Position
    hz: float
    sd_cents: float
    time_s: float | None


def parse_takes(text: str, inbox: Inbox, *, instrument: Instrument) -> tuple[TakeRow, ...]:
    """Return the good rows of a list of takes; faults go to the inbox."""
    known = ("file", *PLACE, "capo", "leaf", "start_s", "end_s")
    rows = read_table(text, inbox, needed=("file", *PLACE), known=known)
    takes = (_take(row, instrument) for row in rows)
    return tuple(take for take in takes if take is not None)


def parse_readings(text: str, inbox: Inbox, *, instrument: Instrument) -> tuple[ReadingRow, ...]:
    """Return the good rows of a list of readings; faults go to the inbox."""
    known = (*PLACE, "capo", "leaf", "hz", "sd_cents", "time_s")
    rows = read_table(text, inbox, needed=(*PLACE, "hz"), known=known)
    if rows and any(not row.cell("sd_cents") for row in rows):
        inbox.notice(f"readings without sd_cents: {DEFAULT_SD_CENTS:g} cent was taken")
    readings = (_reading(row, instrument) for row in rows)
    return tuple(reading for reading in readings if reading is not None)


def _take(row: Row, instrument: Instrument) -> TakeRow | None:
    """Return one take, or None after a fault."""
    before = len(row.inbox.problems)
    position = _position(row, instrument)
    if not row.cell("file") or not row.cell("file").isprintable():
        row.fault(
            "file", limit="it must be a file name of printable characters", action="Name the sound file."
        )
    start, end = (_time(row, column) for column in ("start_s", "end_s"))
    if end is not None and (start or 0.0) >= end:
        row.fault(
            "end_s", limit=f"it must be later than start_s ({start or 0.0:g})", action="Correct the two."
        )
    if position is None or len(row.inbox.problems) > before:
        return None
    return TakeRow(row.number, row.cell("file"), position, start, end)


def _reading(row: Row, instrument: Instrument) -> ReadingRow | None:
    """Return one reading, or None after a fault."""
    before = len(row.inbox.problems)
    position = _position(row, instrument)
    hz = row.number_within("hz", low=LOWEST_HZ, high=HIGHEST_HZ, unit="Hz")
    sd: float | None = DEFAULT_SD_CENTS
    if row.cell("sd_cents"):
        sd = row.number_within("sd_cents", low=0.001, high=LARGEST_SD_CENTS, unit="cents")
    time = _time(row, "time_s")
    if position is None or hz is None or sd is None or len(row.inbox.problems) > before:
        return None
    return ReadingRow(row.number, position, hz, sd, time)


def _time(row: Row, column: str) -> float | None:
    """Return a time, None if the cell is empty or after a fault."""
    if not row.cell(column):
        return None
    return row.number_within(column, low=0.0, high=LONGEST_S, unit="s")


def _position(row: Row, instrument: Instrument) -> Position | None:
    """Return the place on the neck, or None after a fault."""
    before = len(row.inbox.problems)
    string = row.whole("string", low=1, high=HIGHEST_STRING)
    known = [spec.number for spec in instrument.strings]
    if string is not None and string not in known:
        limit = f"it must be one of the strings of session.toml ({', '.join(map(str, known))})"
        row.fault("string", limit=limit, action="Correct the number, or describe the string.")
    word = row.cell("stop").lower()
    if word not in {str(stop) for stop in Stop}:
        row.fault("stop", limit="it must be open, fret, press or leaf", action="Correct the cell.")
    capo = row.whole("capo", low=0, high=HIGHEST_FRET - 1) if row.cell("capo") else 0
    if string is None or capo is None or len(row.inbox.problems) > before:
        return None
    stop = Stop(word)
    if stop is Stop.OPEN:
        if row.cell("fret") not in ("", "0"):
            row.fault("fret", limit="an open string has no fret", action="Empty the cell, or correct stop.")
            return None
        return Position(string, stop, None, capo)
    fret = row.whole("fret", low=1, high=HIGHEST_FRET)
    if fret is None:
        return None
    if capo >= fret:
        row.fault("capo", limit=f"it must be below the fret ({fret})", action="Correct capo or fret.")
        return None
    if stop is Stop.PRESS and instrument.board is Board.SCALLOPED:
        limit = "a scalloped board gets no press test"
        row.fault("stop", limit=limit, action="Play fretted notes instead; this take was left out.")
        return None
    if stop is Stop.LEAF:
        leaf_mm = _leaf(row)
        return None if leaf_mm is None else Position(string, stop, fret, capo, leaf_mm)
    return Position(string, stop, fret, capo)


def _leaf(row: Row) -> float | None:
    """Return the thickness of the leaf of a leaf take, or None after a fault. [mm]"""
    try:
        thickness_mm = length_mm(row.cell("leaf"))
    except BadValue:
        thickness_mm = math.nan
    if not LEAF.low_mm <= thickness_mm <= LEAF.high_mm:
        limit = f"it must be the leaf's thickness with its unit, {LEAF.low_mm:g} to {LEAF.high_mm:g} mm"
        row.fault("leaf", limit=limit, action='Write it like "0.40 mm"; this take was left out.')
        return None
    return thickness_mm
