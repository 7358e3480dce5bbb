"""``pitchcheck measure`` with many session folders, or a folder of them."""

from __future__ import annotations

import os
from pathlib import Path

import typer

from pitchcheck.cli.output import progress_bar, say, tell
from pitchcheck.errors import BadInput, NothingMeasured, Problem, WrongCall
from pitchcheck.session.settings import SETTINGS
from pitchcheck.units import LengthUnit


def are_many(paths: list[Path]) -> bool:
    """Whether paths name more than one session folder, or a folder around such."""
    if any(not path.is_dir() for path in paths):
        return False
    if len(paths) > 1:
        return any((path / SETTINGS).is_file() or _around(path) for path in paths)
    return not (paths[0] / SETTINGS).is_file() and _around(paths[0])


def _around(path: Path) -> bool:
    return next(path.rglob(SETTINGS), None) is not None


def measure_all(
    paths: list[Path], *, as_json: bool, results: Path | None, unit: LengthUnit | None, workers: int | None
) -> None:
    """Measure them all, on all cores; keep every result at once, print lines of JSON or one table."""
    from pitchcheck.report.many_lines import FolderRow, folder_row, table_lines
    from pitchcheck.workflow.many import measure_many, read_kept, session_folders

    folders = session_folders(paths)
    known = {} if results is None else read_kept(results)
    rows: list[FolderRow] = []
    with progress_bar() as progress:
        for kept in measure_many(folders, workers=workers or os.cpu_count() or 1, known=known):
            if results is not None and not kept.again:
                _append(results, kept.line)
            if as_json:
                typer.echo(kept.line)
            rows.append(folder_row(str(kept.folder), kept.fields))
            if progress is not None:
                progress(len(rows), len(folders), f"measured {kept.folder.name}")
    if not as_json:
        for line in table_lines(rows, unit=unit):
            tell(line)
    done = sum(row.measured for row in rows)
    say(f"{done} of {len(rows)} folders measured.")
    if results is not None:
        say(f"Results: {results}. The same command goes on from there, and measures again what was changed.")
    if not done:
        raise NothingMeasured("No folder could be measured.")


def _append(results: Path, line: str) -> None:
    """Write one whole line; after a line that an earlier run left half-written, on a line of its own."""
    try:
        with results.open("a+b") as file:
            if file.tell():
                file.seek(-1, os.SEEK_END)
                if file.read(1) != b"\n":
                    _drop_half_line(results)
            file.write(line.encode("utf-8") + b"\n")
    except OSError as error:
        limit = f"it cannot be written ({error.strerror or error})"
        raise BadInput(
            Problem(str(results), None, None, None, limit, "Make room, or name another file.")
        ) from error


def _drop_half_line(results: Path) -> None:
    """Cut a file back to its last whole line."""
    content = results.read_bytes()
    os.truncate(results, content.rfind(b"\n") + 1)


def refuse_of_one(**given: object) -> None:
    """Refuse options that belong to one folder.

    Raises
    ------
    WrongCall
        If any was given.
    """
    named = [f"--{name.replace('_', '-')}" for name, value in given.items() if value]
    if named:
        raise WrongCall(
            f"{', '.join(named)} belong{'s' if len(named) == 1 else ''} to one folder; many were named. "
            "Leave it out, or measure them one by one."
        )
