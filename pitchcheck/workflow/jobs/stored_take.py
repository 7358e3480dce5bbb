"""A take as the stored result of a pass keeps it, and the checks of every value that is read back."""

from __future__ import annotations

import math
from typing import Any

from pitchcheck.doubts import Doubt, as_data, from_data
from pitchcheck.jobs.names import is_printable
from pitchcheck.takes import Position, Stop, Take
from pitchcheck.words.doubts import doubt
from pitchcheck.workflow.jobs.old_doubts import read_old_doubt


def take_as_stored(take: Take) -> dict[str, Any]:
    """Return one take as it was read."""
    place = take.position
    return {
        "row": take.row,
        "file": take.file,
        "string": place.string,
        "stop": place.stop.value,
        "fret": place.fret,
        "capo": place.capo,
        "leaf_mm": place.leaf_mm,
        "hz": _plain(take.hz),
        "sd_cents": _plain(take.sd_cents),
        "when": float(take.when),
        "stiffness": _plain(take.inharmonicity),
        "stiffness_sd": _plain(take.inharmonicity_sd),
        "doubts": [doubt(what) for what in take.doubts],
        "doubt_records": [as_data(what) for what in take.doubts],
        "used": take.used,
    }


def take_from(item: dict[str, Any]) -> Take:
    """Return one take from its stored reading."""
    file, fret = item["file"], item["fret"]
    if type(item["used"]) is not bool:
        raise ValueError("used is neither true nor false")
    return Take(
        row=whole_number(item["row"]),
        file=None if file is None else printable(file),
        position=Position(
            whole_number(item["string"]),
            Stop(item["stop"]),
            None if fret is None else whole_number(fret),
            whole_number(item["capo"]),
            leaf_mm=finite_or_none(item.get("leaf_mm")),
        ),
        hz=finite_or_none(item["hz"]),
        sd_cents=finite_or_none(item["sd_cents"]),
        when=finite(item["when"]),
        inharmonicity=finite_or_none(item["stiffness"]),
        inharmonicity_sd=finite_or_none(item["stiffness_sd"]),
        doubts=_doubts(item),
        used=item["used"],
    )


def _doubts(item: dict[str, Any]) -> tuple[Doubt, ...]:
    """Return the doubts of a stored reading; passes stored before doubts were records have only sentences."""
    if "doubt_records" in item:
        found = tuple(from_data(data) for data in item["doubt_records"])
        for what in found:
            doubt(what)  # raises where its numbers are none
        return found
    return tuple(read_old_doubt(printable(text)) for text in item["doubts"])


def _plain(value: float | None) -> float | None:
    """Return a number as JSON keeps it."""
    return None if value is None else float(value)


def finite_or_none(value: object) -> float | None:
    """Return a number that may be missing."""
    return None if value is None else finite(value)


def finite(value: object) -> float:
    """Return a finite number; raise ValueError for anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError("a number is due")
    return float(value)


def whole_number(value: object) -> int:
    """Return a whole number from 0 to a million; raise ValueError for anything else."""
    if type(value) is not int or not 0 <= value < 1_000_000:
        raise ValueError("a whole number is due")
    return value


def printable(value: object) -> str:
    """Return text that moves no cursor; raise ValueError for anything else."""
    if not isinstance(value, str) or not is_printable(value):
        raise ValueError("printable text is due")
    return value
