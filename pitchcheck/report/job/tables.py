"""Tables of a job report: slots before and now, takes before and now, how well repeats agree.

Conventions: every cell is text that is ready to be shown; the first cell of a row is its head.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitchcheck.compare import Change, Comparison
from pitchcheck.compare.records import PositionChange, Repeats, SlotChange
from pitchcheck.instrument import MeterQuantity
from pitchcheck.report.job.about import GaugeInput, told_by_gauge
from pitchcheck.report.records import Table
from pitchcheck.takes import Position, Stop
from pitchcheck.units import LengthUnit
from pitchcheck.words import numbers, slot_change

STEADY = 1.3  # [-] times the usual scatter up to which a hand counts as steady; our choice
UNSTEADY = 2.0  # [-] and from which it counts as unsteady; our choice


@dataclass(frozen=True)
class ChangeRow:
    """One slot in the table of changes; ``mark`` is the state now as a key for the style sheet."""

    number: int
    note: str
    before: str
    before_between: str
    now: str
    now_between: str
    change: str
    change_between: str
    sure: str
    told: str
    mark: str
    word: str


def change_row(slot: SlotChange, *, tolerance_mm: float, unit: LengthUnit, side: bool = True) -> ChangeRow:
    """Return one slot's row; ``side`` repeats "lower" or "higher" in the interval of the change."""
    mark, word = slot_change.state(slot)
    heights = [
        (numbers.UNKNOWN, "")
        if height is None
        else (numbers.length(height.median, unit=unit), numbers.interval(height, unit=unit))
        for height in (slot.before_mm, slot.after_mm)
    ]
    return ChangeRow(
        slot.number,
        slot.note,
        *heights[0],
        *heights[1],
        change=slot_change.changed(slot, unit=unit),
        change_between=slot_change.between(slot, unit=unit, side=side),
        sure=slot_change.sure(slot, tolerance_mm=tolerance_mm),
        told=slot_change.told(slot, unit=unit),
        mark=mark,
        word=word,
    )


def improved_table(comparison: Comparison, gauge: Sequence[GaugeInput], *, unit: LengthUnit) -> Table | None:
    """Return every slot, the largest sure change first; None where none is known.

    Slots of which no change is sure share a row where the same is said of them. With gauge readings of the
    gap over fret 1, first and last of each string stand beside the sound, each with the pass it was read in.
    """
    moved = _moved(comparison)
    moved.sort(key=lambda s: -abs(s.change_mm.median if s.change_mm else 0.0))
    if all(slot.after_mm is None for slot in comparison.strings):
        return None
    read: dict[int, list[str]] = {}
    for reading in gauge:
        if reading.what is MeterQuantity.CLEARANCE_THIRD and reading.string is not None:
            when = f" ({reading.after})" if reading.after else ""
            read.setdefault(reading.string, []).append(f"{told_by_gauge(reading)}{when}")
    gauged = bool(read)
    rows = []
    alike: dict[tuple[str, str], list[int]] = {}
    for slot in comparison.strings:
        if slot not in moved and slot.number not in read:
            row = change_row(slot, tolerance_mm=0.0, unit=unit)
            alike.setdefault((row.change, row.word), []).append(slot.number)
    for slot in (*moved, *(s for s in comparison.strings if s not in moved and s.number in read)):
        row = change_row(slot, tolerance_mm=0.0, unit=unit)
        cells = [
            f"{slot.number} {slot.note}",
            row.now if slot.before_mm is None else f"{row.before} → {row.now}",
            _first_fret(comparison, slot),
        ]
        if gauged:
            ends = read.get(slot.number, [])
            cells.append(" → ".join(dict.fromkeys((ends[0], ends[-1]))) if ends else numbers.UNKNOWN)
        rows.append((*cells, row.word))
    for (change, word), members in alike.items():
        unknown = [numbers.UNKNOWN] * (2 if gauged else 1)
        rows.append((", ".join(map(str, members)), change, *unknown, word))
    heads = ["String", "Slot, before → now", "Fret 1, cents", "Slot is now"]
    if gauged:
        heads.insert(3, "Gap over fret 1 by gauge")
    return Table("Every slot, the largest change first", tuple(heads), tuple(rows))


def in_improved(reading: GaugeInput, comparison: Comparison) -> bool:
    """Whether a gauge reading stands in the table of every slot."""
    third = reading.what is MeterQuantity.CLEARANCE_THIRD
    return third and reading.string in {slot.number for slot in comparison.strings}


