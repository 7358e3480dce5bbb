"""The coarse note from peaks alone: shares, tolls and limits by hand, at both sides of every limit."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from pitchcheck.pitch import coarse
from pitchcheck.pitch.coarse import (
    Series,
    _follow,
    _Ladder,
    _Line,
    _merit,
    candidates,
    find_series,
    match_series,
    promising,
)
from pitchcheck.pitch.peaks import Peaks

WIDTH_HZ = 1e-9  # peaks as sharp as can be: what is allowed is then the relative distance alone


def stiff(k: np.ndarray, hz: float, inharmonicity: float = 0.0) -> np.ndarray:
    """Partials of a stiff string: Fletcher 1964."""
    return np.asarray(k * hz * np.sqrt(1 + inharmonicity * k**2))


def peaks(hz: np.ndarray, amplitude: np.ndarray | float = 1.0, *, width_hz: float = WIDTH_HZ) -> Peaks:
    order = np.argsort(hz)
    level = np.broadcast_to(amplitude, hz.shape)
    return Peaks(np.asarray(hz, dtype=float)[order], np.asarray(level, dtype=float)[order], width_hz)


@pytest.mark.parametrize("inharmonicity", [0.0, 5e-5, 1.2e-3])
@pytest.mark.parametrize("off", [-0.006, 0.0, 0.006])
def test_a_series_is_followed_from_a_rough_pitch(off: float, inharmonicity: float) -> None:
    k = np.arange(1.0, 21.0)
    series = match_series(peaks(stiff(k, 110.0, inharmonicity), 1 / k), 110.0 * (1 + off))
    assert series.hz == pytest.approx(110.0, rel=1e-6)
    assert series.inharmonicity == pytest.approx(inharmonicity, rel=1e-4, abs=1e-9)
    assert series.matched.all()
    assert series.score == pytest.approx(1.0)
    assert series.highest == 20
    # what moves the highest partial by 0.8 %: k^2 dB / 2
    assert 0.5 * series.highest**2 * series.inharmonicity_sd == pytest.approx(0.008)


def test_the_score_is_the_share_of_the_compressed_amplitudes() -> None:
    mine, strange = np.arange(1.0, 9.0), np.array([150.0, 270.0, 590.0])
    amplitude = np.concatenate([4.0 / mine, [1.0, 9.0, 0.25]])
    found = peaks(np.concatenate([100.0 * mine, strange]), amplitude)
    total = np.sum(np.sqrt(4.0 / mine))
    assert match_series(found, 100.0).score == pytest.approx(total / (total + 1.0 + 3.0 + 0.5))


@pytest.mark.parametrize(
    ("off", "matched"), [(0.0072, True), (0.0088, False), (-0.0072, True), (-0.0088, False)]
)
def test_a_partial_belongs_that_lies_within_less_than_a_percent(off: float, matched: bool) -> None:
    k = np.arange(1.0, 9.0)
    hz = 100.0 * k
    hz[7] *= 1 + off
    assert bool(match_series(peaks(hz), 100.0).matched[7]) is matched


@pytest.mark.parametrize(("off", "matched"), [(0.018, True), (0.022, False)])
def test_the_first_partials_may_lie_further_off(off: float, matched: bool) -> None:
    # Before the stiffness is known; a single partial lies on its own law.
    series = match_series(peaks(np.array([100.0 * (1 + off)])), 100.0)
    assert bool(series.matched[0]) is matched


def test_half_of_a_peaks_width_is_allowed_beside() -> None:
    k = np.arange(1.0, 9.0)
    for off, matched in ((0.008 * 800 + 1.8, True), (0.008 * 800 + 2.2, False)):
        hz = 100.0 * k
        hz[7] += off
        assert bool(match_series(peaks(hz, width_hz=4.0), 100.0).matched[7]) is matched
    # but never more than about a third of the way to the next partial
    for off, matched in ((0.34, True), (0.36, False)):
        series = match_series(peaks(np.array([100.0 * (1 + off)]), width_hz=200.0), 100.0)
        assert bool(series.matched[0]) is matched


@pytest.mark.parametrize(("silent", "reached"), [(8, True), (9, False)])
def test_so_many_partials_in_a_row_may_be_silent(silent: int, reached: bool) -> None:
    k = np.array([1.0, 2.0, 3.0, 4.0, 5.0 + silent])
    assert bool(match_series(peaks(100.0 * k), 100.0).matched[-1]) is reached


@pytest.mark.parametrize(("highest", "reached"), [(40, True), (41, False)])
def test_forty_partials_are_matched_at_most(highest: int, reached: bool) -> None:
    k = np.array([*range(1, 37), highest], dtype=float)
    assert bool(match_series(peaks(100.0 * k), 100.0).matched[-1]) is reached


@pytest.mark.parametrize(("inharmonicity", "limited"), [(3.6e-3, False), (4.6e-3, True), (-1e-4, True)])
def test_stiffness_of_a_string_is_bounded(inharmonicity: float, limited: bool) -> None:
    line = _Line(100.0)
    for k in range(1, 6):
        line.add(k, k * 100.0 * math.sqrt(1 + inharmonicity * k * k), strength=1.0)
    found = line.fit()[1]
    expected = min(max(inharmonicity, 0.0), 4e-3)
    assert found == pytest.approx(expected, rel=1e-6, abs=1e-12)
    assert limited is (found != pytest.approx(inharmonicity))


def test_a_line_is_the_weighted_least_squares_of_its_points() -> None:
    rng = np.random.default_rng(1)
    k = np.array([1.0, 2.0, 3.0, 5.0, 7.0])
    hz = stiff(k, 101.0, 4e-4) * (1 + 2e-4 * rng.normal(size=5))
    strength = rng.uniform(0.5, 2.0, 5)
    line = _Line(100.0)
    for one, heard, weight in zip(k, hz, strength, strict=True):
        line.add(int(one), float(heard), strength=float(weight))
    weight = np.sqrt(strength * k**2)  # (f_k / k)^2 = f^2 + f^2 B k^2, weights growing with k^2
    design = np.stack([np.ones(5), k**2], axis=1)
    level, slope = np.linalg.lstsq(design * weight[:, None], (hz / k) ** 2 * weight, rcond=None)[0]
    assert line.fit() == pytest.approx((math.sqrt(level), slope / level), rel=1e-6)


def test_two_points_give_no_stiffness_and_the_mean_pitch() -> None:
    line = _Line(100.0)
    line.add(1, 101.0, strength=1.0)
    line.add(2, 204.0, strength=2.0)
    assert line.fit() == (pytest.approx(math.sqrt((101.0**2 + 8 * 102.0**2) / 9)), 0.0)


@pytest.mark.parametrize(("off", "kept"), [(0.055, True), (0.065, False), (-0.055, True), (-0.065, False)])
def test_a_fit_that_has_gone_astray_is_not_believed(off: float, kept: bool) -> None:
    line = _Line(100.0)
    for k in range(1, 6):
        line.add(k, 100.0 * k * (1 + off), strength=1.0)
    assert line.fit() == pytest.approx((100.0 * (1 + off) if kept else 100.0, 0.0), abs=1e-9)


def nearest(hz: list[float], weight: list[float], at: float, *, loose: float, taken: set[int]) -> int | None:
    ladder = _Ladder(peaks(np.array(hz)), np.array(weight))
    return ladder.nearest(at, loose=loose, taken=taken)


def test_of_two_peaks_near_by_the_stronger_is_taken() -> None:
    # The strongest may lie further off by 2 % of the pitch than a faint one; others by so much less.
    for further, strength, chosen in ((1.9, 1.0, 1), (2.1, 1.0, 0), (0.9, 0.5, 1), (1.1, 0.5, 0)):
        heard = [99.5, 100.5 + further, 500.0]
        assert nearest(heard, [1e-9, strength, 1.0], 100.0, loose=5.0, taken=set()) == chosen
    # as many peaks before as behind
    assert nearest([98.0, 99.5], [1.0, 1e-9], 100.0, loose=5.0, taken=set()) == 0
    assert nearest([97.0, 99.5], [1.0, 1e-9], 100.0, loose=5.0, taken=set()) == 1


def test_a_peak_is_taken_once_and_within_what_is_allowed() -> None:
    heard, weight = [90.0, 99.0, 100.5, 110.0], [1.0, 1.0, 1.0, 1.0]
    assert nearest(heard, weight, 100.0, loose=2.0, taken=set()) == 2
    assert nearest(heard, weight, 100.0, loose=2.0, taken={2}) == 1
    assert nearest(heard, weight, 100.0, loose=2.0, taken={1}) == 2
    assert nearest(heard, weight, 100.0, loose=2.0, taken={1, 2}) is None
    assert nearest(heard, weight, 100.0, loose=9.0, taken={1, 2}) is None
    assert nearest(heard, weight, 100.0, loose=10.5, taken={1, 2}) in (0, 3)
    assert nearest(heard, weight, 80.0, loose=5.0, taken=set()) is None
    assert nearest(heard, weight, 120.0, loose=5.0, taken=set()) is None
    # the stronger one is not taken where it lies further off than allowed
    assert nearest([99.0, 102.0], [1e-9, 1.0], 100.0, loose=1.5, taken=set()) is None


def test_candidates_put_a_strong_peak_on_a_low_partial() -> None:
    rng = np.random.default_rng(2)
    heard = peaks(np.sort(rng.uniform(60.0, 3000.0, 14)), rng.uniform(0.1, 1.0, 14))
    tops = {*heard.hz[np.argsort(-heard.amplitude)[:8]], *heard.hz[:4]}
    strong = sorted(heard.hz[np.argsort(-heard.amplitude)[:8]])
    every = [hz / n for hz in tops for n in range(1, 9)]
    every += [b - a for a, b in itertools.pairwise(strong)]
    every = sorted(hz for hz in every if 24.0 < hz < 1700.0)
    kept = candidates(heard)
    apart = np.diff(np.log(every))
    assert kept == pytest.approx([every[0], *np.array(every[1:])[apart > 0.003]])


@pytest.mark.parametrize(("hz", "counts"), [(23.0, False), (25.5, True), (1650.0, True), (1750.0, False)])
def test_notes_lie_between_the_lowest_bass_and_the_highest_mandolin(hz: float, counts: bool) -> None:
    assert bool(np.any(np.abs(candidates(peaks(np.array([hz]))) / hz - 1) < 1e-9)) is counts


def test_no_peaks_no_candidates_no_series() -> None:
    assert find_series(peaks(np.zeros(0))) == ()
    assert find_series(peaks(np.array([5.0]))) == ()
    assert candidates(peaks(np.array([20.0]))).size == 0


@pytest.mark.parametrize("inharmonicity", [0.0, 1e-4, 6e-4])
@pytest.mark.parametrize("hz", [41.2, 110.0, 659.3])
def test_the_true_note_is_among_those_followed_up(hz: float, inharmonicity: float) -> None:
    k = np.arange(1.0, min(21, int(5500 / hz)))
    rng = np.random.default_rng(3)
    strange = rng.uniform(50.0, 4000.0, 15)
    heard = peaks(
        np.concatenate([stiff(k, hz, inharmonicity), strange]),
        np.concatenate([1 / k, np.full(15, 0.1)]),
        width_hz=4.0,
    )
    notes = candidates(heard)
    assert notes.size > 20
    first = promising(heard, notes)
    assert first.size == 20
    assert np.min(np.abs(np.log(first / hz))) < 0.005
    few = notes[:20]
    assert promising(heard, few) is few


def merit(numbers: list[float], score: float, *, inharmonicity: float = 0.0) -> float:
    hz = np.array([n * 100.0 * math.sqrt(1 + inharmonicity * n * n) for n in numbers])
    series = Series(100.0, inharmonicity, score, np.ones(hz.size, dtype=bool), int(max(numbers)))
    return _merit(series, peaks(hz))


def test_silent_partials_cost_merit() -> None:
    # Of the partials up to one and a half times the middle one a share is there; 0.35 may be missing free.
    assert merit([1, 2, 3, 4], 0.8) == pytest.approx(0.8)  # 3 of 3.75
    assert merit([2, 4, 6], 0.8) == pytest.approx(0.8 * math.sqrt(0.35 + 3 / 6))
    assert merit([3, 6, 9, 12], 0.9) == pytest.approx(0.9 * math.sqrt(0.35 + 3 / 11.25))
    assert merit([5], 0.5) == pytest.approx(0.5 * math.sqrt(0.35 + 1 / 7.5))
    assert merit([1], 0.5) == pytest.approx(0.5)
    assert merit([4, 20, 30], 0.8) == pytest.approx(0.8 * math.sqrt(0.35 + 3 / 30))
    assert merit([4, 16], 0.8, inharmonicity=5e-4) == pytest.approx(0.8 * math.sqrt(0.35 + 1 / 15))
    nothing = Series(100.0, 0.0, 0.5, np.zeros(1, dtype=bool), 1)
    assert _merit(nothing, peaks(np.array([100.0]))) == 0.0


def test_series_are_ranked_by_merit_distinct_and_near_the_best() -> None:
    k = np.arange(1.0, 11.0)
    heard = peaks(np.concatenate([110.0 * k, 139.0 * k]), np.concatenate([1 / k, 0.3 / k]))
    found = find_series(heard)
    assert 2 <= len(found) <= 6
    assert found[0].hz == pytest.approx(110.0, rel=1e-3)
    assert any(s.hz == pytest.approx(139.0, rel=1e-3) for s in found)
    best = max(s.score for s in found)
    merits = [_merit(s, heard) for s in found]
    assert merits == sorted(merits, reverse=True)
    for i, one in enumerate(found):
        assert one.score > 0.4 * best
        assert all(abs(math.log(one.hz / other.hz)) > 0.01 for other in found[:i])


def test_at_most_six_series_of_which_the_poor_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    def give(scores: list[float], apart: float) -> tuple[Series, ...]:
        made = {
            100.0 * math.exp(apart * i): Series(100.0 * math.exp(apart * i), 0.0, score, np.ones(1, bool), 1)
            for i, score in enumerate(scores)
        }
        monkeypatch.setattr(coarse, "promising", lambda *_: np.array(list(made)))
        monkeypatch.setattr(coarse, "_follow", lambda _, hz: made[hz])
        monkeypatch.setattr(coarse, "_merit", lambda series, _: series.score)
        return find_series(peaks(np.array([100.0])))

    assert [s.score for s in give([1.0, 0.45, 0.35, 0.9], 0.1)] == [1.0, 0.9, 0.45]
    assert len(give([1.0 - 0.01 * i for i in range(9)], 0.1)) == 6
    assert len(give([1.0, 0.9], 0.0088)) == 1  # within 1 % it is the same note
    assert len(give([1.0, 0.9], 0.0112)) == 2
    assert give([], 0.1) == ()


def test_a_series_stops_where_the_peaks_stop() -> None:
    series = _follow(_Ladder(peaks(np.array([100.0, 200.0])), np.ones(2)), 100.0)
    assert (series.highest, series.matched.tolist()) == (2, [True, True])
