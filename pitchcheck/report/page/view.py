"""From a measurement to the view of the report page; pure, so that every word can be tested without HTML.

Conventions: text is ready to be shown; numbers are unrounded and only drawn. Lengths in mm, shown in the unit
of the settings.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitchcheck.chords import chord_table
from pitchcheck.diagnosis import Cause, Finding
from pitchcheck.fit.result import RemarkKind
from pitchcheck.instrument import Handedness
from pitchcheck.measurement import Measurement
from pitchcheck.report.chord_words import chord_table_words
from pitchcheck.report.neck import neck_table, neck_view
from pitchcheck.report.page import tables
from pitchcheck.report.page.steps import StepsView, length_views, next_note, next_take_step, steps_view
from pitchcheck.report.records import NeckView, SlotView, Step, Table
from pitchcheck.report.slots import slot_views
from pitchcheck.takes import Stop
from pitchcheck.units import LengthUnit
from pitchcheck.words import brief, evidence, phrases
from pitchcheck.words.causes import CauseLine, cause_lines
from pitchcheck.words.fit import fit_lines
from pitchcheck.words.headline import headline, summary
from pitchcheck.words.questions import question_lines, suspicion
from pitchcheck.words.terms import SLOT, terms_in


@dataclass(frozen=True)
class FindingCase:
    """Where one finding acts, how large it is there, and what shows it."""

    where: str
    size: str
    evidence: tuple[str, ...]


@dataclass(frozen=True)
class FindingView:
    """All findings of one cause in plain words."""

    title: str
    meaning: str
    cases: tuple[FindingCase, ...]


@dataclass(frozen=True)
class Answer:
    """The top of the page, which is all that many will read."""

    headline: str
    summary: tuple[str, ...]
    causes: tuple[CauseLine, ...]  # the first makes most cents
    asked: tuple[str, ...]  # whom to suspect, what is not known, and which takes would tell
    steps: tuple[str, ...]
    amounts: str
    caution: str
    needs: tuple[str, ...]
    terms: tuple[str, ...]  # the words of the trade used above, explained
    customer_terms: tuple[str, ...]  # those of the part that a customer reads
    press: bool  # whether a press is asked for, which is then drawn


@dataclass(frozen=True)
class PageView:
    """The whole page, top to bottom."""

    title: str
    answer: Answer
    measured: bool  # whether there is anything to draw
    slots: tuple[SlotView, ...]
    scale_mm: float
    steps: StepsView
    next_take: Step | None
    next_note: str  # said where there is no next take
    lengths: tuple[Step, ...]  # worth measuring once
    neck: NeckView | None
    neck_table: Table | None
    chords: Table | None
    findings: tuple[FindingView, ...]
    refused: Table | None
    doubtful: Table | None
    gauges: Table | None
    residuals: Table | None
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    left_handed: bool


def page_view(measurement: Measurement) -> PageView:
    """Return everything that the page shows.

    Parameters
    ----------
    measurement : Measurement
        Any measurement, also one in which nothing could be read.

    Returns
    -------
    PageView
        Words ready to be shown, and unrounded values for the drawings.
    """
    instrument, fit = measurement.settings.instrument, measurement.fit
    neck = neck_view(measurement)
    return PageView(
        title=f"Nut slots: {instrument.kind}",
        answer=answer(measurement),
        measured=measurement.anything_measured,
        slots=slot_views(measurement),
        scale_mm=instrument.scale_mm,
        steps=steps_view(measurement),
        next_take=next_take_step(measurement),
        next_note=next_note(measurement),
        lengths=length_views(measurement),
        neck=neck,
        neck_table=None if neck is None else neck_table(neck),
        chords=None if fit is None else chord_table_words(chord_table(instrument, fit)),
        findings=finding_views(measurement.findings, unit=measurement.settings.unit),
        refused=tables.refused_table(measurement),
        doubtful=tables.doubtful_table(measurement),
        gauges=tables.gauge_table(measurement),
        residuals=tables.residual_table(measurement),
        facts=tables.facts(measurement),
        notes=notes(measurement),
        left_handed=instrument.hand is Handedness.LEFT,
    )


def answer(measurement: Measurement) -> Answer:
    """Return the answer: is it the nut or not, what it is in order of cents, what to do."""
    asked = open_questions(measurement)
    told = (headline(measurement), *summary(measurement))
    causes = cause_lines(measurement)
    todo = (*brief.steps(measurement), brief.amounts(measurement))
    names = [f"{line.title} {line.size} {line.cure}" for line in causes]
    caution = brief.caution(measurement)
    upcoming = measurement.plan.next_take
    return Answer(
        headline=told[0],
        summary=told[1:],
        causes=causes,
        asked=asked,
        steps=todo[:-1],
        amounts=todo[-1],
        caution=caution,
        needs=brief.needs(measurement),
        terms=terms_in((*told, *names, *asked, *todo, caution)),
        customer_terms=(SLOT, *terms_in((*told, *names, todo[-1]))),
        press=bool(measurement.suspects) or (upcoming is not None and upcoming.position.stop is Stop.PRESS),
    )


def open_questions(measurement: Measurement) -> tuple[str, ...]:
    """Return whom to suspect, what is not known, and which takes would tell."""
    return (
        *suspicion(measurement.suspects, instrument=measurement.settings.instrument),
        *question_lines(measurement.questions),
    )


def finding_views(findings: tuple[Finding, ...], *, unit: LengthUnit) -> tuple[FindingView, ...]:
    """Return the findings grouped by cause, in the order in which the causes first come."""
    groups: dict[Cause, list[FindingCase]] = {}
    for finding in findings:
        where = phrases.sentence(phrases.place(finding))
        case = FindingCase(
            where, phrases.size(finding, unit=unit), evidence.finding_lines(finding, unit=unit)
        )
        groups.setdefault(finding.cause, []).append(case)
    return tuple(
        FindingView(phrases.CAUSE_TITLES[cause], phrases.CAUSE_MEANINGS[cause], tuple(cases))
        for cause, cases in groups.items()
    )


def notes(measurement: Measurement) -> tuple[str, ...]:
    """Return what could not be told apart, remarks of the fit, and notices about the input."""
    fit = measurement.fit
    if fit is None:
        return measurement.notices
    symptom = [s.number for s in fit.strings if not s.pressed and not s.gauged]
    some = symptom and RemarkKind.NO_PRESSES not in fit.remarks  # else the fit says it of all
    only = (
        (
            f"{phrases.strings(symptom, capital=True)}: no press test, so the sharpness was heard "
            "but the height is only roughly known.",
        )
        if some
        else ()
    )
    return (*only, *fit_lines(fit), *measurement.notices)
