"""The fit of one instrument set out: which cases, which data, which strings, over all its passes.

Conventions: passes come earliest first. Data rows are the stopped takes pass by pass in playing order, then
what the overtones say, then the gauge readings, then the leaves. Equal takes of one pass share a case.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag

from pitchcheck.fit import priors
from pitchcheck.fit.cases import CaseKind, Coordinate
from pitchcheck.fit.overtones import bending_lengths
from pitchcheck.fit.solve import Data
from pitchcheck.fit.unknowns import CaseRequest, PassEffects, Removal, Unknowns, build_unknowns
from pitchcheck.instrument import SLOT_QUANTITIES, Instrument, MeterQuantity, MeterReading, SessionSettings
from pitchcheck.survey import LeafOutcome, Survey
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray

REMOVED_ERROR_MM = 0.02  # how well a removal is known; our choice
REMOVED_ERROR = 0.10  # and relative to it
UNTOLD_MM = Removal(0.20, 0.20)  # a slot played again, nothing told: filed a little, or not; our choice
NEAR_SD = 1.5  # [sd of a leaf] a string that buzzes on a leaf is so near to it; our choice


@dataclass(frozen=True)
class FitPass:
    """One pass over an instrument: its settings, and what was heard.

    ``settings.removed`` is what came off before this pass, as told; empty when nothing was told.
    """

    settings: SessionSettings
    survey: Survey


@dataclass(frozen=True)
class GaugeRow:
    """A gauge reading of a pass, and its case. ``meter_index`` counts the meter table of the last pass."""

    reading: MeterReading
    case: int
    index: int  # of the pass
    meter_index: int | None


@dataclass(frozen=True)
class LeafRow:
    """A bound on the gap over a fret: wider than ``bound_mm`` (``sign`` + 1) or narrower (- 1)."""

    case: int
    index: int  # of the pass
    string: int | None
    bound_mm: float
    sign: float
    sd_mm: float
    take_row: int | None  # of the leaf take, in the last pass
    meter_index: int | None


@dataclass(frozen=True)
class Problem:
    """What the solver is given.

    Attributes
    ----------
    instrument : Instrument
        As the last pass describes it.
    unknowns : Unknowns
        Cases: one a string and pass (its gauge and geometry), then the notes, then gauges and leaves.
    data : Data
        Takes and overtones only.
    effects : tuple of PassEffects
    strings : tuple of int
        Strings that can be fitted, in the instrument's order.
    pressed : frozenset of int
        Strings with press takes, in any pass.
    places : tuple of (int, Position)
        Pass and position of each row that is a stopped take.
    gauges : tuple of GaugeRow
    leaves : tuple of LeafRow
    plain_case : tuple of dict
        For each pass and string the case that holds the string's coordinates.
    last_heard : dict from string number to int
        Last pass in which a string was heard or gauged.
    """

    instrument: Instrument
    unknowns: Unknowns
    data: Data
    effects: tuple[PassEffects, ...]
    strings: tuple[int, ...]
    pressed: frozenset[int]
    places: tuple[tuple[int, Position], ...]
    gauges: tuple[GaugeRow, ...]
    leaves: tuple[LeafRow, ...]
    plain_case: tuple[dict[int, int], ...]
    last_heard: dict[int, int]

    @property
    def last(self) -> int:
        """Index of the last pass."""
        return len(self.effects) - 1

    def coordinate(
        self, string: int, at: Coordinate, z: FloatArray, *, index: int = -1
    ) -> tuple[float, FloatArray]:
        """Value of a coordinate of a string in a pass (the last), and its slope by the unknowns."""
        case = self.plain_case[index][string]
        slopes = self.unknowns.spread[case, at]
        return float(self.unknowns.centre[case, at] + slopes @ z), slopes

    def with_gauges(self, kept: Sequence[tuple[int, float, float]]) -> Problem:
        """Return the problem with some gauge readings: case, value [mm] and variance [mm^2] of each."""
        return replace(self, data=self.data.joined(_gauge_data(kept)))


def build_problem(
    passes: Sequence[FitPass], *, removals: Sequence[dict[int, Removal]] | None = None
) -> Problem:
    """Set out cases, data and unknowns.

    Parameters
    ----------
    passes : sequence of FitPass
        Earliest first; one instrument, as the last pass describes it.
    removals : sequence of dict from string number to Removal, optional
        What is believed to have come off after each pass but the last; by default what was told, a wide
        belief where nothing was told and the string was played again, nothing else.
    """
    instrument = passes[-1].settings.instrument
    gauges = _gauges_of(passes)
    heard = [_heard(one, gauges, i) for i, one in enumerate(passes)]
    strings = tuple(s.number for s in instrument.strings if any(s.number in few for few in heard))
    if removals is None:
        removals = [_removed(passes, heard, after) for after in range(len(passes) - 1)]
    effects = tuple(_effects(passes, i, removals) for i in range(len(passes)))
    cases = _Cases()
    own = CaseKind(None, 0, 0, MeterQuantity.FRET_HEIGHT)
    plain = tuple({n: cases.add(CaseRequest(own, n, i)) for n in strings} for i in range(len(passes)))
    rows: list[int] = []
    value: list[float] = []
    places: list[tuple[int, Position]] = []
    for i, one in enumerate(passes):
        for stopped in one.survey.stopped:
            place = stopped.take.position
            assert place.fret is not None
            kind = CaseKind(place.stop, place.fret, place.capo)
            rows.append(cases.shared(CaseRequest(kind, place.string, i)))
            value.append(stopped.error_cents)
            places.append((i, place))
    bends = bending_lengths(instrument, [one.survey for one in passes])
    for number, bend in bends.items():
        rows.append(cases.add(CaseRequest(CaseKind(None, 0, 0, overtones=True), number, len(passes) - 1)))
        value.append(bend.log_mm)
    gauge_rows, leaf_rows = _gauge_cases(passes, gauges, cases)
    covariance = [
        *(one.survey.covariance_cents2 for one in passes),
        np.diag([b.sd**2 for b in bends.values()]),
    ]
    return Problem(
        instrument=instrument,
        unknowns=build_unknowns(instrument, cases.requests, effects),
        data=Data(
            value=np.array(value),
            covariance=block_diag(*covariance),
            case=np.array(rows, dtype=np.intp),
            robust=np.ones(len(rows), dtype=np.bool_),
        ),
        effects=effects,
        strings=strings,
        pressed=frozenset(place.string for _, place in places if place.stop is Stop.PRESS),
        places=tuple(places),
        gauges=gauge_rows,
        leaves=leaf_rows,
        plain_case=plain,
        last_heard={n: max(i for i, few in enumerate(heard) if n in few) for n in strings},
    )


class _Cases:
    """Requests for cases while they are collected."""

    def __init__(self) -> None:
        self.requests: list[CaseRequest] = []
        self._index: dict[CaseRequest, int] = {}

    def add(self, request: CaseRequest) -> int:
        """Add a case of its own; return its index."""
        self.requests.append(request)
        return len(self.requests) - 1

    def shared(self, request: CaseRequest) -> int:
        """Return the index of a case that equal requests share."""
        if request not in self._index:
            self._index[request] = self.add(request)
        return self._index[request]


def gauge_list(settings: SessionSettings) -> tuple[MeterReading, ...]:
    """Gauge readings of one pass: the meter table, then the instrument's own lengths.

    The action over fret 12 stated for the instrument is not among them: it is the centre of the prior.
    """
    stated = [
        MeterReading(what, None, length.value_mm, length.sd_mm)
        for what, length in (
            (MeterQuantity.FRET_HEIGHT, settings.instrument.fret_height),
            (MeterQuantity.RELIEF, settings.instrument.relief),
        )
        if length is not None
    ]
    return (*settings.meter, *stated)


def _gauges_of(passes: Sequence[FitPass]) -> list[tuple[int, int | None, MeterReading]]:
    """Return pass, place in the last pass's meter table, and reading; what was copied on comes once."""
    found: list[tuple[int, int | None, MeterReading]] = []
    seen: set[MeterReading] = set()
    for i, one in enumerate(passes):
        last, count = i == len(passes) - 1, len(one.settings.meter)
        fresh = [(j, r) for j, r in enumerate(gauge_list(one.settings)) if r not in seen]
        seen |= {reading for _, reading in fresh}
        found += [(i, j if last and j < count else None, reading) for j, reading in fresh]
    return found


