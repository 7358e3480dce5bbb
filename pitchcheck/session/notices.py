"""What a reader of input files collects on its way: faults and notices.

A fault (``Problem``) costs something: a row, a gauge reading or the whole folder. A notice costs nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pitchcheck.errors import Problem

LONGEST_SHOWN = 60  # characters of a bad value that are repeated; our choice


@dataclass
class Inbox:
    """Faults and notices of one file, in the order found."""

    file: str
    problems: list[Problem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)

    def fault(
        self, place: str | None, value: object = None, *, limit: str, action: str, row: int | None = None
    ) -> None:
        """Note a fault: field, value as found, what is allowed, what to do."""
        shown = None if value is None else shorten(str(value))
        self.problems.append(Problem(self.file, row, place, shown, limit, action))

    def notice(self, text: str) -> None:
        """Note something the user should know that costs nothing; repeats are dropped."""
        line = f"{self.file}: {text}"
        if line not in self.notices:
            self.notices.append(line)


def shorten(text: str) -> str:
    """Return a value fit for one line: no breaks, nothing that would move a terminal's cursor."""
    text = " ".join(text[: 4 * LONGEST_SHOWN].split())
    text = "".join(sign if sign.isprintable() else "?" for sign in text)
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"
