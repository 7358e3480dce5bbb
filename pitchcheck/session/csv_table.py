"""A comma-separated list as rows of named cells, with faults instead of exceptions.

Conventions: rows are counted from 1 below the header, empty lines included, as an editor counts them. Names
of columns are compared in lower case. Unknown columns become one notice.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from io import StringIO

from pitchcheck.session.notices import Inbox

SEPARATORS = ",;\t"  # a comma is the format; the others are what spreadsheets write in some languages


@dataclass(frozen=True)
class Row:
    """One line of the list: cells by column name, empty where nothing stands."""

    number: int
    cells: dict[str, str]
    inbox: Inbox

    def cell(self, column: str) -> str:
        """Return the text of a cell."""
        return self.cells.get(column, "")

    def fault(self, column: str | None, *, limit: str, action: str, value: str | None = None) -> None:
        """Note a fault of this row."""
        shown = self.cells.get(column) if value is None and column else value
        self.inbox.fault(column, shown or None, limit=limit, action=action, row=self.number)

    def whole(self, column: str, *, low: int, high: int) -> int | None:
        """Whole number within limits, or None after a fault."""
        text = self.cell(column)
        number = int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None
        if number is None or not low <= number <= high:
            limit = f"it must be a whole number from {low} to {high}"
            self.fault(column, limit=limit, action="Correct the cell.")
            return None
        return number

    def number_within(self, column: str, *, low: float, high: float, unit: str) -> float | None:
        """Finite number within limits, or None after a fault."""
        try:
            value = float(self.cell(column))
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            limit = f"it must be a number from {low:g} to {high:g} {unit}"
            self.fault(column, limit=limit, action="Correct the cell; use a point for decimals.")
            return None
        return value


def read_table(text: str, inbox: Inbox, *, needed: tuple[str, ...], known: tuple[str, ...]) -> list[Row]:
    """Rows of a list; a list whose header cannot be used gives none and a fault.

    Parameters
    ----------
    text : str
    inbox : Inbox
    needed, known : tuple of str
        Columns that must be there, and those that may.
    """
    separator = _separator(text, inbox)
    try:
        lines = list(csv.reader(StringIO(text, newline=""), delimiter=separator))
    except csv.Error as error:
        inbox.fault(None, limit=f"it is not a readable list ({error})", action="Save it again as CSV.")
        return []
    header = [name.strip().lower() for name in lines[0]] if lines else []
    missing = [name for name in needed if name not in header]
    if missing:
        limit = f"the first line must name the columns {', '.join(needed)}"
        inbox.fault(missing[0], ",".join(header) or None, limit=limit, action="Add the missing column.")
        return []
    double = [name for name in known if header.count(name) > 1]
    if double:
        inbox.fault(double[0], limit="the column appears twice", action="Remove one of the two.")
        return []
    unknown = [name for name in header if name and name not in known]
    if unknown:
        inbox.notice(f"columns not known and ignored: {', '.join(unknown)}")
    rows = []
    for number, line in enumerate(lines[1:], 1):
        cells = [cell.strip() for cell in line]
        if not any(cells):
            continue
        if len(cells) > len(header):
            inbox.notice("cells beyond the last column were ignored")
        rows.append(Row(number, dict(zip(header, cells, strict=False)), inbox))
    if not rows:
        inbox.fault(None, limit="the list has no rows", action="Add one row for each take.")
    return rows


def _separator(text: str, inbox: Inbox) -> str:
    """Return the separator that the header uses."""
    header = text.partition("\n")[0]
    best = max(SEPARATORS, key=header.count)
    if best != "," and header.count(best) > 0:
        inbox.notice("columns are not separated by commas; read all the same")
        return best
    return ","
