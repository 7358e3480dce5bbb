"""Where plucks begin and end: steps and decays of known level, at both sides of every limit."""

from __future__ import annotations

import numpy as np
import pytest

from pitchcheck.clip import Clip
from pitchcheck.pitch.plucks import _end, find_plucks, levels

RATE_HZ = 8000.0
STEP_S = 0.005  # plucks are found to this
NEAR_S = 3 * STEP_S  # levels are smoothed over three steps


def sound(*parts: tuple[float, float], rate_hz: float = RATE_HZ) -> Clip:
    """Square waves of given seconds and levels one after the other: their rms is their level."""
    level = np.concatenate([np.full(round(s * rate_hz), a) for s, a in parts])
    sign = np.where(np.arange(level.size) % 2, 1.0, -1.0)
    return Clip(level * sign, rate_hz)


def decay(seconds: float, *, db: float, start: float = 0.5) -> list[tuple[float, float]]:
    """Levels that fall evenly by so many dB, in steps of 5 ms."""
    count = round(seconds / STEP_S)
    return [(STEP_S, start * 10 ** (-db * i / count / 20)) for i in range(count)]


def test_levels_are_root_mean_squares_about_the_mean() -> None:
    rng = np.random.default_rng(1)
    samples = 0.3 + rng.normal(size=1000)
    found = levels(Clip(samples, 1000.0), step_s=0.1)
    assert found == pytest.approx(
        [np.sqrt(np.mean((p - samples.mean()) ** 2)) for p in samples.reshape(10, 100)]
    )
    assert levels(Clip(samples[:3], 1000.0)).size == 0  # not one whole step
    assert levels(Clip(samples, 1000.0)).size == 200


def test_a_note_begins_with_its_rise_and_ends_with_the_room() -> None:
    (pluck,) = find_plucks(sound((0.3, 0.001), (0.8, 0.5), (0.4, 0.001)))
    assert pluck.onset_s == pytest.approx(0.3, abs=NEAR_S)
    assert pluck.end_s == pytest.approx(1.1, abs=NEAR_S)


@pytest.mark.parametrize(("rise_db", "taken"), [(9.2, True), (6.8, False)])
def test_a_pluck_is_a_rise_of_so_many_decibels(rise_db: float, taken: bool) -> None:
    quiet = 0.1 * 10 ** (-rise_db / 20)
    # the first note of a clip that begins within it counts as plucked at its begin
    plucks = find_plucks(sound((0.5, quiet), (0.5, 0.1)))
    assert any(abs(p.onset_s - 0.5) < NEAR_S for p in plucks) is taken


@pytest.mark.parametrize(("within_s", "taken"), [(0.036, True), (0.06, False)])
def test_a_pluck_rises_within_a_moment(within_s: float, taken: bool) -> None:
    # 10.5 dB in all; of it more than 8 dB within 40 ms, or less. The start lies more than 10 dB below the
    # level that counts as being within a note.
    count = round(within_s * 1000)
    ramp = [(0.001, 0.02 * 10 ** (10.5 * (i + 1) / count / 20)) for i in range(count)]
    plucks = find_plucks(sound((0.5, 0.02), *ramp, (0.3, 0.067), (0.4, 0.0001), (0.5, 0.45)))
    assert any(0.4 < p.onset_s < 0.6 for p in plucks) is taken


@pytest.mark.parametrize(("below_db", "taken"), [(28.0, True), (32.0, False)])
def test_handling_noise_beside_a_loud_note_is_no_pluck(below_db: float, taken: bool) -> None:
    quiet = 0.5 * 10 ** (-below_db / 20)
    plucks = find_plucks(sound((0.3, 1e-4), (0.4, quiet), (0.3, 1e-4), (0.8, 0.5), (0.2, 1e-4)))
    assert any(abs(p.onset_s - 0.3) < NEAR_S for p in plucks) is taken


@pytest.mark.parametrize(("apart_s", "count"), [(0.19, 1), (0.235, 2)])
def test_plucks_close_together_are_one(apart_s: float, count: int) -> None:
    # within 0.25 s of the first; each rise is still one for the 40 ms that are looked back
    first = (apart_s - 0.06, 0.1), (0.06, 0.01)
    assert len(find_plucks(sound((0.3, 1e-4), *first, (0.8, 0.5), (0.2, 1e-4)))) == count


