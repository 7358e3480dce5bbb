"""Formats of a job's own files, and how an older one is read as the present one.

Conventions: every TOML file of a job carries ``schema``. Files on disk are never rewritten for a new format,
as a sealed pass may not change: an older table is brought up to date in memory each time it is read. A newer
one is refused, and nothing is written to a job that holds one.

History: schema 1 is the first.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from pitchcheck.jobs.errors import JobDamaged, NewerFormat

SCHEMA = 1
LARGEST_BYTES = 2_000_000  # our choice: a checklist with thousands of lines is smaller

Table = dict[str, Any]
Step = Callable[[Table], Table]

# (name of the file, schema it is read from) -> the table one schema later. The first comes with schema 2.
MIGRATIONS: Mapping[tuple[str, int], Step] = {}


def read_table(
    path: Path, *, now: int = SCHEMA, migrations: Mapping[tuple[str, int], Step] = MIGRATIONS
) -> Table:
    """Return one of a job's TOML files in the present format.

    Parameters
    ----------
    path : Path
        Its name says which file it is.
    now : int
        Present schema.
    migrations : mapping

    Raises
    ------
    JobDamaged
        If the file is missing or cannot be read.
    NewerFormat
        If a later version wrote it.
    """
    label = f"{path.parent.name}/{path.name}"
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise JobDamaged(
                f"{label} is larger than {LARGEST_BYTES // 1_000_000} MB, so it is no {path.name}."
            )
        table: Table = tomllib.loads(path.read_bytes().decode("utf-8"))
    except OSError as error:
        raise JobDamaged(f"{label} cannot be read ({error.strerror or error}).") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise JobDamaged(f"{label} was altered or damaged: {error}.") from error
    found = table.get("schema")
    if type(found) is not int or found < 0:
        raise JobDamaged(f"{label} was altered or damaged: schema is {found!r}, it must be a whole number.")
    if found > now:
        raise NewerFormat(
            f"{label} has format {found}; this version reads up to {now}. "
            "Update the program; nothing was changed."
        )
    for version in range(found, now):
        step = migrations.get((path.name, version))
        if step is None:
            raise JobDamaged(f"{label} has format {version}, which never existed for {path.name}.")
        table = step(table)
    return table
