"""The next take worth playing."""

from __future__ import annotations

from pitchcheck.fit.result import Fit
from pitchcheck.instrument import Job
from pitchcheck.plan.records import NextTake
from pitchcheck.survey import Survey


def best_take(job: Job, survey: Survey, fit: Fit) -> NextTake | None:
    """Placeholder."""
    return None
