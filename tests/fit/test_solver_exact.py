"""The solver and what it hangs on, on models whose posterior is known: dense algebra, integrals, grids."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import optimize, stats

from pitchcheck.fit import modes, posterior, priors, scatter, skewness
from pitchcheck.fit import solve as module
from pitchcheck.fit.cases import Case, CaseKind, Coordinate, Slopes
from pitchcheck.fit.hand import HandParts, Scatter, hand_parts
from pitchcheck.fit.modes import _contradicted, _together
from pitchcheck.fit.scatter import _press_scatter, _root_mean_square
from pitchcheck.fit.solve import Data, Solution, solve
from pitchcheck.fit.unknowns import Unknowns
from pitchcheck.takes import Position, Stop

PRESS, FRET = CaseKind(Stop.PRESS, 1, 0), CaseKind(Stop.FRET, 1, 0)
COUNT = len(Coordinate)


def unknowns(spread: np.ndarray, kinds: list[CaseKind]) -> Unknowns:
    """A map in which case c is coordinate 0, a row of ``spread`` in the unknowns."""
    whole = np.zeros((len(kinds), COUNT, spread.shape[1]))
    whole[:, 0] = spread
    cases = tuple(Case(kind, 1, 650.0) for kind in kinds)
    return Unknowns(
        tuple(f"u{i}" for i in range(spread.shape[1])), cases, np.zeros((len(kinds), COUNT)), whole
    )


def model(monkeypatch: pytest.MonkeyPatch, law: object, *, step: float = 1e-5) -> None:
    """Let a case read ``law`` of its first coordinate, one number to one."""

    def predict(cases: tuple[Case, ...], u: np.ndarray) -> np.ndarray:
        return np.asarray(law(u[..., 0]))

    def linearise(cases: tuple[Case, ...], u: np.ndarray) -> Slopes:
        slope = np.zeros((len(cases), COUNT))
        slope[:, 0] = (predict(cases, u + step) - predict(cases, u - step)) / (2 * step)
        return Slopes(predict(cases, u), slope, np.zeros(len(cases)))

    monkeypatch.setattr(module, "predict", predict)
    monkeypatch.setattr(module, "linearise", linearise)


def data(value: np.ndarray, covariance: np.ndarray, case: list[int], *, robust: bool = False) -> Data:
    return Data(value, covariance, np.array(case), np.full(value.size, robust))


def test_of_a_linear_model_the_solution_is_the_textbooks(monkeypatch: pytest.MonkeyPatch) -> None:
    # z ~ N(0, 1), y = J z + e: covariance (1 + J' R^-1 J)^-1, mean that times J' R^-1 y.
    rng = np.random.default_rng(1)
    model(monkeypatch, lambda u: 3 * u)
    gauge = CaseKind(None, 0, 0)
    spread = rng.normal(size=(3, 2))
    root = rng.normal(size=(4, 4))
    noise = root @ root.T + np.eye(4)
    value, case = rng.normal(size=4), [0, 1, 2, 1]
    found = solve(unknowns(spread, [gauge] * 3), data(value, noise, case))
    jacobian = 3 * spread[case]
    covariance = np.linalg.inv(np.eye(2) + jacobian.T @ np.linalg.solve(noise, jacobian))
    assert found.settled
    assert found.covariance == pytest.approx(covariance, rel=1e-6)
    assert found.z == pytest.approx(covariance @ jacobian.T @ np.linalg.solve(noise, value), rel=1e-6)
    assert found.weight.tolist() == [1.0] * 4
    assert found.hand.tolist() == [0.0] * 4
    assert found.scatter == pytest.approx(np.sqrt(np.diag(noise)))
    assert found.jacobian == pytest.approx(jacobian, rel=1e-6)


def test_hand_and_model_add_to_the_noise_of_notes(monkeypatch: pytest.MonkeyPatch) -> None:
    model(monkeypatch, lambda u: u)
    found = solve(unknowns(np.ones((1, 1)), [PRESS]), data(np.array([2.0]), np.eye(1), [0]))
    total = 1 + 0.06**2  # what the model leaves out
    assert found.z[0] == pytest.approx(2 / (1 + total), rel=1e-6)
    assert found.hand == pytest.approx([0.06**2])
    assert found.scatter == pytest.approx([math.sqrt(total)])


@pytest.mark.parametrize("far", [3.0, 8.0, -20.0])
def test_a_bad_take_loses_its_weight_as_students_law_says(
    monkeypatch: pytest.MonkeyPatch, far: float
) -> None:
    # Weight (6 + 1) / (6 + r^2), at most 1: the solution is where the pulls of all takes and of the belief
    # balance.
    model(monkeypatch, lambda u: 10 * u)
    value = 2 * np.array([1.0, 1.3, 0.8, 1.0 + far])
    found = solve(unknowns(np.ones((1, 1)), [PRESS]), data(value, 4 * np.eye(4), [0] * 4, robust=True))
    total = 4 + 0.06**2

    def balance(z: float) -> float:
        residual = value - 10 * z
        weight = np.minimum(1.0, 7 / (6 + residual**2 / total))
        return float(np.sum(10 * residual * weight / total) - z)

    assert found.settled
    assert found.z[0] == pytest.approx(
        optimize.brentq(balance, -1, 1), abs=0.03 * math.sqrt(found.covariance[0, 0])
    )
    residual = value - 10 * found.z[0]
    weight = np.minimum(1.0, 7 / (6 + residual**2 / total))
    assert found.weight == pytest.approx(weight, rel=0.05)
    assert 1 / found.covariance[0, 0] == pytest.approx(1 + np.sum(100 * weight / total), rel=0.05)


def test_a_bent_model_is_solved_to_its_most_likely_point(monkeypatch: pytest.MonkeyPatch) -> None:
    model(monkeypatch, lambda u: np.exp(2 * u))
    value = np.array([6.0])
    found = solve(unknowns(np.ones((1, 1)), [CaseKind(None, 0, 0)]), data(value, 0.04 * np.eye(1), [0]))
    best = optimize.minimize_scalar(
        lambda z: (6.0 - math.exp(2 * z)) ** 2 / 0.04 + z**2, bounds=(0, 2), method="bounded"
    )
    sd = math.sqrt(found.covariance[0, 0])
    assert found.settled
    assert found.z[0] == pytest.approx(best.x, abs=0.03 * sd)
    slope = 2 * math.exp(2 * found.z[0])
    assert found.covariance[0, 0] == pytest.approx(1 / (1 + slope**2 / 0.04), rel=0.05)


def test_steps_are_halved_until_they_lower_the_misfit(monkeypatch: pytest.MonkeyPatch) -> None:
    # A law so bent that a whole step overshoots: from far below the solution is found all the same.
    model(monkeypatch, lambda u: np.exp(4 * u))
    start = np.array([-1.2])
    found = solve(
        unknowns(np.ones((1, 1)), [CaseKind(None, 0, 0)]),
        data(np.array([1.0]), 1e-4 * np.eye(1), [0]),
        start=start,
    )
    assert found.z[0] == pytest.approx(0.0, abs=0.01)


def test_data_are_joined_and_left_out_by_rows() -> None:
    first = data(np.array([1.0, 2.0]), np.array([[2.0, 0.5], [0.5, 1.0]]), [0, 1], robust=True)
    second = data(np.array([3.0]), np.array([[4.0]]), [2])
    both = first.joined(second)
    assert both.value.tolist() == [1.0, 2.0, 3.0]
    assert both.covariance.tolist() == [[2.0, 0.5, 0.0], [0.5, 1.0, 0.0], [0.0, 0.0, 4.0]]
    assert both.robust.tolist() == [True, True, False]
    left = both.without(np.array([True, False, False]))
    assert (left.value.tolist(), left.case.tolist(), left.covariance.tolist()) == (
        [2.0, 3.0],
        [1, 2],
        [[1.0, 0.0], [0.0, 4.0]],
    )


# The hand


def test_parts_of_a_hand_and_how_they_grow_with_it() -> None:
    cases = tuple(Case(kind, 1, 650.0) for kind in (PRESS, FRET, CaseKind(None, 0, 0)))
    slope = np.zeros((3, COUNT))
    slope[:, Coordinate.ROD_PLACE], slope[:, Coordinate.SIDE], slope[:, Coordinate.LOG_STRETCH_FACTOR] = (
        2.0,
        30.0,
        40.0,
    )
    parts = hand_parts(cases, Slopes(np.zeros(3), slope, np.array([0.0, 5.0, 0.0])))
    assert parts.rod == pytest.approx([(2.0 * priors.ROD_PLACE_MM) ** 2, 0.0, 0.0])
    assert parts.side == pytest.approx([(30.0 * priors.SIDE_SCATTER_MM2) ** 2, 0.0, 0.0])
    assert parts.slide == pytest.approx([(40.0 * priors.PRESS_SCATTER) ** 2, 0.0, 0.0])
    assert parts.touch == pytest.approx([0.0, 5.0, 0.0])
    assert parts.model == pytest.approx([priors.MODEL_CENTS**2] * 2 + [0.0])
    one = HandParts(*(np.array([x]) for x in (1.0, 10.0, 100.0, 1000.0, 1e4)))
    # sideways counts by the square of the push
    unsure = one.total(Scatter(2.0, hand_unsure=1.5))
    assert unsure == pytest.approx(one.total(Scatter(2.0)) + 1.5**2 * one.side)
    assert one.total(Scatter(2.0, 3.0, 5.0)) == pytest.approx([4 * 1 + 16 * 10 + 9 * 100 + 25 * 1000 + 1e4])


def test_factors_of_a_hand_are_means_over_all_of_a_grid() -> None:
    rng = np.random.default_rng(2)
    n = 6
    root = rng.normal(size=(n, n))
    fixed = 0.1 * root @ root.T + np.eye(n)
    value, rod, side, slide = (
        rng.normal(size=n) * 3,
        rng.uniform(0.5, 1, n),
        rng.uniform(0.1, 0.3, n),
        rng.uniform(0.2, 0.5, n),
    )
    slope, places = rng.uniform(5, 9, n), rng.normal(size=(n, 3)) * 0.4
    bends = rng.uniform(0.3, 0.6, n)
    parts = {"rod": rod, "side": side, "slide": slide, "side_slope": slope, "bends": bends}
    found = _press_scatter(value, fixed, **parts, places=places)
    mean_side, sd_side = priors.SIDE_MM2
    belief, squares, necks = [], [], []
    for h in (1.0, 1.4, 2.0, 2.8, 4.0, 5.6):
        for s in (1.0, 1.5, 2.2, 3.3, 5.0, 8.0, 12.0):
            for p in (1.0, 1.6, 2.5, 4.0, 6.5, 10.0):
                total = fixed + np.diag(h**2 * rod + h**4 * side + s**2 * slide)
                total += (p * h**0.7) ** 2 * places @ places.T + h**4 * sd_side**2 * np.outer(slope, slope)
                before = sum(
                    stats.norm.logpdf(math.log(f), 0, width) for f, width in ((h, 1.2), (s, 0.4), (p, 0.45))
                )
                for f in (1.0, 2.0, 4.0, 8.0, 16.0):  # a neck that is held, or gives way to one side
                    law = stats.norm() if f == 1.0 else stats.halfnorm(scale=f)
                    bent = total + law.var() * np.outer(bends, bends)
                    at = slope * mean_side * (h**2 - 1) + law.mean() * bends
                    likely = stats.multivariate_normal(at, bent).logpdf(value)
                    belief.append(likely + before + stats.norm.logpdf(math.log(f), 0, 1.3))
                    squares.append((h**2, s**2, p**2))
                    necks.append((law.mean(), law.var() + law.mean() ** 2))
    share = np.exp(np.array(belief) - max(belief))
    share /= share.sum()
    of_squares = np.array(squares)
    assert [found.hand, found.slide, found.place] == pytest.approx(np.sqrt(share @ of_squares), rel=1e-6)
    spread = share @ of_squares[:, 0] ** 2 - (share @ of_squares[:, 0]) ** 2
    assert found.hand_unsure == pytest.approx(math.sqrt(spread), rel=1e-6)
    neck, of_square = share @ np.array(necks)
    assert found.neck == pytest.approx(neck, rel=1e-6)
    assert found.neck_unsure == pytest.approx(math.sqrt(of_square - neck**2), rel=1e-6)
    alone = _press_scatter(value, fixed, **parts, places=places[:, :0])
    assert alone.place == 1.0
    held = _press_scatter(value, fixed, **(parts | {"bends": np.zeros(n)}), places=places)
    assert (held.neck, held.neck_unsure) == (0.0, 1.0)


def test_a_root_mean_square_over_beliefs() -> None:
    factors = np.array([1.0, 2.0, 4.0])
    assert _root_mean_square(np.log([0.5, 0.3, 0.2]) + 100, factors) == pytest.approx(
        math.sqrt(0.5 + 0.3 * 4 + 0.2 * 16)
    )


def solution(
    count: int,
    *,
    weight: np.ndarray | None = None,
    z: np.ndarray | None = None,
    covariance: np.ndarray | None = None,
    residual: np.ndarray | None = None,
    jacobian: np.ndarray | None = None,
    sd: np.ndarray | None = None,
    hand: np.ndarray | None = None,
    slope: np.ndarray | None = None,
) -> Solution:
    z = np.zeros(2) if z is None else z
    return Solution(
        z=z,
        covariance=np.eye(z.size) if covariance is None else covariance,
        jacobian=np.zeros((count, z.size)) if jacobian is None else jacobian,
        expected=np.zeros(count),
        residual=np.zeros(count) if residual is None else residual,
        scatter=np.ones(count) if sd is None else sd,
        hand=np.zeros(count) if hand is None else hand,
        about=Slopes(np.zeros(count), np.zeros((count, COUNT)) if slope is None else slope, np.zeros(count)),
        weight=np.ones(count) if weight is None else weight,
        settled=True,
    )


def test_the_scatter_of_fretted_notes_is_weighed_given_everything_else() -> None:
    # Two fretted notes and a press, all of one level z: the marginal likelihood written out.
    own = unknowns(np.array([[1.0, 0.0], [0.5, 1.0]]), [FRET, PRESS])
    own = replace(own, names=("u0", "side"))
    rows = [0, 0, 0, 1]
    jacobian = own.spread[rows, 0]
    value = np.array([4.0, -5.0, 3.0, 0.5])
    z = np.array([0.3, -0.2])
    touch = np.array([2.0, 0.0])
    about = Slopes(np.zeros(2), np.zeros((2, COUNT)), touch)
    noise = 0.2 * np.eye(4)
    parts = hand_parts(own.cases, about)
    hand = parts.total(Scatter())[rows]
    weight = np.array([1.0, 0.5, 1.0, 1.0])
    total = np.diag(noise) + hand
    solved = replace(
        solution(
            4,
            z=z,
            jacobian=jacobian,
            residual=value - jacobian @ z,
            weight=weight,
            sd=np.sqrt(total),
            hand=hand,
        ),
        about=about,
    )
    found = scatter.estimate_scatter(own, data(value, noise, rows, robust=True), solved, now=Scatter())
    belief = []
    grid = np.array([1.0, 1.3, 1.7, 2.2, 3.0, 4.0])
    for f in grid:
        # the others' hand stays as it is; of what sets a take aside 0.2 is kept; the model's part of the
        # fretted rows is left to the touch
        cov = noise + np.diag(0.2 * total * (1 / weight - 1)) + jacobian @ jacobian.T
        cov += np.diag([f**2 * 2.0] * 3 + [hand[3]])
        keep, given = [0, 1, 2], [3]
        gain = cov[np.ix_(keep, given)] / cov[3, 3]
        mean = gain[:, 0] * value[3]
        left = cov[np.ix_(keep, keep)] - gain @ cov[np.ix_(given, keep)]
        belief.append(stats.multivariate_normal(mean, left).logpdf(value[:3]) - (math.log(f) / 0.5) ** 2 / 2)
    share = np.exp(np.array(belief) - max(belief))
    assert found.fret == pytest.approx(math.sqrt(share @ grid**2 / share.sum()), rel=1e-6)


# Modes


def test_presses_contradict_one_another_where_some_are_believed_and_some_not() -> None:
    own = unknowns(np.ones((4, 1)), [PRESS, FRET, PRESS, PRESS])
    case = [0, 0, 1, 1, 2, 2, 3, 3]
    weight = np.array([0.2, 0.9, 0.1, 0.9, 0.1, 0.5, 0.2, 0.29])
    rows = data(np.zeros(8), np.eye(8), case)
    # the fretted notes contradict nothing, the last place has no take that is believed; the worst first
    assert _contradicted(own, rows, solution(8, weight=weight)) == [2, 0]
    assert _contradicted(own, rows, solution(8, weight=np.full(8, 0.31))) == []
    more = unknowns(np.ones((3, 1)), [PRESS] * 3)
    found = _contradicted(
        more,
        data(np.zeros(6), np.eye(6), [0, 0, 1, 1, 2, 2]),
        solution(6, weight=np.array([0.2, 1, 0.1, 1, 0.15, 1])),
    )
    assert found == [1, 2]  # two of them at most


def test_modes_are_put_together_by_their_beliefs(monkeypatch: pytest.MonkeyPatch) -> None:
    one = solution(1, z=np.array([0.0, 1.0]), covariance=np.diag([1.0, 2.0]), weight=np.array([1.0]))
    other = solution(1, z=np.array([2.0, 0.0]), covariance=np.diag([2.0, 1.0]), weight=np.array([0.2]))
    faint = solution(1, z=np.array([9.0, 9.0]), weight=np.array([0.0]))
    beliefs = {id(one): 0.0, id(other): math.log(0.25 / 0.75), id(faint): math.log(0.0019)}
    monkeypatch.setattr(modes, "_log_belief", lambda _, s: beliefs[id(s)])
    rows = data(np.zeros(1), np.eye(1), [0])
    both = _together(rows, one, [other, faint])
    apart = other.z - one.z
    assert both.z == pytest.approx(one.z + 0.25 * apart)
    expected = 0.75 * one.covariance + 0.25 * other.covariance + 0.75 * 0.25 * np.outer(apart, apart)
    assert both.covariance == pytest.approx(expected)
    assert both.weight == pytest.approx([0.75 + 0.25 * 0.2])
    assert _together(rows, one, []).z.tolist() == one.z.tolist()
    beliefs[id(faint)] = math.log(0.0022)
    assert _together(rows, one, [faint]).z != pytest.approx(one.z)


@pytest.mark.parametrize(("apart", "two"), [(0.45, False), (0.55, True)])
def test_modes_near_one_another_are_one(monkeypatch: pytest.MonkeyPatch, apart: float, two: bool) -> None:
    own = unknowns(np.ones((1, 2)), [PRESS])
    best = solution(2, weight=np.array([0.1, 1.0]), covariance=np.diag([4.0, 1.0]))
    starts = []

    def again(_: Unknowns, rows: Data, *, start: np.ndarray) -> Solution:
        starts.append(rows.value.size)
        return solution(rows.value.size, z=np.array([2 * apart, 0.0]))

    monkeypatch.setattr(modes, "solve", again)
    found = modes._believing_the_rest(own, data(np.zeros(2), np.eye(2), [0, 0]), best, 0)
    assert (found is not None) is two
    assert starts == [1, 2]  # first without what was believed, then with everything


# Presses as a whole


def problem(rows: Data, places: list[Position], own: Unknowns) -> SimpleNamespace:
    return SimpleNamespace(unknowns=own, data=rows, places=tuple((0, p) for p in places))


def test_strain_and_freedom_of_the_presses() -> None:
    rng = np.random.default_rng(4)
    jacobian, sd, weight = rng.normal(size=(4, 2)), rng.uniform(1, 2, 4), np.array([1.0, 0.5, 1.0, 1.0])
    residual = rng.normal(size=4)
    own = unknowns(np.ones((2, 2)), [PRESS, FRET])
    places = [
        Position(1, Stop.PRESS, 1),
        Position(1, Stop.FRET, 1),
        Position(1, Stop.PRESS, 1),
        Position(1, Stop.PRESS, 1),
    ]
    covariance = np.linalg.inv(np.eye(2) + jacobian.T @ (jacobian * (weight / sd**2)[:, None]))
    solved = solution(4, residual=residual, jacobian=jacobian, sd=sd, weight=weight, covariance=covariance)
    strain, (chi_square, freedom) = posterior._press_fit(
        problem(data(residual, np.eye(4), [0, 1, 0, 0]), places, own), solved
    )
    chosen = [0, 2, 3]
    assert strain == pytest.approx(residual[chosen] / sd[chosen])
    assert chi_square == pytest.approx(np.sum((residual[chosen] / sd[chosen]) ** 2))
    hat = jacobian @ covariance @ jacobian.T @ np.diag(weight / sd**2)
    assert freedom == pytest.approx(3 - np.trace(hat[np.ix_(chosen, chosen)]))


def test_what_all_presses_have_in_common_is_generalised_least_squares() -> None:
    rng = np.random.default_rng(5)
    jacobian, hand = rng.normal(size=(4, 2)), rng.uniform(0.1, 0.5, 4)
    z, residual = rng.normal(size=2), rng.normal(size=4)
    root = rng.normal(size=(4, 4))
    noise = root @ root.T + np.eye(4)
    own = unknowns(np.ones((2, 2)), [PRESS, FRET])
    rows = data(residual, noise, [0, 1, 0, 0])
    solved = solution(4, z=z, residual=residual, jacobian=jacobian, hand=hand)
    shift, sd = posterior._press_shift(problem(rows, [], own), solved)
    law = noise + np.diag(hand) + jacobian @ jacobian.T
    alike = np.array([1.0, 0.0, 1.0, 1.0])
    known = alike @ np.linalg.inv(law) @ alike
    assert shift == pytest.approx(alike @ np.linalg.inv(law) @ (residual + jacobian @ z) / known)
    assert sd == pytest.approx(known**-0.5)
    none = posterior._press_shift(
        problem(data(np.zeros(1), np.eye(1), [0]), [], unknowns(np.ones((1, 2)), [FRET])), solution(1)
    )
    assert none == (0.0, math.inf)


# Skewness


def test_mean_and_skewness_of_a_bent_belief_are_those_of_the_integral(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # One reading of a + b z + c z^2, hardly bent: posterior by quadrature.
    bend = 0.06

    def points(cases: tuple[Case, ...], u: np.ndarray) -> np.ndarray:
        return np.asarray(2 * u[..., 0] + bend * u[..., 0] ** 2)

    monkeypatch.setattr(skewness, "predict_points", points)
    model(monkeypatch, lambda u: 2 * u + bend * u**2)
    monkeypatch.setattr(skewness, "linearise", module.linearise)
    own = unknowns(np.array([[1.0, 0.0]]), [CaseKind(None, 0, 0)])
    rows = data(np.array([1.5]), 0.7 * np.eye(1), [0])
    solved = solve(own, rows)
    (found,) = skewness.skew_corrections(own, rows, solved, [np.array([1.0, 0.0])])
    z = np.linspace(-5, 6, 8001)
    belief = np.exp(-((1.5 - 2 * z - bend * z**2) ** 2) / 1.4 - z**2 / 2)
    belief /= belief.sum()
    mean = float(belief @ z)
    sd = math.sqrt(belief @ (z - mean) ** 2)
    skew = float(belief @ (z - mean) ** 3) / sd**3
    top = float(z[np.argmax(belief)])
    assert found.shift_sd == pytest.approx((mean - top) / sd, rel=0.15)
    assert found.skewness == pytest.approx(skew, rel=0.2)
    assert abs(skew) > 0.03
    assert skewness.skew_corrections(own, rows, solved, []) == ()


def test_a_correction_is_bounded() -> None:
    belief = skewness.SkewCorrection(0.5, 0.0).about(1.0, 0.2)
    assert belief.median == pytest.approx(1.1)
