"""Chords against music theory and the beat rates that piano tuners print."""

from __future__ import annotations

from dataclasses import replace

import librosa
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from helpers.fits import Made, make_fit, make_job
from pitchcheck.chords import Chord, beat_hz, chord_table, just_partials
from pitchcheck.fit.result import Fit
from pitchcheck.tuning import note_hz

PRINTED_STEP_HZ = 0.006  # beat tables are printed to two decimals
STEPS = {"": {0, 4, 7}, "m": {0, 3, 7}, "7": {0, 4, 7, 10}}  # textbook chords, semitones above the root
NAMES = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
SIX = ("E4", "B3", "G3", "D3", "A2", "E2")
TUNINGS = {
    "six strings": SIX,
    "six strings a tone down": ("D4", "A3", "F3", "C3", "G2", "D2"),
    "baritone": ("B3", "F#3", "D3", "A2", "E2", "B1"),
    "ukulele": ("A4", "E4", "C4", "G4"),
    "ukulele, low fourth": ("A4", "E4", "C4", "G3"),
    "baritone ukulele": ("E4", "B3", "G3", "D3"),
    "mandolin": ("E5", "A4", "D4", "G3"),
    "mandolin in courses": ("E5", "E5", "A4", "A4", "D4", "D4", "G3", "G3"),
}


def fit_of(count: int, height_mm: float = 0.6, touch_mm: float = 0.2) -> Fit:
    return make_fit([Made(height_mm, touch_mm=touch_mm)] * count, targets_mm=0.35)


def pitch_class(hz: float) -> int:
    return round(12 * np.log2(hz / note_hz("C4"))) % 12


@pytest.mark.parametrize("tuning", TUNINGS)
def test_every_shape_holds_the_notes_of_its_chord(tuning: str) -> None:
    notes = TUNINGS[tuning]
    chords = chord_table(make_job(notes).instrument, fit_of(len(notes)))
    assert len(chords) >= 8
    assert len({chord.name for chord in chords}) == len(chords)
    for chord in chords:
        root = max((n for n in NAMES if chord.name.startswith(n)), key=len)
        steps = {(pitch_class(note.equal_hz) - NAMES.index(root)) % 12 for note in chord.notes}
        wanted = STEPS[chord.name.removeprefix(root)]
        # A fifth is often left out of a chord of few strings; root and third never are.
        assert steps in (wanted, wanted - {7}), (chord.name, steps)


def test_other_tunings_have_no_table() -> None:
    assert chord_table(make_job(("G2", "D2", "A1", "E1")).instrument, fit_of(4)) == ()


@pytest.mark.parametrize(
    ("low", "high", "partials", "beats"),
    # Equal temperament's beats in the temperament octave, A4 = 440 Hz; piano tuners' tables, from memory.
    [
        ("F3", "A3", (5, 4), 6.93),
        ("F3", "C4", (3, 2), 0.59),
        ("A3", "E4", (3, 2), 0.74),
        ("F3", "D4", (5, 3), 7.92),
        ("A3", "D4", (4, 3), 0.99),
    ],
)
def test_beats_of_equal_temperament(low: str, high: str, partials: tuple[int, int], beats: float) -> None:
    assert beat_hz(note_hz(low), note_hz(high), partials) == pytest.approx(beats, abs=PRINTED_STEP_HZ)


def test_a_just_third_does_not_beat() -> None:
    # An equal third is 13.69 cents wide of 5:4 (textbook: 400 - 386.31).
    off = -13.686286
    assert beat_hz(note_hz("C4"), note_hz("E4"), (5, 4), cents=(0.0, off)) == pytest.approx(0.0, abs=1e-4)


def by_name(chords: tuple[Chord, ...], name: str) -> Chord:
    return next(chord for chord in chords if chord.name == name)


