"""What can go wrong, in words a user can act on.

Every error says what is wrong, the value, the limit and what to do. The tree::

    PitchcheckError            base: caught once, at the command line
    +-- BadValue               an argument outside its range (also a ValueError)
        +-- WrongCall          options that do not go together, or one that is missing
    +-- BadInput               an input file that cannot be used; carries a Problem
    +-- NothingMeasured        no string could be measured; carries the problems found

Anything else that escapes is a bug and keeps its traceback.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One fault in the input. Missing parts are ``None``; ``row`` counts data rows from 1."""

    file: str | None
    row: int | None
    field: str | None
    value: str | None
    limit: str
    action: str

    def sentence(self) -> str:
        """Return the fault as one line for a person."""
        where = self.file or "input"
        if self.row is not None:
            where += f", row {self.row}"
        if self.field is not None:
            where += f", {self.field}"
        shown = "" if self.value is None else f" is {self.value!r}"
        return f"{where}{shown}: {self.limit}. {self.action}"


class PitchcheckError(Exception):
    """Base of all errors a user can act on."""

    slug = "error"


class BadValue(PitchcheckError, ValueError):
    """An argument is outside its range."""

    slug = "bad-value"


class WrongCall(BadValue):
    """A command was given options that do not go together, or lacks one: exit status 64."""

    slug = "wrong-call"


class BadInput(PitchcheckError):
    """An input file cannot be used."""

    slug = "bad-input"

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem.sentence())
        self.problem = problem


class NothingMeasured(PitchcheckError):
    """No string could be measured."""

    slug = "nothing-measured"

    def __init__(self, message: str, problems: Sequence[Problem] = ()) -> None:
        super().__init__(message)
        self.problems = tuple(problems)


def check_positive(name: str, value: float, *, unit: str) -> None:
    """Raise BadValue unless ``value`` is a finite number above zero."""
    if not 0 < value < float("inf"):
        raise BadValue(f"{name} is {value} {unit}; it must be above 0 and finite. Give a positive number.")
