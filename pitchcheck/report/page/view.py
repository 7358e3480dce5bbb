"""From a measurement to the view of the report page; pure, so that every word can be tested without HTML.

Conventions: see ``page_records``.
"""

from __future__ import annotations

from pitchcheck.chords import chord_table
from pitchcheck.diagnosis import Cause, Finding
from pitchcheck.fit.result import StringFit
from pitchcheck.measurement import Measurement
from pitchcheck.report.chord_words import chord_table_words
from pitchcheck.report.page import tables as page_tables
from pitchcheck.report.page.records import FindingCase, FindingView, NeckString, NeckView, PageView, Table
from pitchcheck.report.page.slots import nut_view
from pitchcheck.report.page.steps import next_note, next_take_step, steps_view
from pitchcheck.report.page.summary import headline, summary
from pitchcheck.words import evidence, numbers, phrases


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
    neck = _neck_view(measurement)
    refused = page_tables.refused_table(measurement)
    return PageView(
        title=f"Nut slots: {measurement.settings.instrument.kind}",
        headline=headline(measurement),
        summary=summary(measurement),
        nut=nut_view(measurement),
        steps=steps_view(measurement),
        next_take=next_take_step(measurement),
        next_note=next_note(measurement),
        neck=neck,
        neck_table=None if neck is None else page_tables.neck_table(neck),
        chords=_chords(measurement),
        findings=_findings(measurement.findings),
        refused=refused,
        refused_note="" if refused else "No take was refused.",
        doubtful=page_tables.doubtful_table(measurement),
        gauges=page_tables.gauge_table(measurement),
        residuals=page_tables.residual_table(measurement),
        facts=page_tables.facts(measurement),
        notes=_notes(measurement),
    )


def _neck_view(measurement: Measurement) -> NeckView | None:
    """Return the errors over the neck, or None without a fit."""
    if measurement.fit is None:
        return None
    fits = {s.number: s for s in measurement.fit.strings}
    instrument = measurement.settings.instrument
    strings = tuple(
        NeckString(
            number=spec.number,
            note=spec.note,
            wound=spec.wound,
            gauge_mm=spec.gauge_mm,
            now=_curve(fits.get(spec.number), "now"),
            target=_curve(fits.get(spec.number), "target"),
        )
        for spec in instrument.strings
    )
    return NeckView(strings=strings, scale_mm=instrument.scale_mm, summary=_neck_summary(measurement))


def _curve(fit: StringFit | None, which: str) -> tuple[float, ...] | None:
    """Return one of a string's two curves as plain numbers."""
    if fit is None:
        return None
    curve = fit.neck_now_cents if which == "now" else fit.neck_target_cents
    return tuple(float(value) for value in curve)


def _neck_summary(measurement: Measurement) -> str:
    """Say in words what the neck picture shows."""
    assert measurement.fit is not None
    sentences = []
    for s in sorted(measurement.fit.strings, key=lambda s: s.number):
        now, target, touch = (
            float(c[0]) for c in (s.neck_now_cents, s.neck_target_cents, s.neck_touch_cents)
        )
        sentences.append(
            f"String {s.number}, fret 1: {numbers.cents(now)} now, of which the finger adds "
            f"{numbers.cents(touch)}; {numbers.cents(target)} with the slot at target."
        )
    return " ".join(sentences)


def _chords(measurement: Measurement) -> Table | None:
    """Return how the usual open chords sound; None for a tuning without shapes."""
    if measurement.fit is None:
        return None
    return chord_table_words(chord_table(measurement.settings.instrument, measurement.fit))


def _findings(findings: tuple[Finding, ...]) -> tuple[FindingView, ...]:
    """Return the findings grouped by cause, in the order in which the causes first come."""
    groups: dict[Cause, list[Finding]] = {}
    for finding in findings:
        groups.setdefault(finding.cause, []).append(finding)
    return tuple(
        FindingView(
            title=phrases.CAUSE_TITLES[cause],
            meaning=phrases.CAUSE_MEANINGS[cause],
            cases=tuple(_case(finding) for finding in members),
        )
        for cause, members in groups.items()
    )


def _case(finding: Finding) -> FindingCase:
    """Return one finding in words."""
    where = [phrases.strings(finding.strings)] if finding.strings else []
    if finding.frets:
        word = "fret" if len(finding.frets) == 1 else "frets"
        where.append(f"{word} {phrases.listed([str(f) for f in sorted(finding.frets)])}")
    place = ", ".join(where) or "the whole instrument"
    return FindingCase(place[:1].upper() + place[1:], phrases.size(finding), evidence.lines(finding))


def _notes(measurement: Measurement) -> tuple[str, ...]:
    """Return what could not be told apart, remarks of the fit, and notices about the input."""
    fit = measurement.fit
    if fit is None:
        return measurement.notices
    symptom = [s.number for s in fit.strings if not s.pressed]
    only = (
        (
            f"{phrases.strings(symptom, capital=True)}: no press test, so the sharpness was heard "
            "but the height is only roughly known.",
        )
        if symptom
        else ()
    )
    apart = tuple(f"Could not be told apart: {text}" for text in fit.unseparated)
    return (*only, *apart, *fit.notes, *measurement.notices)