def _moved(comparison: Comparison) -> list[SlotChange]:
    """Return the slots that surely changed."""
    return [s for s in comparison.strings if s.change_mm and s.change in (Change.LOWER, Change.HIGHER)]


def _first_fret(comparison: Comparison, slot: SlotChange) -> str:
    """Return the error of the first-fret note before and now, of a string heard once only now. [cent]"""
    fits = (comparison.before, comparison.after) if slot.change_mm is not None else (comparison.after,)
    ends = [
        float(string.neck_now_cents[0])
        for fit in fits
        for string in (() if fit is None else fit.strings)
        if string.number == slot.number
    ]
    shown = (numbers.rounded(cents, decimals=numbers.CENT_DECIMALS, signed=True) for cents in ends)
    return " → ".join(shown) or numbers.UNKNOWN


def takes_table(comparison: Comparison) -> Table | None:
    """Return the notes themselves, string by string: before, now and the change at each place."""
    places: list[Position] = []
    for slot in comparison.strings:
        for one in slot.positions:
            if _column(one.position) not in [_column(p) for p in places]:
                places.append(one.position)
    if not places:
        return None
    places.sort(key=_column)
    rows = []
    for slot in comparison.strings:
        if not slot.positions:
            continue
        found = {_column(one.position): one for one in slot.positions}
        cells = (_cell(found.get(_column(place))) for place in places)
        rows.append((f"{slot.number} {slot.note}", *cells))
    heads = ("String", *(_place(place) for place in places))
    caption = "Errors of the takes in cents: before → now, and the change with its standard uncertainty"
    return Table(caption, heads, tuple(rows))


def repeats_table(comparison: Comparison) -> Table | None:
    """Return how well repeats of one take agree."""
    rows = tuple(
        (
            f"{_stop(r.stop)} {r.fret}",
            str(r.pairs),
            _cents(r.sd_cents),
            _cents(r.expected_cents),
            steadiness(r),
        )
        for r in comparison.repeats
    )
    heads = ("Kind of take", "Repeats", "Scatter of one, cents", "Usual, cents", "In words")
    return Table("How well the takes repeat", heads, rows) if rows else None


def steadiness(repeats: Repeats) -> str:
    """Return how steady a hand is at one kind of take."""
    if repeats.sd_cents <= STEADY * repeats.expected_cents:
        return "steady"
    return "less steady than usual" if repeats.sd_cents <= UNSTEADY * repeats.expected_cents else "unsteady"


def repeats_line(comparison: Comparison) -> str:
    """Return what the scatter means for the figures, in a sentence."""
    if not comparison.repeats:
        return "No take was repeated, so the hand is taken to be as steady as a careful one usually is."
    if comparison.scatter <= 1.0:
        return "The takes repeat as well as a careful hand's usually do."
    factor = numbers.rounded(comparison.scatter, decimals=1)
    if factor == "1.0":
        return "The takes repeat nearly as well as a careful hand's usually do."
    return (
        f"The takes repeat {factor} times less well than a careful hand's usually do, and every uncertainty "
        "here is widened by it. Slower, squarer presses would narrow them."
    )


def _column(place: Position) -> tuple[str, int, int]:
    """Order of the columns: fretted notes, then presses."""
    return (place.stop.value, place.capo, place.fret or 0)


def _place(place: Position) -> str:
    capo = f", capo {place.capo}" if place.capo else ""
    return f"{_stop(place.stop)} {place.fret}{capo}"


def _stop(stop: Stop) -> str:
    return {Stop.FRET: "Fret", Stop.PRESS: "Press", Stop.OPEN: "Open", Stop.LEAF: "Leaf"}[stop]


def _cell(one: PositionChange | None) -> str:
    """Return ``"+14.2 → +6.1: −8.1 ± 0.4"``."""
    if one is None:
        return numbers.UNKNOWN
    first, second, change = (
        numbers.rounded(x, decimals=numbers.CENT_DECIMALS, signed=True)
        for x in (one.before_cents, one.after_cents, one.change_cents)
    )
    return f"{first} → {second}: {change} ± {_cents(one.sd_cents)}"


def _cents(value: float) -> str:
    return numbers.rounded(value, decimals=numbers.CENT_DECIMALS)
