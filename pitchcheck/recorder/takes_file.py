"""``takes.csv`` as a session at the microphone keeps it: rows come and go, the rest is left alone.

Conventions: the user may edit the list at any time between two sittings; columns, order, separator and cells
that are not ours are written back as they were found.
"""

from __future__ import annotations

import csv
from io import StringIO
from pathlib import Path

from pitchcheck.errors import BadInput, Problem
from pitchcheck.instrument import Instrument
from pitchcheck.session.csv_table import SEPARATORS
from pitchcheck.session.notices import Inbox
from pitchcheck.session.rows import TAKES, TakeRow, parse_takes
from pitchcheck.session.textfile import read_text
from pitchcheck.takes import Position

HEADER = ("file", "string", "stop", "fret", "capo")


class TakesTable:
    """The rows of ``takes.csv`` as text, and those of them that are good takes."""

    def __init__(self) -> None:
        self._separator = ","
        self._lines: list[list[str]] = [list(HEADER)]
        self.takes: tuple[TakeRow, ...] = ()
        self.notices: tuple[str, ...] = ()

    @classmethod
    def read(cls, folder: Path, *, instrument: Instrument) -> TakesTable:
        """Read the list of a folder; an absent one is empty.

        Raises
        ------
        BadInput
            If it is there and cannot be read as a list of takes: it is not to be written over then.
        """
        table = cls()
        if not (folder / TAKES).exists():
            return table
        inbox = Inbox(TAKES)
        text = read_text(folder, TAKES, inbox, missing="")
        if text is None:
            raise BadInput(inbox.problems[0])
        if not text.strip():
            return table
        table.takes = parse_takes(text, inbox, instrument=instrument)
        table._separator = max(SEPARATORS, key=text.partition("\n")[0].count)
        try:
            table._lines = list(csv.reader(StringIO(text, newline=""), delimiter=table._separator))
        except csv.Error as error:
            raise BadInput(inbox.problems[0]) from error
        for fault in inbox.problems:
            if fault.row is None and fault.field is not None:  # a header that cannot be used
                action = f"{fault.action} Or move {TAKES} out of the folder."
                raise BadInput(Problem(TAKES, None, fault.field, fault.value, fault.limit, action))
        table.notices = tuple(fault.sentence() for fault in inbox.problems if fault.row is not None)
        return table

    @property
    def files(self) -> set[str]:
        """Names of the sound files in the rows, the faulty ones too."""
        column = self._columns().index("file")
        return {line[column].strip() for line in self._lines[1:] if len(line) > column} - {""}

    def add(self, file: str, position: Position) -> None:
        """Add a take at the end."""
        columns = self._columns()
        if position.leaf_mm is not None and "leaf" not in columns:
            self._lines[0].append("leaf")
            columns = self._columns()
        cells = {
            "file": file,
            "string": str(position.string),
            "stop": position.stop.value,
            "fret": "" if position.fret is None else str(position.fret),
            "capo": str(position.capo),
            "leaf": "" if position.leaf_mm is None else f"{position.leaf_mm:.6g} mm",
        }
        self._lines.append([cells.get(name, "") for name in columns])

    def remove_file(self, file: str) -> None:
        """Take out the rows of a sound file."""
        column = self._columns().index("file")
        self._lines[1:] = [
            line for line in self._lines[1:] if len(line) <= column or line[column].strip() != file
        ]

    def remove_rows(self, numbers: set[int]) -> None:
        """Take out rows by number, from 1 below the header as they were read."""
        self._lines[1:] = [line for i, line in enumerate(self._lines[1:], 1) if i not in numbers]

    def text(self) -> str:
        """Return the list as it is written."""
        out = StringIO()
        csv.writer(out, delimiter=self._separator, lineterminator="\n").writerows(self._lines)
        return out.getvalue()

    def _columns(self) -> list[str]:
        return [name.strip().lower() for name in self._lines[0]]
