"""The fit of one instrument, posed: which cases, which data, which strings.

Conventions: data rows are the stopped takes of this pass in playing order, then those of the pass before,
then what the overtones say, then the gauge readings. Equal takes share a case.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag

from pitchcheck.fit.cases import CaseKind, Coordinate
from pitchcheck.fit.overtones import bending_lengths
from pitchcheck.fit.result import MeterResidual
from pitchcheck.fit.solve import Data
from pitchcheck.fit.unknowns import CaseRequest, Unknowns, build_unknowns
from pitchcheck.instrument import SLOT_QUANTITIES, Instrument, MeterQuantity, MeterReading, SessionSettings
from pitchcheck.survey import Survey
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray

REMOVED_ERROR_MM = 0.02  # how well a removal is known; our choice
REMOVED_ERROR = 0.10  # and relative to it


@dataclass(frozen=True)
class Problem:
    """What the solver is given.

    Attributes
    ----------
    unknowns : Unknowns
        Cases: one a string (its gauge and geometry), then the notes, then the gauges.
    data : Data
        Takes only.
    strings : tuple of int
        Strings that can be fitted, in the instrument's order.
    pressed : frozenset of int
        Strings with press takes.
    gauge_case : tuple of int
        Case of each gauge reading.
    plain_case : dict
        For each string the case that holds its coordinates.
    """

    unknowns: Unknowns
    data: Data
    strings: tuple[int, ...]
    pressed: frozenset[int]
    gauge_case: tuple[int, ...]
    plain_case: dict[int, int]

    def coordinate(self, string: int, at: Coordinate, z: FloatArray) -> tuple[float, FloatArray]:
        """Value of a coordinate of a string, and its slope by the unknowns."""
        case = self.plain_case[string]
        slopes = self.unknowns.spread[case, at]
        return float(self.unknowns.centre[case, at] + slopes @ z), slopes

    def with_gauges(self, gauges: Sequence[MeterReading], held: Sequence[MeterResidual]) -> Data:
        """Return the data with the gauge readings that are not questioned."""
        questioned = {row.index for row in held if row.questioned}
        kept = [i for i in range(len(gauges)) if i not in questioned]
        return Data(
            value=np.concatenate([self.data.value, [gauges[i].value_mm for i in kept]]),
            covariance=block_diag(self.data.covariance, np.diag([gauges[i].sd_mm ** 2 for i in kept])),
            case=np.concatenate(
                [self.data.case, np.array([self.gauge_case[i] for i in kept], dtype=np.intp)]
            ),
            robust=np.concatenate([self.data.robust, np.zeros(len(kept), dtype=np.bool_)]),
        )


def gauge_list(settings: SessionSettings) -> tuple[MeterReading, ...]:
    """Gauge readings in the order of the data rows: the meter table, then the instrument's own lengths.

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


def build_problem(
    settings: SessionSettings, survey: Survey, *, before: tuple[SessionSettings, Survey] | None
) -> Problem:
    """Set out cases, data and unknowns.

    Parameters
    ----------
    settings, survey : SessionSettings, Survey
        This pass.
    before : tuple of SessionSettings and Survey, optional
        The pass before; its slots were higher by what was removed.
    """
    instrument = settings.instrument
    gauges = gauge_list(settings)
    surveys = [survey] if before is None else [survey, before[1]]
    strings = _fittable(instrument, surveys[0], gauges)
    requests: list[CaseRequest] = [
        CaseRequest(CaseKind(None, 0, 0, MeterQuantity.FRET_HEIGHT), n) for n in strings
    ]
    plain = {number: i for i, number in enumerate(strings)}
    index: dict[CaseRequest, int] = {}
    rows: list[int] = []
    value: list[float] = []
    removed = {r.string: r.amount_mm for r in settings.removed}
    for which, one in enumerate(surveys):
        for stopped in one.stopped:
            item = _note(stopped.take.position, removed_mm=removed if which else {})
            if item not in index:
                index[item] = len(requests)
                requests.append(item)
            rows.append(index[item])
            value.append(stopped.error_cents)
    heard = bending_lengths(instrument, surveys)
    for number, bend in heard.items():
        rows.append(len(requests))
        requests.append(CaseRequest(CaseKind(None, 0, 0, overtones=True), number))
        value.append(bend.log_mm)
    gauge_case = []
    for gauge in gauges:
        gauge_case.append(len(requests))
        requests.append(CaseRequest(CaseKind(None, 0, 0, gauge.what), gauge.string))
    data = Data(
        value=np.array(value),
        covariance=block_diag(
            *(one.covariance_cents2 for one in surveys), np.diag([bend.sd**2 for bend in heard.values()])
        ),
        case=np.array(rows, dtype=np.intp),
        robust=np.ones(len(rows), dtype=np.bool_),
    )
    pressed = frozenset(
        s.take.position.string for one in surveys for s in one.stopped if s.take.position.stop is Stop.PRESS
    )
    unknowns = build_unknowns(instrument, requests)
    return Problem(unknowns, data, strings, pressed, tuple(gauge_case), plain)


def _fittable(instrument: Instrument, survey: Survey, gauges: Sequence[MeterReading]) -> tuple[int, ...]:
    """Strings with a usable stopped take or a gauge reading of their own slot."""
    heard = {s.take.position.string for s in survey.stopped}
    heard |= {g.string for g in gauges if g.string is not None and g.what in SLOT_QUANTITIES}
    return tuple(s.number for s in instrument.strings if s.number in heard)


def _note(position: Position, *, removed_mm: dict[int, float]) -> CaseRequest:
    """Return the case of one stopped take."""
    assert position.fret is not None
    amount = removed_mm.get(position.string, 0.0)
    return CaseRequest(
        kind=CaseKind(position.stop, position.fret, position.capo),
        string=position.string,
        removed_mm=amount,
        removed_sd_mm=float(np.hypot(REMOVED_ERROR_MM, REMOVED_ERROR * amount)),
    )