def _heard(one: FitPass, gauges: Sequence[tuple[int, int | None, MeterReading]], index: int) -> set[int]:
    """Strings with a usable stopped take, a leaf take or a gauge reading of their own slot in one pass."""
    heard = {s.take.position.string for s in one.survey.stopped}
    heard |= {leaf.take.position.string for leaf in one.survey.leaves}
    return heard | {
        r.string for i, _, r in gauges if i == index and r.string is not None and r.what in SLOT_QUANTITIES
    }


def _removed(passes: Sequence[FitPass], heard: Sequence[set[int]], after: int) -> dict[int, Removal]:
    """What is believed to have come off the slots after one pass."""
    told = passes[after + 1].settings.removed
    if told:
        total: dict[int, float] = {}
        for one in told:
            total[one.string] = total.get(one.string, 0.0) + one.amount_mm
        return {
            n: Removal(mm, math.hypot(REMOVED_ERROR_MM, REMOVED_ERROR * mm)) for n, mm in total.items() if mm
        }
    earlier: set[int] = set().union(*heard[: after + 1])
    return dict.fromkeys(heard[after + 1] & earlier, UNTOLD_MM)


def _effects(passes: Sequence[FitPass], index: int, removals: Sequence[dict[int, Removal]]) -> PassEffects:
    """What is known of one pass beside its takes."""
    own, last = passes[index].settings.instrument.action_12, passes[-1].settings.instrument.action_12
    return PassEffects(
        tuned_log=_tuned_log(passes, index),
        action_shift_mm=0.0 if own is None or last is None else own.value_mm - last.value_mm,
        removed=removals[index] if index < len(removals) else {},
    )


