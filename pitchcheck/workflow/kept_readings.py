"""What was read of a session's sound, kept beside it, so that the same sound is not heard twice.

Conventions: readings are kept string by string, as the takes of a string are read together, under a sum of
all that they follow from: the bytes of the sound, where it is cut, the pitch that was looked for, and the
code that read it. Whatever of it differs is heard anew; the file may be deleted at any time.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from pitchcheck.doubts import as_data, from_data
from pitchcheck.errors import Problem
from pitchcheck.pitch.reading import Reading
from pitchcheck.session.paths import inside
from pitchcheck.session.rows import TakeRow
from pitchcheck.store.files import write_whole

KEPT = ".heard.json"
_CODE = ("pitch", "audio")  # packages that a reading follows from

Answer = Reading | Problem


@dataclass
class KeptReadings:
    """The readings of one session folder; ``changed`` says that some are not on the disk yet."""

    folder: Path
    of_sum: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)
    changed: bool = False

    @classmethod
    def of_folder(cls, folder: Path) -> KeptReadings:
        """Return what a folder keeps; nothing where that cannot be read."""
        found: dict[str, list[dict[str, Any]]] = {}
        with suppress(OSError, ValueError, TypeError, AttributeError):
            content = json.loads((folder / KEPT).read_bytes())
            found = {key: list(rows) for key, rows in content["strings"].items()}
        return cls(folder, found)

    def find(self, key: str, rows: Sequence[TakeRow]) -> list[tuple[int, Answer]] | None:
        """Return the kept answers to some rows, None where there are none."""
        kept = self.of_sum.get(key)
        if kept is None or len(kept) != len(rows):
            return None
        try:
            answers = [(row.row, _answer(data, row)) for row, data in zip(rows, kept, strict=True)]
        except (KeyError, TypeError, ValueError, AttributeError):
            return None
        self.used.add(key)
        return answers

    def put(self, key: str, rows: Sequence[TakeRow], answers: Sequence[tuple[int, Answer]]) -> None:
        """Keep the answers to some rows."""
        by_row = dict(answers)
        self.of_sum[key] = [_data(by_row[row.row]) for row in rows]
        self.used.add(key)
        self.changed = True

    def save(self) -> None:
        """Write what was used; a folder that cannot be written is heard again another time."""
        if self.changed:
            strings = {key: rows for key, rows in self.of_sum.items() if key in self.used}
            with suppress(OSError):
                write_whole(self.folder / KEPT, json.dumps({"schema": 1, "strings": strings}).encode())
            self.changed = False


def sum_of(folder: Path, rows: Sequence[TakeRow], expected_hz: Sequence[float]) -> str | None:
    """Return the sum of all that the readings of some rows follow from; None where a sound is missing."""
    whole = sha256(_code_sum().encode())
    for row, hz in zip(rows, expected_hz, strict=True):
        path = inside(folder, row.file)
        try:
            content = b"" if path is None else path.read_bytes()
        except OSError:
            return None
        if not content:
            return None
        cut = (row.file, row.start_s, row.end_s, float(hz))
        whole.update(sha256(content).digest() + repr(cut).encode())
    return whole.hexdigest()


@cache
def _code_sum() -> str:
    """Return the sum of the code that reads sound."""
    top = Path(__file__).parents[1]
    whole = sha256()
    for package in _CODE:
        for path in sorted((top / package).glob("*.py")):
            whole.update(path.name.encode() + path.read_bytes())
    return whole.hexdigest()


def _data(answer: Answer) -> dict[str, Any]:
    """Return an answer as JSON keeps it."""
    if isinstance(answer, Problem):
        return {"problem": asdict(answer)}
    plain = replace(answer, doubts=())
    return asdict(plain) | {"doubts": [as_data(what) for what in answer.doubts]}


def _answer(data: dict[str, Any], row: TakeRow) -> Answer:
    """Return an answer from its JSON."""
    if "problem" in data:
        return replace(Problem(**data["problem"]), row=row.row)
    first_s, last_s = data["used_s"]
    doubts = tuple(from_data(what) for what in data["doubts"])
    return Reading(**(data | {"used_s": (first_s, last_s), "doubts": doubts}))
