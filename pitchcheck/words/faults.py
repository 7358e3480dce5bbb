"""Faults of the input as lines: the settings first, and one line for many of a kind."""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.errors import Problem

_RUN = 3  # [-] rows in a row from which "to" reads better than a list
_MOST_ROWS = 6  # [-] runs of rows that are named; more are only counted


def fault_lines(problems: Sequence[Problem], *, settings: str = "session.toml") -> tuple[str, ...]:
    """Return faults as sentences, those of the settings first; those that differ only in their row as one."""
    groups: dict[tuple[str | None, str | None, str, str], list[Problem]] = {}
    for problem in sorted(problems, key=lambda fault: fault.file != settings):
        groups.setdefault((problem.file, problem.field, problem.limit, problem.action), []).append(problem)
    return tuple(_line(group) for group in groups.values())


def _line(alike: Sequence[Problem]) -> str:
    """Return one line for faults of a kind."""
    first = alike[0]
    rows = sorted(p.row for p in alike if p.row is not None)
    if len(alike) == 1 or len(rows) < len(alike):
        return first.sentence()
    where = f"{first.file or 'input'}, {len(rows)} rows ({runs(rows)})"
    field = f", {first.field}" if first.field else ""
    return f"{where}{field}: {first.limit}. {first.action}"


def runs(rows: Sequence[int]) -> str:
    """Return rows as ``"1 to 4, 7, 9 to 12"``, shortened where there are many runs."""
    found: list[list[int]] = []
    for row in rows:
        if found and row == found[-1][-1] + 1:
            found[-1].append(row)
        else:
            found.append([row])
    told = [
        f"{run[0]} to {run[-1]}" if len(run) >= _RUN else ", ".join(str(row) for row in run)
        for run in found[:_MOST_ROWS]
    ]
    return ", ".join(told) + (" and more" if len(found) > _MOST_ROWS else "")
