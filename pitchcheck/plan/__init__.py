"""From beliefs to the file: what may come off now, what to play next."""

from pitchcheck.plan.make import make_plan
from pitchcheck.plan.records import (
    NextTake,
    NextTakes,
    NutBottom,
    Plan,
    SharedLength,
    StringPlan,
    Verdict,
    WorthTelling,
)

__all__ = [
    "NextTake",
    "NextTakes",
    "NutBottom",
    "Plan",
    "SharedLength",
    "StringPlan",
    "Verdict",
    "WorthTelling",
    "make_plan",
]
