"""Many session folders, each measured in a process of its own, their results kept as they come.

Conventions: a result is kept as one line of JSON, {"folder", "changed", "result"}: where the folder is, the
latest change in it in nanoseconds since 1970, and the fields that `measure --json` prints for it. What has a
line and has not changed since is not measured again. No more than a few results are in memory at once.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pitchcheck.errors import BadInput, NothingMeasured, PitchcheckError, Problem
from pitchcheck.jobs.layout import JOB
from pitchcheck.report.json_out import measurement_fields, refusal_fields
from pitchcheck.session.settings import SETTINGS
from pitchcheck.workflow.hear import process_context
from pitchcheck.workflow.measure import measure_folder

WAITING = 2  # folders handed out a process, so that none waits and few are in memory


@dataclass(frozen=True)
class Kept:
    """What came of one folder. ``line`` is its line of JSON; ``fields`` what `measure --json` prints."""

    folder: Path
    line: str
    fields: dict[str, Any]
    again: bool = False  # found among the kept results, not measured now


def session_folders(paths: Sequence[Path]) -> tuple[Path, ...]:
    """Session folders that are named, and those inside folders that are none; a pass of a job is left out.

    Raises
    ------
    BadInput
        If a path is no folder, or none is in it.
    """
    found: dict[Path, Path] = {}
    for path in paths:
        inside = [path] if (path / SETTINGS).is_file() else _inside(path)
        if not inside:
            limit = f"no folder with {SETTINGS} is there"
            action = "Name session folders, or a folder around them."
            raise BadInput(Problem(str(path), None, None, None, limit, action))
        for folder in inside:
            found.setdefault(folder.resolve(), folder)
    return tuple(found.values())


def _inside(path: Path) -> list[Path]:
    """Session folders below a folder, in order of their paths."""
    found = sorted(p.parent for p in path.rglob(SETTINGS) if p.is_file()) if path.is_dir() else []
    hidden = [p for p in found if any(part.startswith(".") for part in p.relative_to(path).parts)]
    jobs = {p.parent for p in path.rglob(JOB)} if found else set()
    return [p for p in found if p not in hidden and not any(job in p.parents for job in jobs)]


def read_kept(file: Path) -> dict[str, str]:
    """Lines of an earlier run by folder, the last one of each; a half-written last line is left out.

    Raises
    ------
    BadInput
        If the file cannot be read, or a whole line of it is no result.
    """
    kept: dict[str, str] = {}
    try:
        lines = file.read_text(encoding="utf-8").splitlines(keepends=True) if file.exists() else []
    except (OSError, UnicodeDecodeError) as error:
        raise _no_results(file, None) from error
    for number, line in enumerate(lines, start=1):
        try:
            row = json.loads(line)
            if {"changed", "result"} - row.keys() or "strings" not in row["result"]:
                raise ValueError
            kept[str(row["folder"])] = line.strip()
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
            if number == len(lines) and not line.endswith("\n"):
                break
            raise _no_results(file, number) from error
    return kept


def _no_results(file: Path, row: int | None) -> BadInput:
    """Return the refusal of a file that is something else."""
    limit = "it holds no results of `measure`, and is left alone"
    return BadInput(Problem(str(file), row, None, None, limit, "Name another file with --results."))


def measure_many(
    folders: Sequence[Path], *, workers: int, known: dict[str, str] | None = None
) -> Iterator[Kept]:
    """Yield what came of every folder, as soon as it is there.

    Parameters
    ----------
    folders : sequence of Path
        Session folders.
    workers : int >= 1
        Processes at work at once, a folder each. 1 measures everything here.
    known : dict, optional
        What ``read_kept`` gave.
    """
    left: list[Path] = []
    for folder in folders:
        line = (known or {}).get(str(folder.resolve()))
        row = {} if line is None else json.loads(line)
        if line is not None and row["changed"] == last_change(folder):
            yield Kept(folder, line, row["result"], again=True)
        else:
            left.append(folder)
    if workers < 2 or len(left) < 2:
        for folder in left:
            yield _kept(folder, measured_line(folder))
        return
    with ProcessPoolExecutor(min(workers, len(left)), mp_context=process_context()) as pool:
        waiting: dict[Future[str], Path] = {}
        try:
            while left or waiting:
                while left and len(waiting) < WAITING * workers:
                    folder = left.pop(0)
                    waiting[pool.submit(measured_line, folder)] = folder
                for future in wait(waiting, return_when=FIRST_COMPLETED).done:
                    yield _kept(waiting.pop(future), future.result())
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def measured_line(folder: Path) -> str:
    """Measure one folder; return its line. What cannot be used is a result too: its ``errors`` say why."""
    changed = last_change(folder)
    try:
        fields = measurement_fields(measure_folder(folder))
    except NothingMeasured as error:
        fields = refusal_fields(error.problems)
    except PitchcheckError as error:
        fields = refusal_fields([Problem(str(folder), None, None, None, str(error), "")])
    row = {"folder": str(folder.resolve()), "changed": changed, "result": fields}
    return json.dumps(row, allow_nan=False)


def _kept(folder: Path, line: str) -> Kept:
    return Kept(folder, line, json.loads(line)["result"])


def last_change(folder: Path) -> int:
    """Latest change of a folder and all in it. [ns since 1970]"""
    return max(path.stat().st_mtime_ns for path in (folder, *folder.rglob("*")))
