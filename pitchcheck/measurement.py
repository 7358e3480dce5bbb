"""The record that every way of showing a result is drawn from."""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.diagnosis import Finding
from pitchcheck.errors import Problem
from pitchcheck.fit.result import Fit
from pitchcheck.instrument import SessionSettings
from pitchcheck.plan import Plan
from pitchcheck.survey import Survey
from pitchcheck.takes import Take


@dataclass(frozen=True)
class Measurement:
    """One folder, measured: what was asked, heard, believed, found and planned.

    ``fit`` and ``survey`` are None when no string could be measured at all.
    """

    settings: SessionSettings
    takes: tuple[Take, ...]
    survey: Survey | None
    fit: Fit | None
    findings: tuple[Finding, ...]
    plan: Plan
    problems: tuple[Problem, ...]
    notices: tuple[str, ...] = ()
