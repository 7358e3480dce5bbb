"""The slopes that the solver is given are those of the forward model."""

from __future__ import annotations

import numpy as np
import pytest

from helpers.planted import job_of
from pitchcheck.fit.cases import STEP, Case, CaseKind, Coordinate, evaluate, linearise, predict
from pitchcheck.fit.unknowns import CaseRequest, build_unknowns
from pitchcheck.instrument import MeterQuantity
from pitchcheck.takes import Stop

# A forward quotient is off by half a step times the curvature. Worst is the slot of a press on a string of
# stretch 400: 20 cents/mm^2 x 0.01 mm / 2 = 0.1 cent/mm beside 40; what moves little is held in prior widths.
SLOPE_REL = 0.03
SLOPE_CENTS = 0.05  # [cent] per prior sd of the unknown
SLOPE_MM = 1e-3  # [mm] the same, gauges
KINDS = [
    *(CaseKind(Stop.PRESS, fret, 0) for fret in (1, 2, 3, 4)),
    *(CaseKind(Stop.FRET, fret, 0) for fret in (1, 2, 3, 12)),
    CaseKind(Stop.PRESS, 3, 2),
    CaseKind(Stop.FRET, 5, 2),
    *(CaseKind(None, 0, 0, what) for what in MeterQuantity),
    CaseKind(None, 0, 0, overtones=True),
]


def start(kind: CaseKind, *, seed: int) -> tuple[tuple[Case, ...], np.ndarray, np.ndarray]:
    """Six strings of one kind of case somewhere within their priors."""
    instrument = job_of().instrument
    unknowns = build_unknowns(instrument, [CaseRequest(kind, s.number) for s in instrument.strings])
    z = 0.7 * np.random.default_rng(seed).standard_normal(len(unknowns.names))
    return unknowns.cases, unknowns.coordinates(z), unknowns.spread


def miss_of(kind: CaseKind, *, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """How far every slope is from the central quotient at the point, and from those met within its step.

    In prior sds of the unknowns, less what is allowed; shapes (strings, coordinates).
    """
    cases, at, spread = start(kind, seed=seed)
    about = linearise(cases, at)
    value, slope = about.value, about.slope
    assert value == pytest.approx(predict(cases, at), abs=1e-12)
    scale = np.array([case.scale_mm for case in cases])
    small = SLOPE_CENTS if kind.stop is not None else SLOPE_MM
    steps = np.array(
        [[k * STEP[a] / 4 * np.eye(len(Coordinate))[a] for k in range(-1, 6)] for a in Coordinate]
    )
    points = (at[:, None, None, :] + steps[None]).reshape(-1, len(Coordinate))
    got = evaluate(kind, np.repeat(scale, steps.shape[0] * steps.shape[1]), points)
    got = got.reshape(len(cases), *steps.shape[:2])
    central = (got[:, :, 2:] - got[:, :, :-2]) / (STEP[:, None] / 2)
    size = np.abs(spread).sum(axis=2)
    allowed = SLOPE_REL * np.abs(central[:, :, 0]) * size + small
    here = np.abs(slope - central[:, :, 0]) * size - allowed
    outside = np.maximum(slope - central.max(axis=2), central.min(axis=2) - slope)
    inside = outside * size - allowed
    return here, inside


SWITCHES = (
    0.01  # part of the slopes within whose step a contact opens or closes, so that the slope itself jumps
)


def test_slopes_agree_with_central_differences() -> None:
    both = [miss_of(kind, seed=seed) for kind in KINDS for seed in (1, 2, 3)]
    here = np.concatenate([one[0].ravel() for one in both])
    inside = np.concatenate([one[1].ravel() for one in both])
    assert np.mean(here > 0) <= SWITCHES
    assert np.max(inside) <= 0


def test_a_coordinate_that_is_said_not_to_matter_does_not() -> None:
    for kind in KINDS:
        cases, at, _ = start(kind, seed=3)
        scale = np.array([case.scale_mm for case in cases])
        slope = linearise(cases, at).slope
        for a in Coordinate:
            if a is Coordinate.TENSION:
                continue  # known: no unknown moves it, so no slope is asked
            moved = at.copy()
            moved[:, a] += STEP[a]
            if np.all(slope[:, a] == 0.0):
                assert evaluate(kind, scale, moved) == pytest.approx(evaluate(kind, scale, at), abs=1e-9), (
                    kind,
                    a,
                )
