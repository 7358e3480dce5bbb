"""``measurement.json`` of a sealed pass: how it is written, and what is read back from it; nothing is heard.

Conventions: it is the JSON of docs/formats.md with what a later comparison needs added: ``readings`` (every
take as it was read) and ``outer_cut``. Lengths in mm; a string counts as heard in a pass if a stopped take of
it was used.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pitchcheck.errors import Problem
from pitchcheck.jobs.errors import JobDamaged
from pitchcheck.jobs.layout import RESULT, plain_file
from pitchcheck.jobs.records import Job, StoredPass
from pitchcheck.session.folder import read_session
from pitchcheck.takes import Stop, Take
from pitchcheck.workflow.jobs.gauge import readings_after
from pitchcheck.workflow.jobs.stored_take import (
    finite,
    finite_or_none,
    printable,
    take_as_stored,
    take_from,
    whole_number,
)

if TYPE_CHECKING:
    from pitchcheck.fit.problem import FitPass
    from pitchcheck.measurement import Measurement
    from pitchcheck.workflow.hear import Pass

LARGEST_BYTES = 50_000_000  # our choice: a pass of five hundred takes is below one million
_PROBLEM = ("file", "row", "field", "value", "limit", "action")
Read = TypeVar("Read")


@dataclass(frozen=True)
class Cut:
    """A cut at the bottom of the nut. [mm]"""

    bass_mm: float
    treble_mm: float


@dataclass(frozen=True)
class StoredSlot:
    """One slot of a stored pass. [mm] The height and its 90 % interval are None where it was not measured.

    ``heard`` says that its string was played in this very pass; ``clearance_mm`` is the gap over fret 1 with
    the string held behind fret 3.
    """

    number: int
    note: str
    height_mm: float | None
    low_mm: float | None
    high_mm: float | None
    target_mm: float
    verdict: str
    remove_now_mm: float
    heard: bool
    clearance_mm: tuple[float, float, float] | None


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


def stored_text(measurement: Measurement) -> str:
    """Return a measurement as a job keeps it."""
    from pitchcheck.report.json_out import json_text, measurement_fields
    from pitchcheck.workflow.outer_strings import outer_cut

    cut = outer_cut(measurement)
    return json_text(
        measurement_fields(measurement)
        | {
            "readings": [take_as_stored(take) for take in measurement.takes],
            "outer_cut": None if cut is None else asdict(cut),
        }
    )


def read_result(folder: Path) -> StoredResult:
    """Return the stored result of a pass; raise JobDamaged if it cannot be read."""
    return _parsed(folder, _result)


def result_of(measurement: Measurement) -> StoredResult:
    """Return a measurement as its stored result would be read."""
    return _result(json.loads(stored_text(measurement)))


def _result(content: dict[str, Any]) -> StoredResult:
    """Return a result from its JSON."""
    bottom, outer = content["plan"], content["outer_cut"]
    heard = {take.position.string for take in map(take_from, content["readings"]) if _tells(take)}
    return StoredResult(
        slots=tuple(_slot(item, heard) for item in content["strings"]),
        nut_bottom=None if bottom is None else _cut(bottom, "nut_bottom_bass_mm", "nut_bottom_treble_mm"),
        outer_cut=None if outer is None else _cut(outer, "bass_mm", "treble_mm"),
        faults=len(content["errors"]),
    )


def last_heard(job: Job) -> dict[int, tuple[StoredPass, StoredSlot]]:
    """Return the last counted pass in which each string was heard, and its slot there, by string number."""
    found: dict[int, tuple[StoredPass, StoredSlot]] = {}
    for stored in job.counted:
        for slot in read_result(stored.folder).slots:
            if slot.number not in found or slot.heard:
                found[slot.number] = (stored, slot)
    return found


def stored_pass(stored: StoredPass) -> Pass:
    """Return a sealed pass as it was heard, with what gauges said of its slots afterwards."""
    from pitchcheck.survey import build_survey
    from pitchcheck.workflow.hear import Pass

    def read(content: dict[str, Any]) -> tuple[tuple[Take, ...], tuple[Problem, ...]]:
        takes = tuple(take_from(item) for item in content["readings"])
        faults = [{key: _fault_value(key, item[key]) for key in _PROBLEM} for item in content["errors"]]
        return takes, tuple(Problem(**fault) for fault in faults)

    session = read_session(stored.folder)
    takes, problems = _parsed(stored.folder, read)
    known = {spec.number for spec in session.settings.instrument.strings}
    if not {take.position.string for take in takes} <= known:
        raise _damaged(stored.folder, "a reading is of a string that the settings do not have")
    if stored.gauge:
        meter = (*session.settings.meter, *readings_after(stored))
        session = replace(session, settings=replace(session.settings, meter=meter))
    return Pass(replace(session, before=None), takes, build_survey(takes), problems)


def earlier_passes(passes: Sequence[StoredPass]) -> tuple[FitPass, ...]:
    """Return sealed passes as the fit of the one after them takes them.

    They reach back to the last that is of another instrument, as after a new set of strings.
    """
    from pitchcheck.fit.problem import FitPass

    start = max((i for i, stored in enumerate(passes) if stored.changed), default=0)
    heard = map(stored_pass, passes[start:])
    return tuple(FitPass(one.session.settings, one.survey) for one in heard)


def renamed_text(folder: Path, names: dict[str, str]) -> str:
    """Return a stored result under new file names; faults lose the value that they quote."""
    from pitchcheck.report.json_out import json_text

    def read(content: dict[str, Any]) -> str:
        for item in (*content["takes"], *content["readings"]):
            item["file"] = names.get(item["file"], item["file"] and "left out")
        for fault in content["errors"]:
            fault["value"] = None
        return json_text(content)

    return _parsed(folder, read)


def rows_heard(folder: Path) -> set[int]:
    """Return the rows in which a pitch was heard: of the others nothing is known to be a note."""
    return _parsed(folder, lambda c: {t.row for t in map(take_from, c["readings"]) if t.hz is not None})


def _parsed(folder: Path, read: Callable[[dict[str, Any]], Read]) -> Read:
    """Return what is read from a stored result; raise JobDamaged where it is not as it was written."""
    path = plain_file(folder, RESULT)
    try:
        if path is None or path.stat().st_size > LARGEST_BYTES:
            raise ValueError("it is missing, or no result")
        content = json.loads(path.read_bytes())
        if not isinstance(content, dict):
            raise ValueError("it is no object")
        return read(content)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise _damaged(folder, error) from error


def _damaged(folder: Path, error: object) -> JobDamaged:
    """Return a fault of the stored result."""
    return JobDamaged(
        f"{folder.name}/{RESULT} was altered or damaged ({ascii(str(error))[1:-1][:200]}). "
        "See what changed with job verify; the sounds can be measured again with: "
        f"pitchcheck measure {folder.name}"
    )


def _slot(item: dict[str, Any], heard: set[int]) -> StoredSlot:
    """Return one slot."""
    height, number = item["slot_height_mm"], whole_number(item["number"])
    return StoredSlot(
        number=number,
        note=printable(item["note"]),
        height_mm=finite_or_none(height["median"]),
        low_mm=finite_or_none(height["low"]),
        high_mm=finite_or_none(height["high"]),
        target_mm=finite(item["target_mm"]),
        verdict=printable(item["verdict"]),
        remove_now_mm=finite(item["remove_now_mm"]),
        heard=number in heard,
        clearance_mm=_gap(item["clearance_third_fret_mm"]),
    )


def _gap(item: dict[str, Any]) -> tuple[float, float, float] | None:
    """Return median and ends of the 90 % interval of a gap."""
    if item["median"] is None:
        return None
    return finite(item["median"]), finite(item["low"]), finite(item["high"])


def _cut(item: dict[str, Any], bass: str, treble: str) -> Cut:
    return Cut(bass_mm=finite(item[bass]), treble_mm=finite(item[treble]))


def _tells(take: Take) -> bool:
    """Whether a take tells something of its slot."""
    return take.used and take.hz is not None and take.position.stop is not Stop.OPEN


def _fault_value(key: str, value: object) -> Any:
    """Return one value of a stored fault."""
    return value if value is None or (key == "row" and type(value) is int) else printable(value)
