"""Two passes over one instrument posed as one fit: what they share is one unknown, each change another.

Conventions: frets, nut, saddle and strings are the same in both passes, so what is not known of them cancels
in a change. What may differ without a file has an unknown of its own with a small spread; the cases of the
pass after carry it. Data rows: stopped takes before, then after, then overtones, then gauges.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag

from pitchcheck.compare import limits
from pitchcheck.fit.cases import CaseKind, Coordinate
from pitchcheck.fit.overtones import bending_lengths
from pitchcheck.fit.problem import Problem, gauge_list
from pitchcheck.fit.solve import Data
from pitchcheck.fit.unknowns import CaseRequest, Unknowns, build_unknowns
from pitchcheck.instrument import SLOT_QUANTITIES, Instrument, MeterQuantity, MeterReading
from pitchcheck.measurement import Measurement
from pitchcheck.survey import Survey
from pitchcheck.takes import Position, Stop
from pitchcheck.types import FloatArray
from pitchcheck.units import CENTS_PER_LOG

BEFORE, AFTER = 0, 1


@dataclass(frozen=True)
class TwoPassProblem:
    """Two passes, posed.

    Attributes
    ----------
    passes : tuple of Problem
        Before and after; they share unknowns and data, and differ in the case that holds a string's
        coordinates.
    places : tuple of (int, Position)
        Pass and place of each row that is a stopped take.
    changes : dict from string number to (int, float)
        Column of the slot's change, and millimetres per unit of it.
    retuned_cents : dict from string number to float
        How far the open string was tuned higher after than before.
    """

    passes: tuple[Problem, Problem]
    places: tuple[tuple[int, Position], ...]
    changes: dict[int, tuple[int, float]]
    retuned_cents: dict[int, float]

    @property
    def unknowns(self) -> Unknowns:
        """Unknowns of both passes."""
        return self.passes[AFTER].unknowns

    @property
    def data(self) -> Data:
        """Data of both passes."""
        return self.passes[AFTER].data


@dataclass
class _Rows:
    """Cases and data rows while they are being put together."""

    requests: list[CaseRequest]
    which: list[int]  # pass of each case
    case: list[int]
    value: list[float]

    def add_case(self, item: CaseRequest, which: int) -> int:
        self.requests.append(item)
        self.which.append(which)
        return len(self.requests) - 1

    def add_row(self, case: int, value: float) -> None:
        self.case.append(case)
        self.value.append(value)


def build_two_pass_problem(before: Measurement, after: Measurement) -> TwoPassProblem | None:
    """Set out two passes as one fit.

    Parameters
    ----------
    before, after : Measurement
        Of one instrument: the same strings on the same scale.

    Returns
    -------
    TwoPassProblem or None
        None when no string was heard in both passes.
    """
    if before.survey is None or after.survey is None:
        return None
    instrument = after.settings.instrument
    gauges = (_believed(before), _believed(after))
    surveys = (before.survey, after.survey)
    strings = tuple(n for n in _heard(surveys[0], gauges[0]) if n in _heard(surveys[1], gauges[1]))
    if not strings:
        return None
    rows = _Rows([], [], [], [])
    plain: tuple[dict[int, int], dict[int, int]] = ({}, {})
    for which in (BEFORE, AFTER):
        for number in strings:
            plain[which][number] = rows.add_case(
                CaseRequest(CaseKind(None, 0, 0, MeterQuantity.FRET_HEIGHT), number), which
            )
    surveys = (_only(surveys[0], strings), _only(surveys[1], strings))
    places = tuple(place for which in (BEFORE, AFTER) for place in _takes(rows, surveys[which], which))
    noise = [survey.covariance_cents2 for survey in surveys]
    for number, bend in bending_lengths(instrument, surveys).items():
        if number in strings:
            rows.add_row(
                rows.add_case(CaseRequest(CaseKind(None, 0, 0, overtones=True), number), AFTER), bend.log_mm
            )
            noise.append(np.array([[bend.sd**2]]))
    robust = len(rows.value)
    for which in (BEFORE, AFTER):
        for gauge in gauges[which]:
            if gauge.string is None or gauge.string in strings:
                item = CaseRequest(CaseKind(None, 0, 0, gauge.what), gauge.string)
                rows.add_row(rows.add_case(item, which), gauge.value_mm)
                noise.append(np.array([[gauge.sd_mm**2]]))
    data = Data(
        value=np.array(rows.value),
        covariance=block_diag(*noise),
        case=np.array(rows.case, dtype=np.intp),
        robust=np.concatenate([np.ones(robust, np.bool_), np.zeros(len(rows.value) - robust, np.bool_)]),
    )
    tuned = tuple(_tuned(instrument, survey) for survey in surveys)
    unknowns, changes = _with_changes(
        _retuned(build_unknowns(instrument, rows.requests), rows.which, tuned),
        rows.which,
        shift_mm=_action_shift_mm(before, after),
    )
    pressed = frozenset(p.string for _, p in places if p.stop is Stop.PRESS)
    first, second = (Problem(unknowns, data, strings, pressed, (), plain[w]) for w in (BEFORE, AFTER))
    return TwoPassProblem(
        passes=(first, second),
        places=places,
        changes={n: changes[n] for n in strings},
        retuned_cents={n: CENTS_PER_LOG * (tuned[1].get(n, 0.0) - tuned[0].get(n, 0.0)) for n in strings},
    )


def _believed(measurement: Measurement) -> list[MeterReading]:
    """MeterQuantity readings that the pass's own fit did not question."""
    fit = measurement.fit
    questioned = set() if fit is None else {row.index for row in fit.meter if row.questioned}
    return [g for i, g in enumerate(gauge_list(measurement.settings)) if i not in questioned]


