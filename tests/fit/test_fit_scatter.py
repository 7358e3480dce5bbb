"""The hand that is heard widens what is said; good takes cost next to nothing; what does not fit is told."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fe_bench.instruments import CAREFUL, CLUMSY
from fe_bench.player import Player
from fe_bench.sessions import Heard, course, listen, write
from fe_bench.single import Case, player_of
from helpers.planted import SIX, job_of, shifted, usual_fit, usual_takes
from pitchcheck.fit import Fit, fit_instrument
from pitchcheck.fit.priors import AS_IT_COMES
from pitchcheck.fit.result import MisfitCause, UnsettledKind
from pitchcheck.session.folder import read_session
from pitchcheck.survey import build_survey
from pitchcheck.takes import Position, Stop, Take
from pitchcheck.workflow.measure import hear_pass

JOB = job_of()
NEXT_TO_NOTHING = 1.15  # a factor whose square is believed with three other values of the grid beside 1


def rough(sd_cents: float, *, seed: int) -> Fit:
    """The same presses by a hand that scatters so much."""
    rng = np.random.default_rng(seed)
    takes: tuple[Take, ...] = usual_takes()
    for take in usual_takes():
        if take.position.stop is Stop.PRESS:
            takes = shifted(takes, take.row, sd_cents * float(rng.standard_normal()))
    return fit_instrument(JOB, build_survey(takes))


def widths(fit: Fit) -> np.ndarray:
    return np.array([s.height_mm.high - s.height_mm.low for s in fit.strings])


def test_a_steady_hand_costs_next_to_nothing() -> None:
    assert usual_fit().misfit is None
    assert max(usual_fit().scatter.hand, usual_fit().scatter.slide) < NEXT_TO_NOTHING


def test_a_rough_hand_widens_every_interval_and_is_told() -> None:
    fit = rough(3.0, seed=4)
    assert np.all(widths(fit) > 1.2 * widths(usual_fit()))
    assert fit.misfit is not None
    assert fit.misfit.cause is MisfitCause.UNSTEADY_HAND
    assert fit.misfit.again.stop is Stop.PRESS
    assert fit.misfit.chi_square > 2 * fit.misfit.freedom
    held = [abs(s.height_mm.median - h) < w for s, h, w in zip(fit.strings, SIX, widths(fit), strict=True)]
    assert all(held)


def test_a_rougher_hand_is_heard_as_one() -> None:
    """In order: the factors of three hands, each twice as rough as the one before."""
    factors = [rough(sd, seed=1).scatter.hand for sd in (0.5, 1.5, 4.0)]
    assert factors == sorted(factors)


def test_one_bad_press_is_no_rough_hand() -> None:
    row = next(t.row for t in usual_takes() if t.position == Position(4, Stop.PRESS, 1))
    fit = fit_instrument(JOB, build_survey(shifted(usual_takes(), row, 15.0)))
    assert fit.misfit is None


def all_presses_off(takes: tuple[Take, ...], cents: float) -> tuple[Take, ...]:
    """Every press sharper by the same."""
    for take in takes:
        if take.position.stop is Stop.PRESS:
            takes = shifted(takes, take.row, cents)
    return takes


@pytest.mark.parametrize("cents", [-20.0, -12.0, 12.0, 20.0])
def test_presses_that_are_all_off_do_not_go_unsaid(cents: float) -> None:
    """A rod that never reaches the board, or one fret too far: nothing is said of any slot pressed."""
    fit = fit_instrument(JOB, build_survey(all_presses_off(usual_takes(), cents)))
    wrong = {n for what in fit.unsettled for n in what.strings if what.kind is UnsettledKind.PRESSES}
    assert wrong == {1, 2, 3, 4, 5, 6}
    assert fit.misfit is not None


@pytest.mark.parametrize("kind", ["electric", "acoustic", "classical", "bass", "mandolin"])
def test_twenty_cents_on_every_press_are_noticed(kind: str) -> None:
    """Three instruments of a kind: each is believed as it is, and none of them with 20 cents more."""
    for seed in (3, 4, 5):
        player = player_of(Case(kind, seed, course="short"))
        heard = listen(player, course("short", [s.number for s in player.truth.strings]))
        sharp = [replace(h, hz=h.hz * 2 ** (20 / 1200)) if h.place.stop == "press" else h for h in heard]
        assert fit_of(player, heard).unsettled == ()
        wrong = fit_of(player, sharp).unsettled
        assert {n for what in wrong for n in what.strings} == {s.number for s in player.truth.strings}


def fit_of(player: Player, heard: list[Heard]) -> Fit:
    """The fit of a table of readings."""
    with tempfile.TemporaryDirectory() as home:
        write(Path(home) / "session", player.truth, heard)
        passed = hear_pass(read_session(Path(home) / "session"), workers=1)
    return fit_instrument(passed.session.settings, passed.survey)


@pytest.mark.parametrize("kind", ["acoustic", "bass"])
def test_a_neck_that_nothing_holds_is_told_from_one_that_is(kind: str) -> None:
    """Three instruments, each with the same hand both ways: it bends farther, and the heights are true.

    Such a neck bends by 7 to 12 times what is believed of one that is held, and a fifth of that or more is
    seen.
    """
    farther, true, asked = [], [], []
    for seed in (2, 3, 4):
        bent = player_of(Case(kind, seed, "neck unsupported")).truth
        held = replace(bent, neck=replace(bent.neck, bend_n_m2=0.0))
        bends = []
        for truth in (held, bent):
            own = Player(truth, np.random.default_rng(5))
            fit = fit_of(own, listen(own, course("presses", [s.number for s in truth.strings])))
            assert fit.joint is not None
            neck = float(fit.joint.z[fit.joint.names.index("neck")])
            bends.append(fit.scatter.neck + fit.scatter.neck_unsure * neck)
            true += [s.height_mm.low <= own.slot_mm(s.number) <= s.height_mm.high for s in fit.strings]
        farther.append(bends[1] - bends[0])
        asked.append(1 / bent.neck.bend_n_m2 / AS_IT_COMES.neck_bends)
    assert min(farther) > 1.0
    assert np.mean(farther) > np.mean(asked) / 5
    assert np.mean(true) > 0.8


@pytest.mark.parametrize("kind", ["electric", "bass"])
def test_a_clumsy_hand_is_believed_as_far_as_it_allows(kind: str) -> None:
    """Three times a careful hand's scatter, repeats on every string: wider, and not barred."""
    player = player_of(Case(kind, 2, hand="clumsy"))
    answers = []
    for hand in (CLUMSY, CAREFUL):
        own = Player(replace(player.truth, hand=hand), np.random.default_rng(5))
        places = course("presses", [s.number for s in own.truth.strings])
        fit = fit_of(own, listen(own, places))
        assert fit.unsettled == ()
        answers.append(fit)
    clumsy, careful = answers
    assert clumsy.scatter.hand > 1.7 > careful.scatter.hand
    assert np.all(widths(clumsy) > 1.1 * widths(careful))
    off = [(s.height_mm.low <= player.slot_mm(s.number) <= s.height_mm.high) for s in clumsy.strings]
    assert np.mean(off) > 0.7
