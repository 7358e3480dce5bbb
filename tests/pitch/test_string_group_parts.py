"""Takes of one string together: which are compared, over what, and with what beliefs."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from helpers.notes import RATE_HZ, Strung, make_note
from pitchcheck.clip import Clip
from pitchcheck.pitch import string_group as module
from pitchcheck.pitch.partial_tracking import track_note
from pitchcheck.pitch.read_note import read_segment, reading_of
from pitchcheck.pitch.reading import Reading
from pitchcheck.pitch.string_group import (
    _distinct,
    _later,
    _Member,
    _together,
    _track,
    _trials,
    agree,
    read_group,
)
from pitchcheck.pitch.tracks import take_tracks

CENT = math.log(2) / 1200
HZ = 146.8


@cache
def member(
    index: int = 0,
    ratio: float = 1.0,
    *,
    inharmonicity: float = 5e-5,
    scatter_cents: float = 1.0,
    glide_cents: float = 0.0,
    seconds: float = 1.2,
) -> _Member:
    rng = np.random.default_rng([3, index])
    strung = Strung(
        HZ * ratio,
        inharmonicity=inharmonicity * ratio**2,
        seconds=seconds,
        scatter_cents=scatter_cents,
        glide_cents=glide_cents,
    )
    part = make_note(rng, strung).clip
    heard, doubts = read_segment(part, expected_hz=HZ * ratio, beats=False)
    return _Member(index, part, heard, reading_of(heard, used_s=(0.0, part.duration_s), doubts=doubts))


def with_stiffness(one: _Member, inharmonicity: float) -> _Member:
    """The take with another stiffness in its record."""
    return replace(one, heard=replace(one.heard, model=replace(one.heard.model, inharmonicity=inharmonicity)))


def test_periods_of_a_take() -> None:
    assert member().periods == pytest.approx(1.2 * HZ, rel=1e-3)


def test_levels_of_stiffness_that_differ() -> None:
    level = np.array([0.0, 0.19, 0.21, 1.0, 1.15])
    assert _distinct(level) == [0.21, 0.0, 1.0]  # the middle one first; then those 0.2 from all before
    assert len(_distinct(np.arange(9.0))) == 5


def test_takes_of_one_stiffness_are_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "track_note", lambda *_, **__: pytest.fail("heard again"))
    one, other = member(0), member(1)
    assert agree([one]) == [one]
    for ratio in (0.36, -0.36):  # its logarithm may differ by 0.4
        both = [with_stiffness(one, 5e-5), with_stiffness(other, 5e-5 * math.exp(ratio))]
        assert agree(both) is both
    # and by the pitch, to the power 0 (tuned) to 2 (stopped): 1, give or take 1
    stopped = member(2, 1.5)
    for power in (0.0, 2.0):
        pair = [with_stiffness(one, 5e-5), with_stiffness(stopped, 5e-5 * 1.5**power)]
        assert agree(pair) is pair


@pytest.mark.parametrize("ratio", [0.45, -0.45])
def test_a_take_of_another_stiffness_is_heard_again(ratio: float) -> None:
    heard = []
    one, other, third = member(0), member(1), member(3)
    takes = [
        with_stiffness(one, 5e-5),
        with_stiffness(third, 5e-5),
        with_stiffness(other, 5e-5 * math.exp(ratio)),
    ]

    def again(clip: Clip, **law: float) -> object:
        heard.append((clip, law))
        return track_note(clip, **law)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "track_note", again)
        found = agree(takes)
    first, law = heard[0]
    assert first is other.part  # by the law of the two others, the middle one
    assert law["hz"] == other.heard.model.hz
    assert law["inharmonicity"] == pytest.approx(5e-5, rel=2e-3)
    assert law["inharmonicity_sd"] == pytest.approx(0.2 * law["inharmonicity"])
    assert law["beats"] is True  # of fewer than four takes
    assert len(heard) == 3  # then both others by the law of this one
    assert [m.index for m in found] == [0, 3, 1]
    for before, after in zip(takes, found, strict=True):
        again_heard = after.heard is not before.heard
        assert (
            after.reading.inharmonicity
            == (after if again_heard else member(after.index)).heard.model.inharmonicity
        )
        assert (after.reading.used_s, after.reading.doubts) == (before.reading.used_s, before.reading.doubts)


def test_the_law_that_leaves_the_takes_surest_is_taken() -> None:
    takes = [with_stiffness(member(i), b) for i, b in ((0, 5e-5), (1, 5e-5), (3, 9e-5))]
    for sure_with, expected in ((5e-5, [5e-5, 5e-5, 5e-5]), (9e-5, [9e-5, 9e-5, 9e-5])):

        def again(clip: Clip, *, inharmonicity: float, sure_with: float = sure_with, **law: object) -> object:
            one = next(m for m in takes if m.part is clip).heard
            near = abs(inharmonicity / sure_with - 1) < 0.05
            fit = replace(one.partial_fit, sharp_sd=(0.1 if near else 10.0) * one.partial_fit.sharp_sd)
            return replace(one, partial_fit=fit, model=replace(one.model, inharmonicity=inharmonicity))

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(module, "track_note", again)
            found = [m.heard.model.inharmonicity for m in agree(takes)]
        assert found == pytest.approx(expected, rel=0.02)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "track_note", lambda *_, **__: None)
        assert agree(takes) == takes  # what cannot be heard again stays


def test_more_of_the_attack_is_left_out() -> None:
    one = member(4, glide_cents=6.0)
    later = _later(one, by_s=0.1)
    assert later.part.duration_s == pytest.approx(one.part.duration_s - 0.1, abs=1 / RATE_HZ)
    assert later.part.samples[0] == one.part.samples[4800]
    model = one.heard.model
    assert later.heard.model.glide == pytest.approx(model.glide * math.exp(-0.2 / model.tau_s))


def test_tracks_of_a_take_over_the_common_stretch() -> None:
    one = member(5, glide_cents=6.0, scatter_cents=0.0)
    made, phase = _track(one, periods=100.0, block=3.0)
    model = one.heard.model
    assert made.time_s.size == 33  # of 100 periods in blocks of three
    assert made.number.size == phase.shape[0] > 15
    # the phase over the law without its glide is that of the glide
    law = (
        2
        * np.pi
        * made.hz[:, None]
        * model.glide
        * (model.tau_s / 2)
        * (1 - np.exp(-2 * made.time_s / model.tau_s))
    )
    left = (phase - law)[:6]
    assert np.abs(left - left.mean(axis=1, keepdims=True)).max() < 0.1


def trials(members: list[_Member]) -> tuple[list[dict[str, object]], list[object]]:
    """What ways of looking are asked for, and what the scatter is judged by."""
    asked: list[dict[str, object]] = []
    rescaled: list[object] = []

    class Aligned:
        def rescaled(self, ways: list[object]) -> Aligned:
            rescaled.extend(ways)
            return self

        def trial(self, tau_s: np.ndarray, **rest: object) -> object:
            asked.append({"tau_s": tau_s, **rest})
            return None

    _trials(Aligned(), members, usual_s=np.array([0.8, 0.4]))
    return asked, rescaled


RATIOS = np.array([0.3, 0.55, 1.0, 1.8, 3.2])


def beliefs() -> np.ndarray:
    weight = np.exp(-0.5 * (np.log(RATIOS) / 0.7) ** 2)
    return np.log(weight / weight.sum())


def glides(sizes: tuple[float, float], sd: float, spread: float = 0.1) -> list[_Member]:
    takes = []
    for i, size in enumerate(sizes):
        one = member(i)
        fit = replace(one.heard.partial_fit, glide=size, glide_sd=sd, tau_spread=spread)
        model = replace(one.heard.model, glide=size, tau_s=0.5 + 0.1 * i)
        takes.append(replace(one, heard=replace(one.heard, partial_fit=fit, model=model)))
    return takes


def test_where_no_glide_is_seen_times_are_tried_alike_for_all() -> None:
    asked, rescaled = trials(glides((2.8e-3, -9e-3), 1e-3))
    assert len(asked) == 5
    order = [2, 3, 4, 0, 1]  # the note's own time first
    for one, i in zip(asked, order, strict=True):
        assert one["tau_s"] == pytest.approx(RATIOS[i] * np.array([0.8, 0.4]))
        assert one["belief"] == pytest.approx(beliefs()[i])
        assert "glide" not in one
    assert len(rescaled) == 5


@pytest.mark.parametrize(("spread", "late"), [(0.1, 0.1), (0.001, 0.02), (2.0, 0.7)])
def test_where_a_glide_is_seen_each_takes_own_is_taken_off(spread: float, late: float) -> None:
    asked, rescaled = trials(glides((3.2e-3, 1e-3), 1e-3, spread))
    assert len(asked) == 7
    glide, own_time = np.array([3.2e-3, 1e-3]), np.array([0.5, 0.6])
    for one, slow in zip(asked[:2], (0.0, 0.2), strict=True):
        assert one["tau_s"] == pytest.approx(own_time)
        assert one["belief"] == 0.0
        assert one["glide"] == pytest.approx(glide)
        assert one["own_sd"][0] == pytest.approx([late, late])
        assert one["own_sd"][1] == pytest.approx(slow * glide, abs=1.5e-7)
        assert np.all(one["own_sd"][1] > 0)
        assert one["alike_s"] == pytest.approx([0.8, 0.4])
    apart = glide - glide.mean()
    for i, one in enumerate(asked[2:]):
        assert one["tau_s"] == pytest.approx(RATIOS[i] * np.array([0.8, 0.4]))
        assert one["belief"] == pytest.approx(beliefs()[i])
        assert one["glide"] == pytest.approx(apart)
        assert one["own_sd"][0] == pytest.approx([0.3, 0.3])
        assert one["own_sd"][1] == pytest.approx(0.2 * np.abs(apart), abs=1.5e-7)
    assert len(rescaled) == 6
    assert rescaled[0][0] == pytest.approx(own_time)
    assert rescaled[0][1] == pytest.approx(glide)


def test_what_takes_have_in_common_cancels_and_their_level_stays() -> None:
    # The same deviations of the partials in both: alone each is off by them, their difference is not.
    def strung(index: int, ratio: float) -> _Member:
        rng = np.random.default_rng(9)  # the same draw of deviations
        clip = make_note(
            rng, Strung(HZ * ratio, inharmonicity=5e-5 * ratio**2, seconds=1.2, scatter_cents=2.0)
        ).clip
        heard, doubts = read_segment(clip, expected_hz=HZ * ratio, beats=False)
        return _Member(index, clip, heard, reading_of(heard, used_s=(0.0, 1.2), doubts=doubts))

    takes = [strung(0, 1.0), strung(1, 1.01)]
    alone = [math.log(m.reading.hz) for m in takes]
    readings = _together(takes)
    together = [math.log(r.hz) for r in readings]
    true = math.log(1.01)
    assert abs(together[1] - together[0] - true) < 0.01 * CENT
    sure = np.array([m.reading.sd_cents for m in takes]) ** -2
    assert np.average(together, weights=sure) == pytest.approx(np.average(alone, weights=sure), abs=1e-9)
    for one in readings:
        assert one.sd_cents < 0.3 * takes[0].reading.sd_cents


def test_takes_on_the_law_are_read_alone() -> None:
    takes = [member(6, scatter_cents=0.0), member(7, 1.06, scatter_cents=0.0)]
    assert all(m.heard.on_model for m in takes)
    assert _together(takes) == [m.reading for m in takes]


def test_one_take_off_the_law_is_enough_to_read_all_together() -> None:
    on, off = member(6, scatter_cents=0.0), member(7, 1.06, scatter_cents=2.0)
    assert on.heard.on_model
    assert not off.heard.on_model
    for takes in ([on, off], [off, on]):
        assert _together(takes) != [m.reading for m in takes]


def test_a_take_that_rings_for_less_than_half_is_read_alone() -> None:
    clips = [
        make_note(np.random.default_rng([8, i]), Strung(HZ, seconds=s, scatter_cents=1.0)).clip
        for i, s in enumerate((1.2, 1.2, 0.45))
    ]
    compared = []

    def watch(members: list[_Member]) -> list[Reading]:
        compared.extend(m.index for m in members)
        return [m.reading for m in members]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_together", watch)
        read_group(clips, expected_hz=[HZ] * 3)
        assert compared == [0, 1]
        compared.clear()
        longer = Clip(clips[0].samples[: round(0.72 * RATE_HZ)], RATE_HZ)
        read_group([*clips[:2], longer], expected_hz=[HZ] * 3)
    assert compared == [0, 1, 2]


def test_beats_are_parted_where_takes_are_few() -> None:
    asked = []

    def watch(part: Clip, **rest: object) -> object:
        asked.append(rest["beats"])
        return read_segment(part, **rest)

    clip = member(0).part
    lead = Clip(np.concatenate([np.zeros(4800), clip.samples]), RATE_HZ)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "read_segment", watch)
        for count, beats in ((3, True), (4, False)):
            asked.clear()
            patch.setattr(module, "_together", lambda members: [m.reading for m in members])
            read_group([lead] * count, expected_hz=[HZ] * count)
            assert asked == [beats] * count


def test_takes_off_by_more_than_half_of_what_is_unlike_are_heard_again() -> None:
    # levels 0, 0.3 and 0.6 at one pitch: the law in the middle suits neither of the others (half of 0.4)
    takes = [with_stiffness(replace(member(0), index=i), 5e-5 * math.exp(0.3 * i)) for i in range(3)]
    heard: list[float] = []

    def again(_: Clip, *, inharmonicity: float, **law: object) -> object:
        heard.append(inharmonicity)
        return takes[1].heard

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "track_note", again)
        agree(takes)
    middle = 5e-5 * math.exp(0.3)
    assert heard[:2] == pytest.approx([middle, middle])


@pytest.mark.parametrize(("glide", "taken_off"), [(2e-3, True), (-2e-3, True), (1e-7, False), (-1e-7, False)])
def test_a_glide_that_counts_is_taken_off_the_sound(glide: float, taken_off: bool) -> None:
    one = member()
    one = replace(one, heard=replace(one.heard, model=replace(one.heard.model, glide=glide)))
    seen: list[float] = []

    def watch(*rest: object, glide: float, **law: object) -> object:
        seen.append(glide)
        return take_tracks(*rest, glide=glide, **law)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "take_tracks", watch)
        module._track(one, periods=one.periods, block=2.0)
    assert seen == [glide if taken_off else 0.0]


def test_takes_are_compared_over_the_periods_that_all_have() -> None:
    takes = [member(11, seconds=1.2), member(12, 1.06, seconds=0.9), member(13, 1.5, seconds=1.2)]
    seen: list[tuple[float, float]] = []

    def watch(one: _Member, *, periods: float, block: float) -> object:
        seen.append((periods, block))
        return _track(one, periods=periods, block=block)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_track", watch)
        _together(takes)
    fewest = min(m.periods for m in takes)
    assert len(seen) == len(takes)
    # a little of the attack is left out of the lower takes, so that all begin alike
    assert all(0.95 * fewest < periods <= fewest for periods, _ in seen)
    assert len(set(seen)) == 1