def test_one_sharp_note_is_the_worst_of_its_chords() -> None:
    fit = fit_of(6, height_mm=0.35)
    sharp = fit.strings[2].neck_now_cents.copy()
    sharp[0] += 30.0
    strings = list(fit.strings)
    strings[2] = replace(strings[2], neck_now_cents=sharp)
    chord = by_name(chord_table(make_job(SIX).instrument, replace(fit, strings=tuple(strings))), "E")
    worst = chord.worst_now
    assert 3 in (worst.low.string, worst.high.string)  # its G sharp, fret 1 of string 3
    assert abs(worst.now_cents) > 25.0
    third = worst.high if worst.high.string == 3 else worst.low
    assert third.fret == 1
    # Now and at target differ only there; beats follow the exact formula.
    p, q = worst.partials
    low = worst.low.equal_hz * 2 ** (worst.low.now_cents / 1200)
    high = worst.high.equal_hz * 2 ** (worst.high.now_cents / 1200)
    assert worst.now_beat_hz == pytest.approx(abs(p * low - q * high))
    assert worst.equal_beat_hz == pytest.approx(abs(p * worst.low.equal_hz - q * worst.high.equal_hz))


def test_perfect_necks_beat_as_equal_temperament_does() -> None:
    fit = fit_of(6)
    none = np.zeros(12)
    strings = tuple(
        replace(s, neck_now_cents=none, neck_target_cents=none, neck_touch_cents=none) for s in fit.strings
    )
    chords = chord_table(make_job(SIX).instrument, replace(fit, strings=strings))
    assert chords
    for chord in chords:
        for worst in (chord.worst_now, chord.worst_target):
            assert worst.now_cents == worst.target_cents == worst.touch_cents == 0.0
            assert worst.now_beat_hz == worst.target_beat_hz == worst.equal_beat_hz


def test_open_strings_are_in_tune_and_touch_belongs_to_fretted_ones() -> None:
    chords = chord_table(make_job(SIX).instrument, fit_of(6))
    assert chords
    for chord in chords:
        for note in chord.notes:
            assert (note.now_cents == 0.0) == (note.fret == 0)
            assert (note.touch_cents == 0.0) == (note.fret == 0)
            assert note.touch_cents <= note.now_cents


def test_setting_the_slots_helps_every_chord_of_a_high_nut() -> None:
    chords = chord_table(make_job(SIX).instrument, fit_of(6, height_mm=1.0))
    assert chords
    for chord in chords:
        assert abs(chord.worst_target.target_cents) < abs(chord.worst_now.now_cents)


def test_unmeasured_strings_are_left_out() -> None:
    fit = fit_of(6)
    chords = chord_table(make_job(SIX).instrument, replace(fit, strings=fit.strings[:3]))
    assert chords
    assert {note.string for chord in chords for note in chord.notes} == {1, 2, 3}


@given(st.floats(-50, 50))
def test_moving_a_whole_neck_moves_no_interval_between_fretted_notes(shift: float) -> None:
    fit = fit_of(4)
    moved = replace(
        fit, strings=tuple(replace(s, neck_now_cents=s.neck_now_cents + shift) for s in fit.strings)
    )
    settings = make_job(("E5", "A4", "D4", "G3"))
    name = "F"  # frets 1 0 3 5
    before, after = (by_name(chord_table(settings.instrument, f), name) for f in (fit, moved))
    fretted = {n.string: n.now_cents for n in after.notes if n.fret}
    earlier = {n.string: n.now_cents for n in before.notes if n.fret}
    assert fretted[1] - fretted[4] == pytest.approx(earlier[1] - earlier[4], abs=1e-9)


