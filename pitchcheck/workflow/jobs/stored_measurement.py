"""A measurement as a job keeps it, and back: nothing is heard again.

Conventions: ``measurement.json`` is the JSON of docs/formats.md with what a later comparison needs added:
``readings`` (every take as it was read) and ``outer_cut``.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from pitchcheck.doubts import Doubt, as_data, from_data
from pitchcheck.errors import Problem
from pitchcheck.fit.problem import FitPass
from pitchcheck.instrument import Removal
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.layout import RESULT
from pitchcheck.jobs.records import StoredPass
from pitchcheck.measurement import Measurement
from pitchcheck.session.folder import Session, read_session
from pitchcheck.survey import build_survey
from pitchcheck.takes import Position, Stop, Take
from pitchcheck.words.doubts import doubt
from pitchcheck.workflow.jobs.old_doubts import read_old_doubt
from pitchcheck.workflow.measure import Pass, conclude, fit_pass, hear_pass
from pitchcheck.workflow.outer_strings import outer_cut
from pitchcheck.workflow.progress import Progress

_PROBLEM = ("file", "row", "field", "value", "limit", "action")


def stored_text(measurement: Measurement) -> str:
    """Return a measurement as a job keeps it."""
    from pitchcheck.report.json_out import measurement_json

    content: dict[str, Any] = json.loads(measurement_json(measurement))
    content["readings"] = [_reading(take) for take in measurement.takes]
    cut = outer_cut(measurement)
    content["outer_cut"] = None if cut is None else asdict(cut)
    return json.dumps(content, indent=1, allow_nan=False) + "\n"


def measurement_of(stored: StoredPass) -> Measurement:
    """Return the measurement of a sealed pass, from its stored readings.

    Raises
    ------
    JobDamaged
        If the stored result cannot be read.
    NothingMeasured
        If its settings cannot be used.
    """
    session = read_session(stored.folder)
    this = stored_pass(session)
    return conclude(this, earlier_passes(session.before), this.problems)


def measure_new(
    folder: Path,
    *,
    before: StoredPass | None,
    removed: Sequence[Removal],
    workers: int,
    progress: Progress | None = None,
) -> tuple[Session, Measurement]:
    """Hear a session folder that is to follow a stored pass, and measure it."""
    session = read_session(folder)
    session = replace(session, settings=replace(session.settings, removed=tuple(removed)))
    this = hear_pass(session, workers=workers, progress=progress)
    if progress is not None:
        progress(len(this.takes), len(this.takes), "fitting")
    return session, conclude(this, earlier_passes(None if before is None else before.folder), this.problems)


def stored_pass(session: Session) -> Pass:
    """Return a sealed pass as it was heard."""
    content = _load(session.folder)
    try:
        takes = tuple(_take(item) for item in content["readings"])
        problems = tuple(Problem(**{key: item[key] for key in _PROBLEM}) for item in content["errors"])
    except (KeyError, TypeError, ValueError) as error:
        raise _damaged(session.folder, error) from error
    return Pass(session, takes, build_survey(takes), problems)


def earlier_passes(folder: Path | None) -> tuple[FitPass, ...]:
    """Return a stored pass and those before it, earliest first, for the one after them."""
    passes: list[FitPass] = []
    seen: set[Path] = set()
    while folder is not None and folder.resolve() not in seen:
        seen.add(folder.resolve())
        passed = stored_pass(read_session(folder))
        passes.insert(0, fit_pass(passed))
        folder = passed.session.before
    return tuple(passes)


def _load(folder: Path) -> dict[str, Any]:
    """Return the stored result."""
    try:
        content = json.loads((folder / RESULT).read_bytes())
    except (OSError, ValueError) as error:
        raise _damaged(folder, error) from error
    if not isinstance(content, dict):
        raise _damaged(folder, "it is no object")
    return content


def _damaged(folder: Path, error: object) -> JobDamaged:
    """Return a fault of the stored result."""
    return JobDamaged(
        f"{folder.name}/{RESULT} was altered or damaged ({error}). See what changed with job verify; "
        f"the sounds can be measured again with: pitchcheck measure {folder.name}"
    )


def _reading(take: Take) -> dict[str, Any]:
    """Return one take as it was read."""
    place = take.position
    return {
        "row": take.row,
        "file": take.file,
        "string": place.string,
        "stop": place.stop.value,
        "fret": place.fret,
        "capo": place.capo,
        "hz": _plain(take.hz),
        "sd_cents": _plain(take.sd_cents),
        "when": float(take.when),
        "stiffness": _plain(take.inharmonicity),
        "stiffness_sd": _plain(take.inharmonicity_sd),
        "doubts": [doubt(what) for what in take.doubts],
        "doubt_records": [as_data(what) for what in take.doubts],
        "used": take.used,
    }


def _plain(value: float | None) -> float | None:
    """Return a number as JSON keeps it."""
    return None if value is None else float(value)


def _doubts(item: dict[str, Any]) -> tuple[Doubt, ...]:
    """Return the doubts of a stored reading; passes stored before doubts were records have only sentences."""
    if "doubt_records" in item:
        return tuple(from_data(data) for data in item["doubt_records"])
    return tuple(read_old_doubt(text) for text in item["doubts"])


def _take(item: dict[str, Any]) -> Take:
    """Return one take from its stored reading."""
    return Take(
        row=item["row"],
        file=item["file"],
        position=Position(item["string"], Stop(item["stop"]), item["fret"], item["capo"]),
        hz=item["hz"],
        sd_cents=item["sd_cents"],
        when=item["when"],
        inharmonicity=item["stiffness"],
        inharmonicity_sd=item["stiffness_sd"],
        doubts=_doubts(item),
        used=item["used"],
    )
