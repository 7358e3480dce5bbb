"""The imaginary instrument and its player: limits that are known, and what each kind of scatter does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from helpers.instruments import KINDS, READING_CENTS, random_instrument
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.errors import BadValue
from pitchcheck.simulate.instrument import inharmonicity
from pitchcheck.simulate.player import Hand, Played, play
from pitchcheck.simulate.scenario import HEIGHTS_MM, HIGH, demo_settings, demo_truth
from pitchcheck.simulate.voice import glide_cents
from pitchcheck.takes import Position, Stop

STILL = Hand(force_sd=0.0, rod_sd_mm=0.0, side_sd_mm=0.0, slide_sd=0.0, drift_cents=0.0)
PRESS_1 = Position(1, Stop.PRESS, 1)


def _play(positions: list[Position], *, hand: Hand = STILL, seed: int = 1) -> tuple[Played, ...]:
    return play(np.random.default_rng(seed), truth=demo_truth(), hand=hand, positions=positions)


def test_a_still_hand_plays_the_same_note_each_time() -> None:
    first, opened, second = _play([PRESS_1, Position(1, Stop.OPEN), PRESS_1])
    assert first.hz == second.hz
    assert opened.cents == 0.0


def test_pitch_is_open_pitch_fret_and_error() -> None:
    """Equal temperament: fret n is 100 n cents above the open string; E4 is 329.628 Hz (ISO 16, A4 = 440)."""
    opened, pressed = _play([Position(1, Stop.OPEN), PRESS_1])
    tuned = demo_truth().string(1).tuned_cents
    assert 1200 * np.log2(opened.hz / 329.628) == pytest.approx(tuned, abs=0.003)  # table: 3 decimals
    assert 1200 * np.log2(pressed.hz / opened.hz) - 100 == pytest.approx(pressed.cents, abs=1e-9)


def test_side_push_only_sharpens_and_by_the_polyline() -> None:
    """0.3 mm sideways in the middle of a 36 mm space: extra path 2 x 0.3^2 / 35.92 mm."""
    ideal = _play([PRESS_1])[0].cents
    pushed = [_play([PRESS_1], hand=replace(STILL, side_sd_mm=0.3), seed=s)[0].cents for s in range(300)]
    string = demo_truth().string(1)
    space_mm = 640 * (1 - 2 ** (-1 / 12))
    mean_cents = 600 / np.log(2) * (string.stretch_factor + 1) * 2 * 0.3**2 / space_mm / 640
    assert min(pushed) >= ideal
    # mean of a squared normal; 300 draws of it scatter by 8 %
    assert np.mean(pushed) - ideal == pytest.approx(mean_cents, rel=0.25)


def test_drift_is_a_walk_of_the_open_string() -> None:
    many = [Position(2, Stop.OPEN)] * 2000
    cents = 1200 * np.log2([p.hz for p in _play(many, hand=replace(STILL, drift_cents=0.2))])
    assert np.std(np.diff(cents)) == pytest.approx(0.2, rel=0.06)  # 2000 steps: 1.6 % scatter


def test_stiffness_grows_with_the_square_of_a_shorter_string() -> None:
    """B ~ 1 / L^2 (Fletcher 1964): four times as large an octave up, the saddle's extra length apart."""
    truth = demo_truth()
    truth = replace(truth, strings=tuple(replace(s, saddle_mm=0.0) for s in truth.strings))
    ratio = inharmonicity(truth, 3, fret=12, cents=0.0) / inharmonicity(truth, 3, fret=None, cents=0.0)
    assert ratio == pytest.approx(4.0, rel=1e-9)


@pytest.mark.parametrize(
    ("stretch_factor", "pluck_mm", "cents"), [(48, 1, 0.15), (144, 3, 4.2), (408, 2, 5.3)]
)
def test_glide_of_a_pluck(stretch_factor: float, pluck_mm: float, cents: float) -> None:
    """Worked values for a 647.7 mm string plucked at a fifth, to the digits they are given with."""
    got = glide_cents(
        stretch_factor=stretch_factor, pluck_mm=pluck_mm, open_length_mm=647.7, length_mm=647.7, place=0.2
    )
    assert got == pytest.approx(cents, rel=0.04)


def test_the_scenario_has_two_high_slots() -> None:
    instrument = demo_settings().instrument
    assert {s.number for s in instrument.strings} == set(HEIGHTS_MM)
    # usual clearance over fret 1, 0.006 to 0.010 in (common practice, no source), over 0.4856 of the height
    targets = {n: (0.006 + 0.004 * (n - 1) / 5) * 25.4 / 0.4856 for n in HEIGHTS_MM}
    assert {n for n, h in HEIGHTS_MM.items() if h > targets[n] + 0.1} == set(HIGH)
    with pytest.raises(BadValue, match="string 7"):
        demo_truth().string(7)


@pytest.mark.parametrize("kind", KINDS)
def test_random_instruments_for_the_fit(kind: str) -> None:
    settings, takes, truth = random_instrument(kind, np.random.default_rng(4), Thoroughness.FULL)
    numbers = [s.number for s in settings.instrument.strings]
    assert [t.position for t in takes] == list(survey_positions(numbers, thoroughness=Thoroughness.FULL))
    off = [1200 * np.log2(t.hz / p.hz) for t, p in zip(takes, truth.takes, strict=True) if t.hz]
    opens = [o for o, t in zip(off, takes, strict=True) if t.position.stop is Stop.OPEN]
    assert np.std(opens) == pytest.approx(READING_CENTS, rel=0.5)  # 28 to 42 draws: 13 % scatter
    again = random_instrument(kind, np.random.default_rng(4), Thoroughness.FULL)
    assert again[1] == takes
    presses = [p.cents for p in truth.takes if p.position.stop is Stop.PRESS]
    assert 0 < min(presses) < max(presses) < 200