# Beats a second of equal temperament from F3 up, A4 = 440 Hz, to one decimal: the tuner's table of Capleton
# (2007) as printed in J. Neurosci. 32(35), 12251-12257 (2012), table 1. By semitones of the interval: those
# of the lower notes F3, F#3, G3 and so on.
PRINTED = {
    4: (6.9, 7.3, 7.8, 8.2, 8.7, 9.2, 9.8, 10.4, 11.0, 11.7, 12.3),
    5: (0.8, 0.8, 0.9, 0.9, 1.0, 1.1, 1.1, 1.2, 1.3, 1.3),
    7: (0.6, 0.6, 0.7, 0.7, 0.7, 0.8, 0.8, 0.9),
    9: (7.9, 8.4, 8.9, 9.4, 10.0, 10.6),
    3: (9.4, 10.0, 10.6, 11.2, 11.9, 12.6, 13.3, 14.1),
    8: (11.0, 11.7, 12.3, 13.1, 13.9, 14.7, 15.6),
}
PRINTED_TENTH_HZ = 0.06  # printed to one decimal: half of the last digit, and a hair


@pytest.mark.parametrize("steps", PRINTED)
def test_beats_against_a_printed_table(steps: int) -> None:
    for i, beats in enumerate(PRINTED[steps]):
        low = note_hz("F3") * 2 ** (i / 12)
        high = low * 2 ** (steps / 12)
        assert beat_hz(low, high, just_partials(steps)) == pytest.approx(beats, abs=PRINTED_TENTH_HZ)


def test_just_intervals_and_the_cents_of_equal_temperament_against_librosa() -> None:
    """Every consonance's just ratio is one of the 5-limit scale; equal temperament's distance follows."""
    ratios = librosa.plimit_intervals(primes=[3, 5], bins_per_octave=12, sort=True)
    for steps in (0, 3, 4, 5, 7, 8, 9):
        p, q = just_partials(steps)
        near = ratios[np.argmin(np.abs(np.log(ratios * q / p)))]
        assert near == pytest.approx(p / q, rel=1e-12)
        # librosa's own way from a ratio to hertz, and from hertz to octaves
        just_hz = librosa.interval_frequencies(2, fmin=200.0, intervals=np.array([1.0, near]))[1]
        equal_hz = librosa.interval_frequencies(13, fmin=200.0, intervals="equal", bins_per_octave=12)[steps]
        wide = 1200 * float(librosa.hz_to_octs(equal_hz) - librosa.hz_to_octs(just_hz))
        beats = abs(q * just_hz - q * equal_hz)  # partial q of either note; p f is q times the just one
        assert beat_hz(200.0, float(equal_hz), (p, q)) == pytest.approx(float(beats), abs=1e-9)
        assert beat_hz(200.0, float(equal_hz), (p, q), cents=(0.0, -wide)) == pytest.approx(0.0, abs=1e-6)


def test_chord_cents_by_hand() -> None:
    """E minor and C of six strings with string 5 sharp by 8 cents at fret 2, all others in tune.

    In E minor string 5 sounds B2 over the open E2 of string 6: the fifth is 8 cents wider than
    that of equal temperament. There B2 = 123.471 Hz, E2 = 82.407 Hz; 3 x 82.407 - 2 x 123.471 = 0.279. With
    the B at 123.471 x 2^(8/1200) = 124.043: 247.221 - 248.086 = -0.865.
    """
    fit = fit_of(6)
    none = np.zeros(12)
    sharp = none.copy()
    sharp[1] = 8.0
    strings = tuple(
        replace(
            s,
            neck_now_cents=sharp if s.number == 5 else none,
            neck_target_cents=none,
            neck_touch_cents=none,
        )
        for s in fit.strings
    )
    chord = by_name(chord_table(make_job(SIX).instrument, replace(fit, strings=strings)), "Em")
    worst = chord.worst_now
    assert 5 in (worst.low.string, worst.high.string)
    # a sharp upper note widens its interval, a sharp lower one narrows it
    assert worst.now_cents == pytest.approx(8.0 if worst.high.string == 5 else -8.0)
    fifth = beat_hz(note_hz("E2"), note_hz("B2"), (3, 2), cents=(0.0, 8.0))
    assert fifth == pytest.approx(0.865, abs=0.002)
    assert beat_hz(note_hz("E2"), note_hz("B2"), (3, 2)) == pytest.approx(0.279, abs=0.002)
