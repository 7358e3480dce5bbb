"""Statistics of a comparison written out: means, scatter of repeats, verdicts beside their limits."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from pitchcheck.compare import Change, Match, comparison, repeats
from pitchcheck.compare.comparison import change_of, match_of
from pitchcheck.compare.records import AssumptionKind, WeaknessKind
from pitchcheck.fit.belief import Belief
from pitchcheck.fit.cases import Case, CaseKind, Coordinate, Slopes
from pitchcheck.fit.priors import MODEL_CENTS
from pitchcheck.instrument import Length, Removal
from pitchcheck.takes import Position, Stop

PRESS_1, PRESS_2, FRET_1 = (CaseKind(s, f, 0) for s, f in ((Stop.PRESS, 1), (Stop.PRESS, 2), (Stop.FRET, 1)))


def posterior(
    kinds: list[CaseKind],
    case: list[int],
    *,
    places: list[tuple[int, Position]] | None = None,
    residual: list[float] | None = None,
    weight: list[float] | None = None,
    covariance: np.ndarray | None = None,
    value: list[float] | None = None,
    touch: list[float] | None = None,
) -> SimpleNamespace:
    count = len(case)
    cases = tuple(Case(kind, 1, 650.0) for kind in kinds)
    about = Slopes(
        np.zeros(len(kinds)), np.zeros((len(kinds), len(Coordinate))), np.array(touch or [0.0] * len(kinds))
    )
    stops = [(0, Position(1, kinds[c].stop or Stop.OPEN, kinds[c].fret)) for c in case]
    return SimpleNamespace(
        problem=SimpleNamespace(
            unknowns=SimpleNamespace(cases=cases), places=tuple(places or stops), strings=(1,)
        ),
        data=SimpleNamespace(
            value=np.array(value or [0.0] * count),
            covariance=np.eye(count) if covariance is None else covariance,
            case=np.array(case),
        ),
        solution=SimpleNamespace(
            residual=np.array(residual or [0.0] * count),
            weight=np.array(weight or [1.0] * count),
            hand=np.full(count, 0.3),
            about=about,
        ),
    )


def test_repeats_scatter_about_their_own_means_pooled_over_places() -> None:
    # Three presses of one place, two of another at the same fret (another pass), two fretted notes.
    given = posterior(
        [PRESS_1, PRESS_1, FRET_1, PRESS_2],
        [0, 0, 0, 1, 1, 2, 2, 3],
        residual=[1.0, 2.0, 6.0, 0.5, -0.5, 3.0, 4.0, 9.0],
        weight=[1.0, 1.0, 0.5, 1.0, 1.0, 1.0, 1.0, 1.0],
        covariance=np.diag([0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 3.0, 1.0]),
        touch=[0.0, 0.0, 2.0, 0.0],
    )
    fretted, pressed = repeats.repeats(given)
    mean = (1.0 + 2.0 + 0.5 * 6.0) / 2.5
    square = sum((x - mean) ** 2 for x in (1.0, 2.0, 6.0)) + 2 * 0.25
    assert (pressed.stop, pressed.fret, pressed.pairs) == (Stop.PRESS, 1, 3)
    assert pressed.sd_cents == pytest.approx(math.sqrt(square / 3))
    model = MODEL_CENTS**2
    assert pressed.expected_cents == pytest.approx(math.sqrt((2 * (0.2 + model) + 1 * (0.6 + model)) / 3))
    assert (fretted.stop, fretted.pairs) == (Stop.FRET, 1)
    assert fretted.sd_cents == pytest.approx(math.sqrt(0.5))
    assert fretted.expected_cents == pytest.approx(math.sqrt(2.0 + 2.0 + model))  # reading and touch


def test_a_position_moves_by_the_difference_of_its_weighted_means() -> None:
    place = Position(1, Stop.PRESS, 1)
    rng = np.random.default_rng(1)
    root = rng.normal(size=(5, 5))
    noise = root @ root.T
    given = posterior(
        [PRESS_1, PRESS_1],
        [0, 0, 1, 1, 1],
        places=[(0, place), (0, place), (1, place), (1, place), (1, place)],
        value=[1.0, 3.0, 10.0, 12.0, 20.0],
        weight=[1.0, 0.5, 1.0, 1.0, 0.25],
        covariance=noise,
    )
    found = repeats._position(given, place, [0, 1], [2, 3, 4], np.array([7.0, 9.0]))
    before, after = (1.0 + 0.5 * 3.0) / 1.5, (10.0 + 12.0 + 0.25 * 20.0) / 2.25
    share = np.array([-1 / 1.5, -0.5 / 1.5, 1 / 2.25, 1 / 2.25, 0.25 / 2.25])
    assert found.before_cents == pytest.approx(before)
    assert found.after_cents == pytest.approx(after)
    assert found.change_cents == pytest.approx(after - before)
    assert found.sd_cents == pytest.approx(math.sqrt(share @ (noise + 0.3 * np.eye(5)) @ share))
    assert (found.before_takes, found.after_takes, found.expected_cents) == (2, 3, 9.0)


def test_positions_of_both_passes_come_fretted_first_by_capo_and_fret(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    both = [
        Position(1, Stop.PRESS, 2),
        Position(1, Stop.FRET, 3, capo=2),
        Position(1, Stop.PRESS, 1),
        Position(1, Stop.FRET, 5),
        Position(1, Stop.FRET, 1),
    ]
    places = (
        [(0, p) for p in both]
        + [(1, p) for p in both]
        + [(1, Position(1, Stop.FRET, 12)), (0, Position(1, Stop.FRET, 7))]
    )
    given = posterior([PRESS_1], [0] * len(places), places=places)
    monkeypatch.setattr(repeats, "_moved_by_slot", lambda *_: np.zeros(1))
    found = repeats.position_changes(given)[1]
    assert [(c.position.stop, c.position.capo, c.position.fret) for c in found] == [
        (Stop.FRET, 0, 1),
        (Stop.FRET, 0, 5),
        (Stop.FRET, 2, 3),
        (Stop.PRESS, 0, 1),
        (Stop.PRESS, 0, 2),
    ]


@pytest.mark.parametrize(
    ("mean_sd", "change"),
    [(-2.54, Change.UNSURE), (-2.61, Change.LOWER), (2.54, Change.UNSURE), (2.61, Change.HIGHER)],
)
def test_a_change_is_called_one_with_995_in_a_thousand(mean_sd: float, change: Change) -> None:
    # One-sided 99.5 %: 2.576 sd.
    assert change_of(Belief.normal(mean_sd * 0.05, 0.05), tolerance_mm=0.02) is change


@pytest.mark.parametrize(("sd", "change"), [(0.0595, Change.SAME), (0.0625, Change.UNSURE)])
def test_the_same_is_nine_in_ten_within_the_tolerance(sd: float, change: Change) -> None:
    assert stats.norm.cdf(0.1 / 0.0608) - stats.norm.cdf(-0.1 / 0.0608) == pytest.approx(0.9, abs=1e-3)
    assert change_of(Belief.normal(0.0, sd), tolerance_mm=0.1) is change
    off = Belief.normal(0.06, 0.03)  # 91 % within, 90.8 % of it below the upper end
    assert change_of(off, tolerance_mm=0.1) is Change.SAME
    assert change_of(Belief.normal(0.065, 0.03), tolerance_mm=0.1) is Change.UNSURE


@pytest.mark.parametrize(
    ("heard_mm", "match"),
    [
        (0.30, Match.AGREES),
        (0.115, Match.AGREES),
        (0.095, Match.LESS),
        (0.285 + 0.0, Match.AGREES),
        (0.31, Match.MORE),
    ],
)
def test_told_and_heard_agree_within_two_standard_deviations(heard_mm: float, match: Match) -> None:
    # What was told is known to 0.02 mm and a tenth of it together, what was heard to 0.04 mm.
    limit = 2 * math.hypot(0.04, 0.02, 0.1 * 0.2)
    assert limit == pytest.approx(0.098, abs=1e-3)
    expected = Match.AGREES if abs(heard_mm - 0.2) <= limit else Match.LESS if heard_mm < 0.2 else Match.MORE
    assert match_of(Belief.normal(-heard_mm, 0.04), Change.LOWER, 0.2) is expected
    assert match is expected or abs(abs(heard_mm - 0.2) - limit) < 0.003


def test_nothing_told_matches_nothing_heard() -> None:
    for told in (None, 0.0):
        for kind, match in (
            (Change.LOWER, Match.UNTOLD),
            (Change.HIGHER, Match.UNTOLD),
            (Change.SAME, Match.NOT_TOLD),
            (Change.UNSURE, Match.NOT_TOLD),
        ):
            assert match_of(Belief.normal(-0.1, 0.02), kind, told) is match


def test_amounts_told_of_one_string_add_up() -> None:
    told = [Removal(1, 0.1), Removal(2, 0.05), Removal(1, 0.02)]
    assert comparison._told_mm(told) == {1: pytest.approx(0.12), 2: pytest.approx(0.05)}


def settings(action: Length | None) -> SimpleNamespace:
    return SimpleNamespace(settings=SimpleNamespace(instrument=SimpleNamespace(action_12=action)))


@pytest.mark.parametrize(("cents", "named"), [(9.0, False), (11.0, True), (-11.0, True)])
def test_a_string_tuned_otherwise_is_named(cents: float, named: bool) -> None:
    effects = (
        SimpleNamespace(tuned_log={1: 0.0, 2: 0.1}),
        SimpleNamespace(tuned_log={1: cents * math.log(2) / 1200, 2: 0.1}),
    )
    problem = SimpleNamespace(effects=effects, strings=(1, 2))
    found = comparison._assumptions(settings(None), settings(None), problem)
    retuned = [a.strings for a in found if a.kind is AssumptionKind.RETUNED]
    assert retuned == ([(1,)] if named else [])
    kinds = [a.kind for a in found]
    assert kinds[:2] == [AssumptionKind.SAME_INSTRUMENT, AssumptionKind.SMALL_CHANGES]


def test_an_action_stated_anew_is_named() -> None:
    problem = SimpleNamespace(effects=(SimpleNamespace(tuned_log={}),) * 2, strings=())
    first, second = settings(Length(2.0, 0.1)), settings(Length(1.8, 0.1))
    found = comparison._assumptions(first, second, problem)
    assert [a.lengths_mm for a in found if a.kind is AssumptionKind.ACTION_RESTATED] == [(2.0, 1.8)]
    for one, other in ((first, first), (settings(None), first), (first, settings(None))):
        kinds = [a.kind for a in comparison._assumptions(one, other, problem)]
        assert AssumptionKind.ACTION_RESTATED not in kinds


def test_what_makes_a_comparison_weak() -> None:
    def kinds(pressed: set[int], settled: bool) -> list[tuple[WeaknessKind, tuple[int, ...]]]:
        given = SimpleNamespace(
            problem=SimpleNamespace(strings=(1, 2), pressed=pressed),
            solution=SimpleNamespace(settled=settled),
        )
        return [(w.kind, w.strings) for w in comparison._weaknesses(given)]

    assert kinds({1, 2}, True) == []
    assert kinds({2}, True) == [(WeaknessKind.NO_PRESSES, (1,))]
    assert kinds({1, 2}, False) == [(WeaknessKind.NOT_SETTLED, ())]


def test_a_change_is_minus_what_came_off() -> None:
    names = ("slot 1", "removed 1 after 0", "removed 2 after 0")
    problem = SimpleNamespace(unknowns=SimpleNamespace(names=names, column=names.index))
    assert comparison._change_row(problem, 2).tolist() == [0.0, 0.0, -0.5]


@pytest.mark.parametrize(("pressed", "stop"), [({1}, Stop.PRESS), (set(), Stop.FRET)])
def test_the_hands_scatter_is_that_of_the_presses_where_there_are_any(
    monkeypatch: pytest.MonkeyPatch, pressed: set[int], stop: Stop
) -> None:
    def roughness(of: Stop) -> float:
        return {Stop.PRESS: 2.0, Stop.FRET: 3.0}[of]

    solved = SimpleNamespace(roughness=roughness)
    instrument = SimpleNamespace(scale_mm=650.0, strings=(), action_12=None)
    one = SimpleNamespace(settings=SimpleNamespace(instrument=instrument, removed=()), survey=None)
    monkeypatch.setattr(comparison, "_problem", lambda *_: SimpleNamespace(pressed=pressed))
    monkeypatch.setattr(comparison, "solve_problem", lambda _: solved)
    for name in ("_beliefs", "position_changes", "repeats", "_assumptions", "_weaknesses"):
        monkeypatch.setattr(
            comparison, name, lambda *_, **__: SimpleNamespace(before={}, after={}, change={})
        )
    monkeypatch.setattr(comparison, "_fit_of", lambda *_, **__: None)
    found = comparison.compare_measurements(one, one)
    assert found.scatter == roughness(stop)


def test_a_passs_fit_takes_heights_and_notes_of_both_passes(monkeypatch: pytest.MonkeyPatch) -> None:
    from helpers.fits import Made, make_fit

    own = make_fit([Made(0.5), Made(0.6), Made(0.7)])
    asked: dict[str, object] = {}
    curves = SimpleNamespace(now_cents=np.ones(12), target_cents=2 * np.ones(12), touch_cents=3 * np.ones(12))

    def necks(*_: object, **given: object) -> dict[int, SimpleNamespace]:
        asked.update(given)
        return {1: curves, 2: curves}

    monkeypatch.setattr(comparison, "neck_curves", necks)
    problem = SimpleNamespace(
        strings=(1, 2),
        unknowns=None,
        effects=("first", "second"),
        coordinate=lambda n, *_, index: (n + 10 * index, None),
    )
    solved = SimpleNamespace(problem=problem, solution=SimpleNamespace(z=np.zeros(1), covariance=np.eye(1)))
    heights = {1: Belief.normal(0.31, 0.02), 2: Belief.normal(0.32, 0.02)}
    measurement = SimpleNamespace(fit=own, settings=None)
    found = comparison._fit_of(measurement, solved, 1, heights=heights)
    assert found is not None
    assert [round(s.height_mm.median, 6) for s in found.strings] == [
        0.31,
        0.32,
        0.7,
    ]  # not heard twice: its own
    assert found.strings[0].neck_now_cents.tolist() == [1.0] * 12
    assert found.strings[1].neck_target_cents.tolist() == [2.0] * 12
    assert found.strings[1].neck_touch_cents.tolist() == [3.0] * 12
    assert found.strings[2] is own.strings[2]
    assert asked["index"] == 0  # the touch of the pass before in both
    assert asked["heights_mm"] == {1: 11, 2: 12}
    assert comparison._fit_of(SimpleNamespace(fit=None), solved, 1, heights=heights) is None