def _heard(survey: Survey, gauges: list[MeterReading]) -> tuple[int, ...]:
    """Strings with a stopped take or a gauge reading of their own slot."""
    found = {s.take.position.string for s in survey.stopped}
    found |= {g.string for g in gauges if g.string is not None and g.what in SLOT_QUANTITIES}
    return tuple(sorted(found))


def _only(survey: Survey, strings: tuple[int, ...]) -> Survey:
    """Survey of some strings."""
    keep = [i for i, s in enumerate(survey.stopped) if s.take.position.string in strings]
    return replace(
        survey,
        stopped=tuple(survey.stopped[i] for i in keep),
        covariance_cents2=survey.covariance_cents2[np.ix_(keep, keep)],
        opens=tuple(t for t in survey.opens if t.position.string in strings),
    )


def _takes(rows: _Rows, survey: Survey, which: int) -> list[tuple[int, Position]]:
    """Add the stopped takes of one pass; equal ones share a case."""
    index: dict[Position, int] = {}
    places = []
    for stopped in survey.stopped:
        place = stopped.take.position
        assert place.fret is not None
        if place not in index:
            index[place] = rows.add_case(
                CaseRequest(CaseKind(place.stop, place.fret, place.capo), place.string), which
            )
        rows.add_row(index[place], stopped.error_cents)
        places.append((which, place))
    return places


def _tuned(instrument: Instrument, survey: Survey) -> dict[int, float]:
    """Natural logarithm of each open string's pitch over its note."""
    found: dict[int, list[float]] = {}
    for take in survey.opens:
        if take.position.capo == 0 and take.hz is not None:
            nominal = instrument.string(take.position.string).nominal_hz
            found.setdefault(take.position.string, []).append(math.log(take.hz / nominal))
    return {number: float(np.median(values)) for number, values in found.items()}


def _retuned(unknowns: Unknowns, which: list[int], tuned: tuple[dict[int, float], ...]) -> Unknowns:
    """Tension goes with the square of pitch, so a string tuned higher stretches and bends less."""
    centre = unknowns.centre.copy()
    for i, case in enumerate(unknowns.cases):
        off = 0.0 if case.string is None else tuned[which[i]].get(case.string, 0.0)
        centre[i, Coordinate.LOG_STRETCH_FACTOR] -= 2 * off
        centre[i, Coordinate.LOG_FORCE] -= 2 * off
        centre[i, Coordinate.LOG_BEND] -= off
    return replace(unknowns, centre=centre)


def _action_shift_mm(before: Measurement, after: Measurement) -> float:
    """How much lower the stated action was before. [mm]"""
    first, second = before.settings.instrument.action_12, after.settings.instrument.action_12
    return 0.0 if first is None or second is None else first.value_mm - second.value_mm


def _with_changes(
    unknowns: Unknowns, which: list[int], *, shift_mm: float
) -> tuple[Unknowns, dict[int, tuple[int, float]]]:
    """Give the cases of the pass after what may differ from the pass before."""
    names = list(unknowns.names)
    columns: list[FloatArray] = []
    shape = unknowns.spread.shape[:2]
    late = np.array(which) == AFTER
    string = np.array([c.string if c.string is not None else 0 for c in unknowns.cases])
    press = np.array([c.kind.stop is Stop.PRESS for c in unknowns.cases])

    def add(name: str, rows: FloatArray, *sizes: tuple[Coordinate, float]) -> int:
        column = np.zeros(shape)
        for at, size in sizes:
            column[rows, at] = size
        names.append(name)
        columns.append(column)
        return len(names) - 1

    size = limits.CHANGE_MM
    changes = {}
    for number in sorted(set(string.tolist()) - {0}):
        mine = late & (string == number)
        # The saddle stays where it is, so the gap over fret 12, half way, changes by half.
        changes[number] = (
            add(f"change {number}", mine, (Coordinate.SLOT_HEIGHT, size), (Coordinate.ACTION_12, size / 2)),
            size,
        )
        add(f"reseated {number}", mine, (Coordinate.LOG_STRETCH_FACTOR, limits.RESEATED))
    add("touch changed", late, (Coordinate.LOG_FORCE, limits.TOUCH_CHANGED))
    add("relief changed", late, (Coordinate.RELIEF, limits.RELIEF_CHANGED_MM))
    add("action changed", late, (Coordinate.ACTION_12, limits.ACTION_CHANGED_MM))
    add("support changed", late & press, (Coordinate.SLOT_HEIGHT, limits.SUPPORT_CHANGED_MM))
    add("hand changed", late & press, (Coordinate.OFFSET_CENTS, limits.HAND_CHANGED_CENTS))
    centre = unknowns.centre.copy()
    centre[~late, Coordinate.ACTION_12] += shift_mm
    spread = np.concatenate([unknowns.spread, np.stack(columns, axis=2)], axis=2)
    return Unknowns(tuple(names), unknowns.cases, centre, spread), changes
