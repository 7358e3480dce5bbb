"""All findings of one pass over an instrument, in the order a tech would deal with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.diagnosis.heard import find_capo, find_worn, find_wrong_notes
from pitchcheck.diagnosis.limits import DiagnosisLimits
from pitchcheck.diagnosis.misfits import find_disagreements, find_frets
from pitchcheck.diagnosis.opens import find_catching, find_drift
from pitchcheck.diagnosis.sharpness import find_nut_position, find_saddle, find_touch
from pitchcheck.diagnosis.slots import find_slots
from pitchcheck.findings import Finding, Question
from pitchcheck.fit.result import Fit
from pitchcheck.instrument import SessionSettings
from pitchcheck.judgement import SlotJudgement, judge_slots
from pitchcheck.survey import Survey
from pitchcheck.takes import Take


@dataclass(frozen=True)
class Diagnosis:
    """What was found, and what the takes played so far leave open."""

    findings: tuple[Finding, ...]
    questions: tuple[Question, ...]


def diagnose(
    settings: SessionSettings,
    survey: Survey,
    fit: Fit,
    takes: Sequence[Take] = (),
    *,
    slots: Sequence[SlotJudgement] | None = None,
    limits: DiagnosisLimits | None = None,
) -> Diagnosis:
    """Find what is behind the numbers.

    Parameters
    ----------
    settings : SessionSettings
        The instrument, its targets and its gauge readings.
    survey : Survey
        Comparisons and open takes of this pass.
    fit : Fit
        The joint fit of the same survey.
    takes : sequence of Take, optional
        All takes, those set aside included; without them no wrong note and no worn string shows by its
        doubts.
    slots : sequence of SlotJudgement, optional
        The judgement of the slots from this fit; made here when left out.
    limits : DiagnosisLimits, optional
        Thresholds; the defaults give at most one false alarm in a hundred sound surveys per kind of finding.

    Returns
    -------
    Diagnosis
        First what spoils a measurement, then gauges, slots and the other causes of a sharp note; empty when
        nothing is wrong. A cause that no take can tell is a question.
    """
    limits = limits or DiagnosisLimits()
    slots = judge_slots(settings, fit) if slots is None else slots
    found: tuple[Finding | Question, ...] = (
        *find_wrong_notes(takes),
        *find_catching(survey, limits),
        *find_drift(survey, limits),
        *find_worn(settings, fit, survey, takes, limits),
        *find_capo(fit, survey, limits),
        *find_disagreements(settings, fit, limits),
        *find_slots(slots),
        *find_nut_position(settings, fit, limits),
        *find_saddle(settings, fit, limits),
        *find_touch(settings, fit, survey, slots, limits),
        *find_frets(fit, limits),
    )
    return Diagnosis(
        tuple(one for one in found if isinstance(one, Finding)),
        tuple(one for one in found if isinstance(one, Question)),
    )
