"""The record that every way of showing a result is drawn from."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pitchcheck.diagnosis import Finding
from pitchcheck.errors import Problem
from pitchcheck.findings import Question
from pitchcheck.fit.result import Fit
from pitchcheck.instrument import SessionSettings
from pitchcheck.plan import Plan
from pitchcheck.survey import Survey
from pitchcheck.takes import Take
from pitchcheck.units import LengthUnit


@dataclass(frozen=True, repr=False)
class Measurement:
    """One folder, measured: what was asked, heard, believed, found and planned.

    ``fit`` and ``survey`` are None when no string could be measured at all. ``questions`` are causes that
    the takes played so far cannot tell; ``suspects`` strings whose slots may be high but were neither pressed
    nor gauged, most suspicious first.
    """

    settings: SessionSettings
    takes: tuple[Take, ...]
    survey: Survey | None
    fit: Fit | None
    findings: tuple[Finding, ...]
    plan: Plan
    problems: tuple[Problem, ...]
    notices: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    suspects: tuple[int, ...] = ()

    @property
    def anything_measured(self) -> bool:
        """Whether the height of any slot is known."""
        return any(string.height_mm is not None for string in self.plan.strings)

    def shown_in(self, unit: LengthUnit) -> Measurement:
        """Return the same measurement with its lengths shown in a unit."""
        return replace(self, settings=replace(self.settings, unit=unit))

    def __repr__(self) -> str:
        """Return one line: the instrument, how much was heard, and the verdicts."""
        verdicts = ", ".join(f"{s.number} {s.verdict.value}" for s in self.plan.strings)
        return f"<Measurement of {self.settings.instrument.kind!r}, {len(self.takes)} takes: {verdicts}>"

    def rows(self) -> list[dict[str, float | int | str | None]]:
        """Return one plain row a string, for a table: lengths in mm, 90 % intervals as low and high."""
        return [
            {
                "string": plan.number,
                "note": plan.note,
                "slot_height_mm": None if plan.height_mm is None else plan.height_mm.median,
                "slot_height_low_mm": None if plan.height_mm is None else plan.height_mm.low,
                "slot_height_high_mm": None if plan.height_mm is None else plan.height_mm.high,
                "target_mm": plan.target_mm,
                "excess_mm": None if plan.excess_mm is None else plan.excess_mm.median,
                "verdict": plan.verdict.value,
                "remove_now_mm": plan.remove_now_mm,
            }
            for plan in self.plan.strings
        ]
