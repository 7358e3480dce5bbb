"""Where a reading is refused or doubted: made notes and records at both sides of every limit."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from helpers.notes import RATE_HZ, Strung, make_note
from pitchcheck.clip import Clip
from pitchcheck.doubts import Faint, OtherNote, Overdriven, OvertonesOff, SecondString, VaguePitch
from pitchcheck.pitch import read_note as module
from pitchcheck.pitch.coarse import Series
from pitchcheck.pitch.partial_tracking import TrackedNote
from pitchcheck.pitch.peaks import Peaks, find_peaks
from pitchcheck.pitch.read_note import (
    _choose,
    _doubts,
    _filled,
    _rise_s,
    _snr_db,
    read_segment,
    reading_of,
    stretch,
)
from pitchcheck.pitch.reading import Unreadable
from pitchcheck.pitch.second_note import SecondNote

CENT = math.log(2) / 1200
K = np.arange(1.0, 11.0)


@cache
def plain() -> tuple[Clip, TrackedNote]:
    """A made note of 110 Hz at 44 dB, from its attack on, and what is heard of it."""
    clip = make_note(np.random.default_rng(1), Strung(110.0, seconds=1.0, snr_db=44.0)).clip
    return clip, read_segment(clip, expected_hz=110.0)[0]


def heard(
    *, hz: float = 110.0, sd_cents: float = 0.01, scatter_cents: float = 0.0, used: int = 10
) -> TrackedNote:
    """The plain note with another pitch or uncertainty in its record."""
    _, note = plain()
    few = np.zeros(note.used.size, dtype=bool)
    few[np.flatnonzero(note.used)[:used]] = True
    fit = replace(note.partial_fit, sharp_sd=sd_cents * CENT, scatter_cents=scatter_cents)
    return replace(
        note,
        partial_fit=fit,
        model=replace(note.model, hz=hz),
        used=few,
        envelope=note.envelope[: int(few.sum())],
    )


def doubts(note: TrackedNote, *, expected_hz: float | None = None, peaks: Peaks | None = None) -> list[type]:
    part, _ = plain()
    seen = Peaks(note.model.hz * K, 1 / K, 0.1) if peaks is None else peaks
    return [type(d) for d in _doubts(part, seen, note, expected_hz=expected_hz)]


@pytest.mark.parametrize(("away", "doubted"), [(67.0, False), (73.0, True), (-67.0, False), (-73.0, True)])
def test_more_than_any_slot_is_another_note(away: float, doubted: bool) -> None:
    found = doubts(heard(hz=110.0 * math.exp(away * CENT)), expected_hz=110.0)
    assert found == ([OtherNote] if doubted else [])
    assert doubts(heard(hz=110.0 * math.exp(away * CENT))) == []


@pytest.mark.parametrize(
    ("cents", "octave"), [(1255.0, True), (1265.0, False), (-1145.0, True), (-1130.0, False), (-100.0, False)]
)
def test_near_an_octave_off_is_another_octave(cents: float, octave: bool) -> None:
    part, _ = plain()
    note = heard(hz=110.0 * math.exp(cents * CENT))
    (doubt,) = _doubts(part, Peaks(note.model.hz * K, 1 / K, 0.1), note, expected_hz=110.0)
    assert doubt == OtherNote(110.0, note.model.hz, octave)


@pytest.mark.parametrize(("sd_cents", "doubted"), [(18.5, False), (21.5, True)])
def test_a_vague_pitch_is_doubted(sd_cents: float, doubted: bool) -> None:
    note = heard(sd_cents=sd_cents)
    assert doubts(note) == ([VaguePitch] if doubted else [])
    if doubted:
        part, _ = plain()
        (doubt,) = _doubts(part, Peaks(110.0 * K, 1 / K, 0.1), note, expected_hz=None)
        assert isinstance(doubt, VaguePitch)
        assert doubt == VaguePitch(pytest.approx(sd_cents))


@pytest.mark.parametrize(
    ("scatter", "used", "doubted"), [(3.7, 10, False), (4.3, 10, True), (4.3, 8, True), (4.3, 7, False)]
)
def test_overtones_far_off_make_a_false_string(scatter: float, used: int, doubted: bool) -> None:
    assert doubts(heard(scatter_cents=scatter, used=used)) == ([OvertonesOff] if doubted else [])


@pytest.mark.parametrize(("snr_db", "doubted"), [(10.8, False), (9.2, True)])
def test_a_faint_note_is_doubted(snr_db: float, doubted: bool) -> None:
    note = heard()
    louder = 10 ** ((snr_db - _snr_db(note)) / 10)
    quiet = replace(note, tracks=replace(note.tracks, noise=note.tracks.noise / louder))
    assert _snr_db(quiet) == pytest.approx(snr_db)
    assert doubts(quiet) == ([Faint] if doubted else [])


def test_power_over_noise_is_that_of_the_partials_used() -> None:
    # A partial of amplitude a has the power a^2 / 2; a block's noise in z has twice the variance of a sine's.
    note = heard(used=3)
    energy = sum(float(a) ** 2 / 2 for a in note.envelope.ravel())
    blocks = note.envelope.shape[1]
    noise = sum(float(n) / 2 * blocks for n, used in zip(note.tracks.noise, note.used, strict=True) if used)
    assert _snr_db(note) == pytest.approx(10 * math.log10(energy / noise))


@pytest.mark.parametrize(("share", "doubted"), [(0.0034, False), (0.0046, True)])
def test_samples_at_the_very_top_are_overdriven(share: float, doubted: bool) -> None:
    samples = 0.5 * np.sin(np.arange(10_000) * 0.1)
    samples[: round(share * 10_000)] = 0.99
    samples[round(share * 10_000)] = -0.99
    part = Clip(np.clip(samples, -0.99, 0.99), RATE_HZ)
    found = _doubts(part, Peaks(110.0 * K, 1 / K, 0.1), heard(), expected_hz=None)
    assert found == ((Overdriven(),) if doubted else ())


@pytest.mark.parametrize(("share", "doubted"), [(0.22, False), (0.28, True), (0.66, True)])
def test_another_string_is_doubted_where_it_is_strong(share: float, doubted: bool) -> None:
    both = Peaks(*_both(139.0, share), 0.1)
    assert doubts(heard(), peaks=both) == ([SecondString] if doubted else [])


def test_two_notes_alike_in_strength_are_refused() -> None:
    with pytest.raises(Unreadable, match=r"Two notes sound at once, 110.0 and 139.0 Hz"):
        doubts(heard(), peaks=Peaks(*_both(139.0, 0.74), 0.1))


def _both(hz: float, share: float) -> tuple[np.ndarray, np.ndarray]:
    every, level = np.concatenate([110.0 * K, hz * K]), np.concatenate([1 / K, share / K])
    order = np.argsort(every)
    return every[order], level[order]


def series(hz: float, score: float) -> Series:
    return Series(hz, 0.0, score, np.ones(1, dtype=bool), 1)


def test_the_expected_note_is_chosen_where_a_fraction_of_it_explains_hardly_more() -> None:
    low, near = series(55.0, 1.0), series(110.5, 0.88)
    assert _choose([low, near], expected_hz=110.0) is near
    assert _choose([low, near], expected_hz=None) is low
    weak = series(110.5, 0.82)
    assert _choose([low, weak], expected_hz=110.0) is low
    off = series(110.0 * math.exp(73 * CENT), 0.99)
    assert _choose([low, off], expected_hz=110.0) is low
    close = series(110.0 * math.exp(-67 * CENT), 0.99)
    assert _choose([low, close], expected_hz=110.0) is close
    # not a fraction of it: 0.7 and more
    assert _choose([series(80.0, 1.0), near], expected_hz=110.0).hz == 80.0
    assert _choose([series(74.0, 1.0), near], expected_hz=110.0) is near


@pytest.mark.parametrize(("odd", "chosen_hz"), [(0.3, 110.0), (0.2, 220.0)])
def test_a_multiple_gives_way_to_the_expected_note_where_what_lies_between_is_strong(
    odd: float, chosen_hz: float
) -> None:
    level = np.where(K % 2 == 0, 1.0, odd)
    seen = Peaks(110.0 * K, level, 0.1)
    best = series(220.0, 0.9)
    assert _filled(seen, best, expected_hz=110.0).hz == pytest.approx(chosen_hz, rel=1e-3)
    assert _filled(seen, best, expected_hz=None) is best
    assert _filled(seen, best, expected_hz=220.0) is best
    assert _filled(seen, best, expected_hz=150.0) is best  # less than one and a half times
    assert _filled(seen, best, expected_hz=120.0) is best  # what lies between is another note


def test_a_note_between_that_is_no_fraction_of_the_best_is_another_string(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for hz, taken in (
        (110.0, True),
        (110.0 * math.exp(26 * CENT), True),
        (110.0 * math.exp(68 * CENT), False),
    ):
        other = SecondNote(hz, 0.5)
        monkeypatch.setattr(module, "second_note", lambda *_, other=other, **__: other)
        monkeypatch.setattr(module, "match_series", lambda _, hz: series(hz, 1.0))
        best = series(220.0, 0.9)
        assert (_filled(Peaks(110.0 * K, 1 / K, 0.1), best, expected_hz=110.0).hz == hz) is taken


# The stretch that is read


def burst(*, lead_s: float, seconds: float, rise_s: float = 0.0) -> Clip:
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    level = np.minimum(1.0, (t + 1 / RATE_HZ) / rise_s) if rise_s else 1.0
    note = level * np.where(np.arange(t.size) % 2, 0.5, -0.5)
    return Clip(np.concatenate([np.zeros(round(lead_s * RATE_HZ)), note]), RATE_HZ)


@pytest.mark.parametrize("lead_s", [0.2, 0.2113])
def test_a_note_is_read_from_just_after_its_rise_for_two_seconds_at_most(lead_s: float) -> None:
    start_s, end_s = stretch(burst(lead_s=lead_s, seconds=3.0))
    assert start_s == pytest.approx(lead_s + 0.015, abs=0.0011)  # the power is smoothed over 2 ms
    assert end_s == pytest.approx(start_s + 1.9)
    start_s, end_s = stretch(burst(lead_s=lead_s, seconds=1.0))
    assert end_s == pytest.approx(lead_s + 1.0, abs=1e-4)


def test_the_longest_note_is_read() -> None:
    short, long = burst(lead_s=0.1, seconds=0.4), burst(lead_s=0.6, seconds=1.2)
    both = Clip(np.concatenate([short.samples, long.samples, np.zeros(9600)]), RATE_HZ)
    assert stretch(both)[0] == pytest.approx(1.1 + 0.015, abs=0.002)


@pytest.mark.parametrize("share", [0.08, 0.12])
def test_the_rise_is_where_a_tenth_of_the_greatest_power_is_reached(share: float) -> None:
    # A step to that share of the power before the note itself, 5 ms before it.
    early = np.where(np.arange(240) % 2, 1.0, -1.0) * 0.5 * math.sqrt(share)
    clip = burst(lead_s=0.2, seconds=0.6)
    clip.samples[9600 - 240 : 9600] = early
    expected = 0.2 if share < 0.1 else 0.195
    assert _rise_s(clip, onset_s=0.195) == pytest.approx(expected, abs=0.0011)


def test_the_rise_is_sought_near_the_onset_and_its_peak_later() -> None:
    clip = burst(lead_s=0.2, seconds=0.6)
    for off in (-0.025, 0.025):
        assert _rise_s(clip, onset_s=0.2 + off) == pytest.approx(0.2, abs=0.0011)
    assert _rise_s(clip, onset_s=0.165) == 0.165  # beyond 30 ms there is none
    # The greatest power is that of the quarter of a second after it.
    for late_s, counts in ((0.22, True), (0.28, False)):
        late = Clip(clip.samples.copy(), RATE_HZ)
        late.samples[round((0.2 + late_s) * RATE_HZ) :] *= 4.0  # sixteen times the power
        assert (_rise_s(late, onset_s=0.195) == 0.195) is counts


@pytest.mark.parametrize(("seconds", "read"), [(0.16, True), (0.11, False)])
def test_a_note_must_ring_for_a_moment(seconds: float, read: bool) -> None:
    clip = Clip(np.concatenate([burst(lead_s=0.2, seconds=seconds).samples, np.zeros(9600)]), RATE_HZ)
    if read:
        stretch(clip)
    else:
        with pytest.raises(Unreadable, match=r"it must ring 0\.12 s"):
            stretch(clip)


@pytest.mark.parametrize(("periods", "read"), [(6.6, True), (5.4, False)])
def test_a_note_has_six_periods_at_least(periods: float, read: bool) -> None:
    clip = make_note(np.random.default_rng(2), Strung(40.0, seconds=periods / 40.0, snr_db=60.0)).clip
    if read:
        assert read_segment(clip, expected_hz=40.0)[0].model.hz == pytest.approx(40.0, rel=0.01)
    else:
        with pytest.raises(Unreadable, match="too short for so low a pitch"):
            read_segment(clip, expected_hz=40.0)


def test_a_reading_tells_what_was_heard() -> None:
    _, note = plain()
    reading = reading_of(note, used_s=(0.1, 0.9), doubts=(Faint(),))
    fit = note.partial_fit
    assert reading.hz == note.model.hz
    assert reading.sd_cents == pytest.approx(0.93 * fit.sharp_sd / CENT)
    assert reading.inharmonicity == note.model.inharmonicity
    assert reading.inharmonicity_sd == fit.excess_inharmonicity_sd
    assert reading.glide_cents == pytest.approx(fit.glide / CENT)
    assert (reading.decay_s, reading.used_s, reading.doubts) == (note.decay_s, (0.1, 0.9), (Faint(),))
    assert reading.partials == np.count_nonzero(note.used)


def test_the_coarse_note_is_that_of_the_first_half_second() -> None:
    # Another note after 0.55 s is not seen by the peaks, one after 0.35 s is.
    for at_s, seen in ((0.55, False), (0.35, True)):
        parts = {}

        def watch(clip: Clip, parts: dict[str, float] = parts) -> Peaks:
            parts["s"] = clip.duration_s
            return find_peaks(clip)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(module, "find_peaks", watch)
            read_segment(plain()[0], expected_hz=110.0)
        assert (parts["s"] > at_s) is seen