@pytest.mark.parametrize(("above_db", "ended"), [(2.0, True), (4.0, False)])
def test_a_note_ends_near_the_floor_of_the_room(above_db: float, ended: bool) -> None:
    room = 0.01
    after = room * 10 ** (above_db / 20)
    (pluck,) = find_plucks(sound((0.3, room), (0.5, 0.5), (0.5, after)))
    assert (pluck.end_s < 1.0) is ended


@pytest.mark.parametrize(("before_s", "heard"), [(0.06, True), (0.01, False)])
def test_a_room_heard_for_a_moment_only_has_no_level(before_s: float, heard: bool) -> None:
    (pluck,) = find_plucks(sound((before_s, 0.01), (0.5, 0.5), (0.5, 0.01)))
    assert (pluck.end_s < 0.8) is heard


@pytest.mark.parametrize(("gone_db", "ended"), [(43.0, False), (47.0, True)])
def test_a_note_ends_far_below_its_peak(gone_db: float, ended: bool) -> None:
    (pluck,) = find_plucks(sound((0.1, 1e-7), (0.5, 0.5), (0.5, 0.5 * 10 ** (-gone_db / 20))))
    assert (pluck.end_s < 0.8) is ended


@pytest.mark.parametrize(("gap_s", "ended"), [(0.05, True), (0.02, False)])
def test_a_short_gap_does_not_end_a_note(gap_s: float, ended: bool) -> None:
    faint, gone = 0.5 * 10 ** (-42 / 20), 0.5 * 10 ** (-49 / 20)
    (pluck,) = find_plucks(sound((0.1, 1e-7), (0.5, 0.5), (0.1, faint), (gap_s, gone), (0.2, faint)))
    assert (pluck.end_s < 0.75) is ended


@pytest.mark.parametrize(("swell_s", "whole"), [(0.36, True), (0.46, False)])
def test_the_peak_of_a_note_is_sought_near_its_begin(swell_s: float, whole: bool) -> None:
    # It swells by 20 dB after a moment that is more than 45 dB below the swell: where the swell counts
    # as the note's peak, its end is sought after it.
    quiet, gap = 0.5 * 10 ** (-20 / 20), 0.5 * 10 ** (-70 / 20)
    smooth = np.repeat([quiet, gap, 0.5, gap], [round((swell_s - 0.1) / STEP_S), 20, 40, 20])
    assert (_end(smooth, 0.0) > (swell_s + 0.1) / STEP_S) is whole


@pytest.mark.parametrize(("length_s", "taken"), [(0.11, True), (0.06, False)])
def test_a_bang_carries_no_note(length_s: float, taken: bool) -> None:
    plucks = find_plucks(sound((0.3, 1e-7), (length_s, 0.5), (0.5, 1e-7)))
    assert bool(plucks) is taken


@pytest.mark.parametrize(("seconds", "taken"), [(0.1, True), (0.08, False)])
def test_a_clip_too_short_for_a_note(seconds: float, taken: bool) -> None:
    assert bool(find_plucks(sound((seconds, 0.5)))) is taken


@pytest.mark.parametrize(("level", "taken"), [(1.2e-5, True), (0.8e-5, False)])
def test_dither_is_silence(level: float, taken: bool) -> None:
    assert bool(find_plucks(sound((0.3, 1e-9), (0.5, level)))) is taken


@pytest.mark.parametrize(("share", "within"), [(0.35, True), (0.25, False)])
def test_a_clip_that_begins_inside_a_note(share: float, within: bool) -> None:
    plucks = find_plucks(sound((0.6, 0.5 * share), (0.3, 1e-7), (0.5, 0.5)))
    assert (plucks[0].onset_s == 0.0) is within


def test_a_note_lasts_until_the_next_begins() -> None:
    first, second = find_plucks(sound((0.2, 1e-6), *decay(0.6, db=20.0), (0.5, 0.5), (0.2, 1e-7)))
    assert first.end_s == second.onset_s == pytest.approx(0.8, abs=NEAR_S)
    assert second.end_s == pytest.approx(1.3, abs=NEAR_S)


def test_a_note_that_the_clip_cuts_off_lasts_to_its_end() -> None:
    cut = sound((0.2, 1e-6), (0.5033, 0.5))
    (pluck,) = find_plucks(cut)
    assert pluck.end_s == cut.duration_s