def _tuned_log(passes: Sequence[FitPass], index: int) -> dict[int, float]:
    """Natural logarithm of each open string's pitch over that of the last pass that heard it.

    Only differences count: a sound card's clock or another reference pitch moves all of them alike.
    """
    usual: dict[int, float] = {}
    for one in passes:
        usual |= _open_log(one.survey)
    return {number: value - usual[number] for number, value in _open_log(passes[index].survey).items()}


def _open_log(survey: Survey) -> dict[int, float]:
    """Natural logarithm of each open string's pitch in Hz, median of its takes."""
    found: dict[int, list[float]] = {}
    for take in survey.opens:
        if take.position.capo == 0 and take.hz is not None:
            found.setdefault(take.position.string, []).append(math.log(take.hz))
    return {number: float(np.median(values)) for number, values in found.items()}


def _gauge_cases(
    passes: Sequence[FitPass], gauges: Sequence[tuple[int, int | None, MeterReading]], cases: _Cases
) -> tuple[tuple[GaugeRow, ...], tuple[LeafRow, ...]]:
    """Cases of gauge readings and of leaves, from the meter table and from leaf takes."""
    values: list[GaugeRow] = []
    leaves: list[LeafRow] = []
    for i, meter_index, reading in gauges:
        case = cases.add(CaseRequest(CaseKind(None, 0, 0, reading.what), reading.string, i))
        if not reading.is_interval:
            values.append(GaugeRow(reading, case, i, meter_index))
        for bound, sign in ((reading.passes_mm, 1.0), (reading.stops_mm, -1.0)):
            if bound is not None:
                leaves.append(LeafRow(case, i, reading.string, bound, sign, reading.sd_mm, None, meter_index))
    for i, one in enumerate(passes):
        for leaf in one.survey.leaves:
            place = leaf.take.position
            gap = MeterQuantity.CLEARANCE_OPEN
            kind = CaseKind(None, 0, 0, gap)
            case = cases.shared(CaseRequest(kind, place.string, i))
            row = leaf.take.row if i == len(passes) - 1 else None
            sd = priors.LEAF_SD_MM
            if leaf.outcome is LeafOutcome.NEAR:
                near = MeterReading(gap, place.string, leaf.leaf_mm, NEAR_SD * sd)
                values.append(GaugeRow(near, case, i, None))
                continue
            sign = 1.0 if leaf.outcome is LeafOutcome.PASSES else -1.0
            leaves.append(LeafRow(case, i, place.string, leaf.leaf_mm, sign, sd, row, None))
    return tuple(values), tuple(leaves)


def _gauge_data(kept: Sequence[tuple[int, float, float]]) -> Data:
    """Data of gauge readings."""
    case, value, variance = zip(*kept, strict=True)
    return Data(
        value=np.array(value),
        covariance=np.diag(variance),
        case=np.array(case, dtype=np.intp),
        robust=np.zeros(len(kept), dtype=np.bool_),  # how far each is believed is in its variance
    )
