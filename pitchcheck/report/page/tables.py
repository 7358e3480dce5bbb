"""The small print as tables of words: refused takes, gauges, residuals, the facts.

Conventions: every cell is text that is ready to be shown; the first cell of a row is its head.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import HARDLY_USED, Residual
from pitchcheck.instrument import Board, Tailpiece
from pitchcheck.measurement import Measurement
from pitchcheck.report.records import Table
from pitchcheck.takes import Take
from pitchcheck.units import LengthUnit
from pitchcheck.words import doubts as words
from pitchcheck.words import numbers, phrases
from pitchcheck.words.faults import fault_lines, runs

TAKE_HEADS = ("Row", "Take", "Why")
_AGREES_SD = 2.0  # [-] standard deviations a gauge and the sound may lie apart and still agree (usual 95 %)


def refused_table(measurement: Measurement) -> Table | None:
    """Return what could not be used at all: one row for each reason."""
    found = [(take, words.joined(take.doubts) or "no pitch was found") for take in unread(measurement)]
    known = {take.row for take, _ in found}
    rest = [p for p in measurement.problems if p.row is None or p.row not in known]
    rows = (*_by_reason(found), *((numbers.UNKNOWN, "input", line) for line in fault_lines(rest)))
    return Table("Takes that were refused", TAKE_HEADS, rows) if rows else None


def doubtful_table(measurement: Measurement) -> Table | None:
    """Return takes that were used with a doubt, or set aside by the fit: one row for each reason."""
    aside = {} if measurement.fit is None else {r.row: r for r in measurement.fit.residuals}
    found = []
    for take in measurement.takes:
        reasons = [words.doubt(doubt) for doubt in take.doubts] if take.hz is not None else []
        residual = aside.get(take.row)
        if residual is not None and residual.weight < HARDLY_USED:
            reasons.append(_aside_reason(residual))
        if reasons:
            found.append((take, "; ".join(reasons)))
    rows = _by_reason(found)
    return Table("Takes that were used with a doubt", TAKE_HEADS, rows) if rows else None


def _by_reason(found: Sequence[tuple[Take, str]]) -> tuple[tuple[str, str, str], ...]:
    """Return one row for each reason: rows of the input, which take or how many, why."""
    groups: dict[str, list[Take]] = {}
    for take, why in found:
        groups.setdefault(why, []).append(take)
    return tuple(
        (
            runs([take.row for take in alike]),
            alike[0].position.words() if len(alike) == 1 else f"{len(alike)} takes",
            why,
        )
        for why, alike in groups.items()
    )


def unread(measurement: Measurement) -> tuple[Take, ...]:
    """Return the takes whose pitch could not be read."""
    return tuple(take for take in measurement.takes if take.hz is None)


def _aside_reason(residual: Residual) -> str:
    """Say why a take hardly counted."""
    off = numbers.cents(residual.heard_cents - residual.expected_cents)
    return f"{off} away from what all other takes say, so it hardly counts"


def residual_table(measurement: Measurement) -> Table | None:
    """Return every stopped take held against the fit."""
    if measurement.fit is None or not measurement.fit.residuals:
        return None
    rows = tuple(
        (
            r.position.words(),
            str(r.row),
            numbers.cents(r.heard_cents),
            numbers.cents(r.expected_cents),
            numbers.cents_with_sd(r.heard_cents - r.expected_cents, r.sd_cents),
            f"{round(100 * r.weight)} %",
        )
        for r in measurement.fit.residuals
    )
    heads = ("Take", "Row", "Heard", "Expected", "Difference", "Counts for")
    return Table("Every stopped note, as heard and as the fit expects it", heads, rows)


def gauge_table(measurement: Measurement) -> Table | None:
    """Return every gauge reading held against what the sound says."""
    if measurement.fit is None or not measurement.fit.meter:
        return None
    rows = []
    unit = measurement.settings.unit
    for held in measurement.fit.meter:
        reading = measurement.settings.meter[held.index]
        where = "" if reading.string is None else f", string {reading.string}"
        apart = abs(held.read_mm - held.expected_mm)
        remark = "agrees" if apart <= _AGREES_SD * held.sd_mm else "does not agree"
        if held.likely_slip_mm is not None:
            remark = f"is the decimal point right? {numbers.length(held.likely_slip_mm, unit=unit)} would fit"
        what = phrases.GAUGE_WORDS[reading.what] + where
        read, expected = (numbers.length(mm, unit=unit) for mm in (held.read_mm, held.expected_mm))
        rows.append((what, read, expected, remark))
    heads = ("Gauge", "Read", "Sound says", "Remark")
    return Table("Gauge readings against the sound", heads, tuple(rows))


def facts(measurement: Measurement) -> tuple[tuple[str, str], ...]:
    """Return what was known or found out about the instrument itself."""
    instrument, unit, fit = measurement.settings.instrument, measurement.settings.unit, measurement.fit
    rows = [
        ("Instrument", instrument.kind),
        ("Scale length", numbers.long_length(instrument.scale_mm, unit=unit)),
        ("Nut", phrases.NUT_WORDS[instrument.nut]),
        ("Bridge", "floating" if instrument.tailpiece is Tailpiece.FLOATING else "fixed"),
        ("Board", "scalloped" if instrument.board is Board.SCALLOPED else "normal"),
    ]
    gauged = (
        ("Fret height", instrument.fret_height),
        ("Action at fret 12", instrument.action_12),
        ("Neck relief", instrument.relief),
    )
    rows += [
        (name, f"{numbers.length(given.value_mm, unit=unit)}, as gauged") for name, given in gauged if given
    ]
    if fit is not None:
        touch = "Your finger pushes the string below the fret tops by"
        rows.append(("Fret height, from the sound", numbers.measured(fit.fret_height_mm, unit=unit)))
        rows.append(("Nut edge", _nut_place(fit.nut_offset_mm, unit)))
        rows.append((touch, numbers.measured(fit.touch_mm, unit=unit)))
    used = sum(take.hz is not None for take in measurement.takes)
    rows.append(("Takes", f"{used} read of {len(measurement.takes)}"))
    return tuple(rows)


def _nut_place(offset: Belief, unit: LengthUnit) -> str:
    """Say where the nut's front edge lies, in words and figures."""
    said = f"{numbers.measured(offset, unit=unit)}; plus is away from fret 1"
    if offset.low <= 0 <= offset.high:
        return f"in its place as far as can be told ({said})"
    return f"too {'far from' if offset.median > 0 else 'near to'} fret 1 ({said})"
