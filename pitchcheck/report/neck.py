"""Views of the neck: errors of fretted notes as they are, beside those at target or those of the pass before.

Conventions: cents, plus is sharp; frets 1 to 12.
"""

from __future__ import annotations

from collections.abc import Sequence

from pitchcheck.compare import Comparison
from pitchcheck.fit.result import StringFit
from pitchcheck.instrument import Instrument
from pitchcheck.measurement import Measurement
from pitchcheck.report.records import NeckString, NeckView, Table
from pitchcheck.types import FloatArray
from pitchcheck.words import numbers

_TABLE_FRETS = (1, 2, 3, 5, 7, 9, 12)

Curve = tuple[float, ...]


def neck_view(measurement: Measurement) -> NeckView | None:
    """Return the notes with the slots as they are and at target, or None without a fit."""
    if measurement.fit is None:
        return None
    fits = {s.number: s for s in measurement.fit.strings}
    sentences = []
    for number, s in sorted(fits.items()):
        now, target, touch = (
            numbers.cents(float(c[0])) for c in (s.neck_now_cents, s.neck_target_cents, s.neck_touch_cents)
        )
        sentences.append(
            f"String {number}, fret 1: {now} now, of which the finger adds {touch}; {target} with the slot "
            "at target."
        )
    curves = {n: (_curve(s.neck_now_cents), _curve(s.neck_target_cents)) for n, s in fits.items()}
    labels = {n: _signed(now[0]) for n, (now, _) in curves.items()}
    return _view(measurement.settings.instrument, curves, labels, " ".join(sentences))


def neck_change_view(comparison: Comparison, *, instrument: Instrument) -> NeckView | None:
    """Return the notes before and now, or None without a comparison; a string heard once is as it was."""
    if comparison.before is None or comparison.after is None:
        return None
    compared = {s.number for s in comparison.strings if s.change_mm is not None}
    once = {s.number for s in comparison.strings if s.change_mm is None and s.after_mm is not None}
    was = _now(comparison.before.strings, compared)
    now = _now(comparison.after.strings, compared | once)
    curves = {n: (now[n], was.get(n, now[n])) for n in sorted(now) if n in was or n in once}
    labels = {
        n: _signed(now[0]) if n in once else f"{_signed(aim[0])} → {_signed(now[0])}"
        for n, (now, aim) in curves.items()
    }
    desc = " ".join(
        f"String {n}, fret 1: {numbers.cents(now[0])}, heard once."
        if n in once
        else f"String {n}, fret 1: {numbers.cents(aim[0])} before, {numbers.cents(now[0])} now."
        for n, (now, aim) in curves.items()
    )
    return _view(instrument, curves, labels, desc)


def neck_table(neck: NeckView) -> Table | None:
    """Return the neck of one measurement in figures: as it is, and with the slots at target."""
    rows = tuple(
        (f"{string.number} ({string.note})", name, *(_signed(curve[f - 1]) for f in _TABLE_FRETS))
        for string in neck.strings
        for name, curve in (("as it is", string.now), ("at target", string.aim))
        if curve is not None
    )
    heads = ("String", "Slot", *(f"Fret {fret}" for fret in _TABLE_FRETS))
    return Table("Predicted error of fretted notes, in cents; plus is sharp", heads, rows) if rows else None


def _view(
    instrument: Instrument, curves: dict[int, tuple[Curve, Curve]], labels: dict[int, str], desc: str
) -> NeckView:
    """Return a neck with every string of the instrument, also those without curves."""
    strings = []
    for spec in instrument.strings:
        now, aim = curves.get(spec.number, (None, None))
        label = labels.get(spec.number, numbers.UNKNOWN)
        strings.append(NeckString(spec.number, spec.note, now, aim, spec.wound, label))
    return NeckView(tuple(strings), instrument.scale_mm, desc)


def _now(fits: Sequence[StringFit], compared: set[int]) -> dict[int, Curve]:
    """Return the errors as they are of the strings that were compared."""
    return {s.number: _curve(s.neck_now_cents) for s in fits if s.number in compared}


def _curve(cents: FloatArray) -> Curve:
    """Return a curve as plain numbers."""
    return tuple(float(value) for value in cents)


def _signed(cents: float) -> str:
    """Return cents with their sign, without the unit."""
    return numbers.rounded(cents, decimals=numbers.CENT_DECIMALS, signed=True)
