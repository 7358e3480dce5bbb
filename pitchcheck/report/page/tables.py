"""The small print as tables of words: refused takes, gauges, residuals, the neck in figures, the facts.

Conventions: every cell is text that is ready to be shown; the first cell of a row is its head.
"""

from __future__ import annotations

from pitchcheck.fit.belief import Belief
from pitchcheck.fit.result import Residual
from pitchcheck.instrument import Board, Length, Tailpiece
from pitchcheck.measurement import Measurement
from pitchcheck.report.page.records import NeckString, NeckView, Table
from pitchcheck.takes import Take
from pitchcheck.words import doubts as words
from pitchcheck.words import numbers, phrases

SET_ASIDE_WEIGHT = 0.5  # [-] ours: below half its weight a take hardly counts
_AGREES_SD = 2.0  # [-] standard deviations a gauge and the sound may lie apart and still agree (usual 95 %)
_TABLE_FRETS = (1, 2, 3, 5, 7, 9, 12)


def refused_table(measurement: Measurement) -> Table | None:
    """Return takes and rows that could not be used at all, each with its reason."""
    rows = [
        _take_cells(take, words.joined(take.doubts) or "no pitch was found") for take in unread(measurement)
    ]
    known = {take.row for take in unread(measurement)}
    for problem in measurement.problems:
        if problem.row is None or problem.row not in known:
            where = numbers.UNKNOWN if problem.row is None else str(problem.row)
            rows.append(
                (where, problem.file or numbers.UNKNOWN, problem.field or numbers.UNKNOWN, problem.sentence())
            )
    return Table("Takes that were refused", ("Row", "File", "Place", "Why"), tuple(rows)) if rows else None


def doubtful_table(measurement: Measurement) -> Table | None:
    """Return takes that were used with a doubt, or set aside by the fit."""
    aside = {} if measurement.fit is None else {r.row: r for r in measurement.fit.residuals}
    rows = []
    for take in measurement.takes:
        reasons = [words.doubt(doubt) for doubt in take.doubts] if take.hz is not None else []
        residual = aside.get(take.row)
        if residual is not None and residual.weight < SET_ASIDE_WEIGHT:
            reasons.append(_aside_reason(residual))
        if reasons:
            rows.append(_take_cells(take, "; ".join(reasons)))
    return (
        Table("Takes that were used with a doubt", ("Row", "File", "Place", "Why"), tuple(rows))
        if rows
        else None
    )


def unread(measurement: Measurement) -> tuple[Take, ...]:
    """Return the takes whose pitch could not be read."""
    return tuple(take for take in measurement.takes if take.hz is None)


def _aside_reason(residual: Residual) -> str:
    """Say why a take hardly counted."""
    off = numbers.cents(residual.heard_cents - residual.expected_cents)
    return f"{off} away from what all other takes say, so it hardly counts"


def _take_cells(take: Take, why: str) -> tuple[str, str, str, str]:
    """Return one row of a table of takes."""
    return (str(take.row), take.file or numbers.UNKNOWN, take.position.words(), why)


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
    for held in measurement.fit.meter:
        reading = measurement.settings.meter[held.index]
        where = "" if reading.string is None else f", string {reading.string}"
        apart = abs(held.read_mm - held.expected_mm)
        remark = "agrees" if apart <= _AGREES_SD * held.sd_mm else "does not agree"
        if held.likely_slip_mm is not None:
            remark = f"is the decimal point right? {numbers.length(held.likely_slip_mm)} would fit"
        what = phrases.GAUGE_WORDS[reading.what] + where
        rows.append((what, numbers.length(held.read_mm), numbers.length(held.expected_mm), remark))
    heads = ("Gauge", "Read", "Sound says", "Remark")
    return Table("Gauge readings against the sound", heads, tuple(rows))


def neck_table(neck: NeckView) -> Table | None:
    """Return the neck picture in figures."""
    rows = [row for string in neck.strings for row in _neck_rows(string)]
    heads = ("String", "Slot", *(f"Fret {fret}" for fret in _TABLE_FRETS))
    caption = "Predicted error of fretted notes, in cents; plus is sharp"
    return Table(caption, heads, tuple(rows)) if rows else None


def _neck_rows(string: NeckString) -> list[tuple[str, ...]]:
    """Return two rows for one string: as it is, and at its target."""
    rows = []
    for name, curve in (("as it is", string.now), ("at target", string.target)):
        if curve is not None:
            cells = (
                numbers.rounded(curve[f - 1], decimals=numbers.CENT_DECIMALS, signed=True)
                for f in _TABLE_FRETS
            )
            rows.append((f"{string.number} ({string.note})", name, *cells))
    return rows


def facts(measurement: Measurement) -> tuple[tuple[str, str], ...]:
    """Return what was known or found out about the instrument itself."""
    instrument = measurement.settings.instrument
    rows = [
        ("Instrument", instrument.kind),
        ("Scale length", f"{numbers.rounded(instrument.scale_mm, decimals=1)} mm"),
        ("Nut", phrases.NUT_WORDS[instrument.nut]),
        ("Bridge", "floating" if instrument.tailpiece is Tailpiece.FLOATING else "fixed"),
        ("Board", "scalloped" if instrument.board is Board.SCALLOPED else "normal"),
    ]
    rows += [
        (name, f"{numbers.length(given.value_mm)}, as gauged")
        for name, given in _gauged(measurement)
        if given
    ]
    if measurement.fit is not None:
        rows.append(("Fret height, from the sound", numbers.measured(measurement.fit.fret_height_mm)))
        rows.append(("Nut edge", _nut_place(measurement.fit.nut_offset_mm)))
        rows.append(
            (
                "Your finger pushes the string below the fret tops by",
                numbers.measured(measurement.fit.touch_mm),
            )
        )
    used = sum(take.hz is not None for take in measurement.takes)
    rows.append(("Takes", f"{used} read of {len(measurement.takes)}"))
    return tuple(rows)


def _gauged(measurement: Measurement) -> tuple[tuple[str, Length | None], ...]:
    """Return the lengths a user may have gauged."""
    instrument = measurement.settings.instrument
    return (
        ("Fret height", instrument.fret_height),
        ("Action at fret 12", instrument.action_12),
        ("Neck relief", instrument.relief),
    )


def _nut_place(offset: Belief) -> str:
    """Say where the nut's front edge lies, in words and figures."""
    if offset.low <= 0 <= offset.high:
        return f"in its place as far as can be told ({numbers.measured(offset)}; plus is away from fret 1)"
    side = "too far from fret 1" if offset.median > 0 else "too near to fret 1"
    return f"{side}: {numbers.measured(offset)} (plus is away from fret 1)"
