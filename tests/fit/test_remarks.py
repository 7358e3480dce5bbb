"""What is said of a fit: at both sides of every limit, from records put together here."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from helpers.planted import job_of
from pitchcheck.fit import priors, remarks
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.hand import Scatter
from pitchcheck.fit.posterior import _is_shift
from pitchcheck.fit.result import Confounder, MisfitCause, RemarkKind, UnsettledKind
from pitchcheck.instrument import Fretwork, Tailpiece
from pitchcheck.physics.materials import string_constants
from pitchcheck.takes import Position, Stop


def state(**parts: object) -> SimpleNamespace:
    """A posterior by its parts: two strings pressed, all as it should be."""
    own = SimpleNamespace(names=("fret height",), cases=())
    places = ((0, Position(1, Stop.PRESS, 1)), (0, Position(2, Stop.PRESS, 2)))
    whole = {
        "problem": SimpleNamespace(strings=(1, 2, 3), pressed={1, 2}, places=places, unknowns=own),
        "gauges": (),
        "leaves": (),
        "scatter": Scatter(),
        "press_chi_square": (1.0, 2.0),
        "press_strain": np.array([0.5, -0.6]),
        "press_shift": (0.0, 1.0),
        "solution": SimpleNamespace(weight=np.array([1.0, 1.0]), z=np.array([0.0])),
    }
    given = whole | parts
    shift, sd = given["press_shift"]
    return SimpleNamespace(**given, off_alike=_is_shift(shift, sd))


USUAL_FRETS = Belief.normal(1.0, 0.05)


@pytest.mark.parametrize(
    ("parts", "strings"),
    [
        ({}, None),
        ({"scatter": Scatter(hand=4.8)}, None),
        ({"scatter": Scatter(hand=5.2)}, (1, 2)),
        ({"scatter": Scatter(slide=5.2)}, (1, 2)),
        ({"press_shift": (3.9, 1.0)}, None),
        ({"press_shift": (4.1, 1.0)}, (1, 2)),
        ({"press_shift": (-4.1, 1.0)}, (1, 2)),
        ({"press_shift": (6.2, 2.0)}, (1, 2)),
        ({"press_shift": (5.8, 2.0)}, None),
        # each strain counted up to 3 sd; over four times the freedom
        ({"press_strain": np.array([2.2, 1.9]), "press_chi_square": (0.0, 2.0)}, (1, 2)),
        ({"press_strain": np.array([2.2, 1.7]), "press_chi_square": (0.0, 2.0)}, None),
        ({"press_strain": np.array([9.0, 0.0]), "press_chi_square": (0.0, 2.3)}, None),
        ({"press_strain": np.array([9.0, 0.0]), "press_chi_square": (0.0, 2.2)}, (1, 2)),
        ({"press_strain": np.array([9.0, 9.0]), "scatter": Scatter(hand=1.7)}, None),  # a rough hand
        ({"press_strain": np.array([9.0, 9.0]), "scatter": Scatter(slide=1.5)}, (1, 2)),
        ({"solution": SimpleNamespace(weight=np.array([1.0, 0.28]), z=np.zeros(1))}, (2,)),
        ({"solution": SimpleNamespace(weight=np.array([1.0, 0.32]), z=np.zeros(1))}, None),
    ],
)
def test_presses_are_unsettled(parts: dict[str, object], strings: tuple[int, ...] | None) -> None:
    found = remarks.unsettled(state(**parts), fret_height_mm=USUAL_FRETS)
    assert [(u.kind, u.strings) for u in found] == (
        [] if strings is None else [(UnsettledKind.PRESSES, strings)]
    )


@pytest.mark.parametrize(
    ("mean", "told"), [(0.41, True), (0.43, False), (1.0, False), (1.77, False), (1.79, True)]
)
def test_frets_that_cannot_be_are_said(mean: float, told: bool) -> None:
    # 95 % of the belief outside of 0.5 to 1.7 mm: 1.645 sd.
    found = remarks.unsettled(state(), fret_height_mm=Belief.normal(mean, 0.05))
    assert [u.kind for u in found] == ([UnsettledKind.FRET_HEIGHT] if told else [])
    if told:
        assert found[0].expected_mm == pytest.approx(mean)
        assert found[0].sd_mm == pytest.approx(0.05, rel=1e-3)
        assert found[0].strings == (1, 2, 3)


@pytest.mark.parametrize(
    ("parts", "cause"),
    [
        ({}, None),
        ({"scatter": Scatter(hand=1.95)}, None),
        ({"scatter": Scatter(hand=2.05)}, MisfitCause.UNSTEADY_HAND),
        ({"scatter": Scatter(slide=2.05, hand=1.5)}, MisfitCause.NOT_DOWN),
        ({"scatter": Scatter(slide=2.05, hand=2.0)}, MisfitCause.NOT_DOWN),
        ({"scatter": Scatter(hand=2.05), "press_chi_square": (1.0, 0.9)}, None),
        ({"press_shift": (-4.5, 1.0)}, MisfitCause.NOT_DOWN),
        ({"press_shift": (4.5, 1.0)}, MisfitCause.NECK_BENDS),
        ({"press_strain": np.array([3.0, 3.0])}, MisfitCause.NOT_DOWN),
    ],
)
def test_presses_that_do_not_fit_have_a_likely_cause(
    parts: dict[str, object], cause: MisfitCause | None
) -> None:
    found = remarks.press_misfit(state(**parts))
    assert (found and found.cause) == cause
    if found is not None:
        strain = np.abs(state(**parts).press_strain)
        worst = 1 if strain[1] > strain[0] else 0
        assert found.strings == ((2, 1) if worst else (1, 2))
        assert found.again == (Position(2, Stop.PRESS, 2) if worst else Position(1, Stop.PRESS, 1))
        assert (found.chi_square, found.freedom) == (1.0, 2.0)


@pytest.mark.parametrize(
    ("height", "cause"),
    [
        (0.08, MisfitCause.NOT_DOWN),
        (0.12, MisfitCause.UNEVEN),
        (0.45, MisfitCause.UNEVEN),
        (0.55, MisfitCause.NECK_BENDS),
    ],
)
def test_the_side_to_which_presses_miss_tells_the_cause(height: float, cause: MisfitCause) -> None:
    told = state(
        scatter=Scatter(slide=3.0), solution=SimpleNamespace(weight=np.ones(2), z=np.array([height]))
    )
    found = remarks.press_misfit(told)
    assert found is not None
    assert found.cause is cause


@pytest.mark.parametrize(
    ("z", "rough", "cause"),
    [
        # mean 2 and spread 3 over a neck that is held, half of it left: it bends by 2 + 3 z, give or take 1.5
        (0.4, 1.0, None),
        (0.52, 1.0, MisfitCause.NECK_BENDS),  # 3.56: 1.645 sd beyond 1 is 3.47
        (0.2, 3.0, MisfitCause.NECK_BENDS),  # 2.6: one sd beyond 1 is 2.5
        (0.1, 3.0, MisfitCause.UNSTEADY_HAND),
    ],
)
def test_a_neck_that_gives_way_is_told(z: float, rough: float, cause: MisfitCause | None) -> None:
    names = ("fret height", "neck")
    solution = SimpleNamespace(weight=np.ones(2), z=np.array([0.3, z]), covariance=np.diag([1.0, 0.25]))
    told = state(scatter=Scatter(hand=rough, neck=2.0, neck_unsure=3.0), solution=solution)
    told.problem.unknowns = SimpleNamespace(names=names, cases=())
    found = remarks.press_misfit(told)
    assert (found and found.cause) == cause


def test_what_makes_a_fit_weaker_is_remarked() -> None:
    def remarked(
        *, floating: bool = False, level: bool = True, pressed: bool = True, settled: bool = True
    ) -> set[str]:
        instrument = replace(
            job_of("electric").instrument,
            tailpiece=Tailpiece.FLOATING if floating else Tailpiece.FIXED,
            fretwork=Fretwork.LEVEL if level else Fretwork.UNKNOWN,
        )
        problem = SimpleNamespace(instrument=instrument, pressed={1} if pressed else set())
        return set(remarks.remarks(problem, SimpleNamespace(settled=settled)))

    assert remarked() == set()
    assert remarked(floating=True) == {RemarkKind.FLOATING_BRIDGE}
    assert remarked(level=False) == {RemarkKind.FRETWORK_UNKNOWN}
    assert remarked(pressed=False) == {RemarkKind.NO_PRESSES}
    assert remarked(settled=False) == {RemarkKind.NOT_SETTLED}


def test_a_usual_finger_sinks_as_a_string_held_at_both_ends() -> None:
    # (F/T) d (s - d) / s: a force on a string, at a distance from one of its ends
    instrument = job_of("electric").instrument
    tension = float(
        np.median([string_constants(s, scale_mm=instrument.scale_mm).tension_n for s in instrument.strings])
    )
    names = ("fret height", "force")
    for z, variance in ((0.0, 1.0), (1.5, 0.25)):
        problem = SimpleNamespace(unknowns=SimpleNamespace(names=names))
        solution = SimpleNamespace(z=np.array([0.0, z]), covariance=np.diag([1.0, variance]))
        found = remarks.touch_belief(instrument, problem, solution)
        log_n = priors.log_force(tension) + priors.LOG_FORCE_N[1] * z
        space = instrument.scale_mm * (1 - 2 ** (-1 / 12))
        behind = min(9.0, 0.4 * space)
        sinks = np.exp(log_n) / tension * behind * (space - behind) / space
        assert found.median == pytest.approx(sinks, rel=1e-3)
        half = priors.LOG_FORCE_N[1] * np.sqrt(variance) * 1.645
        assert np.log(found.high / found.low) == pytest.approx(2 * half, rel=1e-3)


def test_what_is_tied_to_a_height_is_named_at_both_sides_of_the_limit() -> None:
    """Heights with slopes written down: how an unknown hangs together with one is its correlation."""
    names = ("slot 1", "fret height", "nut", "stretch 1", "fret 1", "fret 2", "force")
    confounders = [
        Confounder.FRET_HEIGHT,
        Confounder.NUT_POSITION,
        Confounder.STRETCH_FACTOR,
        Confounder.FRET_1,
        Confounder.FRET_2,
        Confounder.TOUCH,
    ]
    slopes = np.array([0.4, *[0.0] * 6])
    problem = SimpleNamespace(
        unknowns=SimpleNamespace(names=names), strings=(1,), coordinate=lambda *_: (0.4, slopes)
    )
    for i, confounder in enumerate(confounders, 1):
        for tied in (0.82, 0.78, -0.82):
            covariance = np.diag([0.25, *[1.0] * 6])
            covariance[0, i] = covariance[i, 0] = tied * 0.5
            found = remarks.unseparated(problem, SimpleNamespace(covariance=covariance, z=np.zeros(7)))
            expected = [] if abs(tied) < 0.8 else [(1, confounder)]
            assert [(one.string, one.confounder) for one in found] == expected
            assert all(one.correlation == pytest.approx(tied) for one in found)
    for left, everything in ((0.62, True), (0.58, False)):  # of the width that was believed
        covariance = np.diag([left**2, *[1.0] * 6])
        found = remarks.unseparated(problem, SimpleNamespace(covariance=covariance, z=np.zeros(7)))
        assert [one.confounder for one in found] == ([Confounder.EVERYTHING] if everything else [])


def test_readings_are_told_in_the_order_of_their_table() -> None:
    def check(index: int | None, value: float) -> SimpleNamespace:
        row = SimpleNamespace(meter_index=index, reading=SimpleNamespace(value_mm=value))
        return SimpleNamespace(row=row, expected_mm=value + 1, sd_mm=0.1, likely_slip_mm=2.0, questioned=True)

    def leaf(index: int | None, bound: float) -> SimpleNamespace:
        row = SimpleNamespace(meter_index=index, bound_mm=bound)
        return SimpleNamespace(row=row, expected_mm=bound + 1, sd_mm=0.2, questioned=False)

    posterior = state(
        gauges=(check(4, 0.4), check(None, 9.0), check(0, 0.1)), leaves=(leaf(2, 0.3), leaf(None, 9.0))
    )
    found = remarks.meter_residuals(posterior)
    assert [(one.index, one.read_mm, one.expected_mm) for one in found] == [
        (0, 0.1, 1.1),
        (2, 0.3, 1.3),
        (4, 0.4, 1.4),
    ]
    assert [one.sd_mm for one in found] == [0.1, 0.2, 0.1]
