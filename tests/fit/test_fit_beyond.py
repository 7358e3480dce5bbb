"""The fit on instruments beyond the usual ones: tall and worn frets, other gauges, tunings and scales.

Truths are drawn here, from ranges of their own and not from the beliefs of ``fit/priors.py``; the forward
model is the fit's. So this tests whether the beliefs are wide enough for such instruments. Crowns of 0.6 to
1.5 mm (fret wire of the trade, from memory), sets a step lighter and heavier than the presets', a baritone of
0.69 to 0.71 m, a mandolin of 0.35 m with single strings, tunings 1 to 4 semitones down.
"""

from __future__ import annotations

import math
import time
from functools import cache

import numpy as np
import pytest

from bench.fit_bench import Known, Score, coverage, decisions, far_error_mm, median_error_mm, score
from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.fit import fit_instrument
from pitchcheck.instrument import Fretwork, Instrument, Length, SessionSettings, StringSpec
from pitchcheck.physics.materials import Make, make_of, string_constants
from pitchcheck.simulate.instrument import InstrumentTruth, StringTruth
from pitchcheck.simulate.player import Hand, play
from pitchcheck.survey import build_survey
from pitchcheck.takes import Take
from pitchcheck.units import CENTS_PER_OCTAVE, MM_PER_INCH

STEEL = ("plain steel", "nickel-plated steel", "phosphor bronze")
SIX = ("E4", "B3", "G3", "D3", "A2", "E2")
NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
# Scales [mm], notes, sets of gauges [in], and the material of each string.
P, N, B, Y, S = (*STEEL, "nylon", "silver-plated copper on nylon")
MODELS: dict[str, tuple[tuple[float, ...], tuple[str, ...], tuple[tuple[float, ...], ...], str]] = {
    "electric": (
        (628.0, 648.0),
        SIX,
        ((0.008, 0.010, 0.015, 0.021, 0.030, 0.038), (0.012, 0.016, 0.020, 0.032, 0.042, 0.054)),
        "PPPNNN",
    ),
    "acoustic": (
        (632.0, 645.0),
        SIX,
        ((0.010, 0.014, 0.023, 0.030, 0.039, 0.047), (0.014, 0.018, 0.027, 0.039, 0.049, 0.059)),
        "PPBBBB",
    ),
    "bass": (
        (864.0,),
        ("G2", "D2", "A1", "E1"),
        ((0.040, 0.060, 0.080, 0.100), (0.050, 0.070, 0.090, 0.110)),
        "NNNN",
    ),
    "baritone": (
        (686.0, 700.0, 711.0),
        ("B3", "F#3", "D3", "A2", "E2", "B1"),
        ((0.013, 0.018, 0.026, 0.036, 0.046, 0.062), (0.014, 0.018, 0.027, 0.044, 0.056, 0.068)),
        "PPNNNN",
    ),
    "mandolin": (
        (348.0,),
        ("E5", "A4", "D4", "G3"),
        ((0.010, 0.014, 0.024, 0.034), (0.0115, 0.016, 0.026, 0.041)),
        "PPBB",
    ),
    "classical": (
        (640.0, 660.0),
        SIX,
        ((0.027, 0.031, 0.039, 0.028, 0.034, 0.042), (0.029, 0.034, 0.042, 0.030, 0.036, 0.045)),
        "YYYSSS",
    ),
    "ukulele": (
        (345.0, 385.0, 432.0),
        ("A4", "E4", "C4", "G4"),
        ((0.022, 0.027, 0.032, 0.024), (0.026, 0.031, 0.037, 0.028)),
        "YYYY",
    ),
}
LOWERED = ("electric", "acoustic", "bass", "classical")  # each also with its tuning lowered
KINDS = (*MODELS, *(f"lowered {kind}" for kind in LOWERED))
# What is not known of a string before it is heard [-], and its extra length at the saddle [mm]: mean and sd.
STRETCH_SD = {Make.PLAIN_STEEL: 0.02, Make.WOUND_STEEL: 0.08, Make.POLYMER: 0.17, Make.WOUND_POLYMER: 0.12}
SADDLE_MM = {
    Make.PLAIN_STEEL: (1.0, 0.5),
    Make.WOUND_STEEL: (2.2, 0.5),
    Make.POLYMER: (1.2, 0.45),
    Make.WOUND_POLYMER: (1.2, 0.45),
}
READING_CENTS = 0.15
EACH = 8  # instruments of every kind in the slow test


def lowered(note: str, semitones: int) -> str:
    number = 12 * int(note[-1]) + NAMES.index(note[:-1]) - semitones
    return f"{NAMES[number % 12]}{number // 12}"


def instrument(kind: str, rng: np.random.Generator, *, action_mm: float) -> Instrument:
    """What its owner can say, with a rule's reading of the action."""
    scales, notes, sets, letters = MODELS[kind.removeprefix("lowered ")]
    down = int(rng.integers(1, 5)) if kind.startswith("lowered ") else 0
    gauges = sets[int(rng.integers(len(sets)))]
    words = dict(zip("PNBYS", (P, N, B, Y, S), strict=True))
    strings = tuple(
        StringSpec(i, lowered(note, down), gauge * MM_PER_INCH, words[letter], letter in "NBS")
        for i, (note, gauge, letter) in enumerate(zip(notes, gauges, letters, strict=True), start=1)
    )
    read_mm = action_mm + 0.1 * float(rng.standard_normal())
    action = Length(read_mm, 0.15)
    scale_mm = float(rng.choice(scales))
    return Instrument(kind, scale_mm, strings, action_12=action, fretwork=Fretwork.LEVEL)


def heights(rng: np.random.Generator, count: int) -> np.ndarray:
    """Slots of one nut: cut low, right, high, or each as it came. [mm]"""
    style = rng.choice(4, p=(0.2, 0.2, 0.2, 0.4))
    low, high = ((0.0, 0.18), (0.25, 0.40), (0.55, 1.15), (0.15, 1.05))[style]
    return rng.uniform(low, high, count)


def draw(kind: str, seed: int) -> Known:
    """One instrument, played and read."""
    rng = np.random.default_rng([seed, KINDS.index(kind), 41])
    polymer = MODELS[kind.removeprefix("lowered ")][3].startswith("Y")
    action_mm = rng.uniform(1.7, 3.3) if polymer else rng.uniform(1.3, 2.5)
    spec = instrument(kind, rng, action_mm=action_mm)
    nut_mm, tail_mm = 0.3 * rng.standard_normal(), rng.uniform(0, 110)
    slots = heights(rng, len(spec.strings))
    truth = InstrumentTruth(
        scale_mm=spec.scale_mm,
        strings=tuple(
            string(rng, spec, one, slot_mm=float(h), nut_mm=nut_mm, tail_mm=tail_mm, action_mm=action_mm)
            for one, h in zip(spec.strings, slots, strict=True)
        ),
        fret_height_mm=rng.uniform(0.6, 1.5),
        fret_error_mm=tuple(0.02 * rng.standard_normal(4)),
        fret_place_mm=tuple(0.05 * rng.standard_normal(12)),
        nut_offset_mm=nut_mm,
        relief_mm=rng.uniform(0.0, 0.3),
        break_rad=rng.uniform(0.05, 0.22),
    )
    hand = Hand(
        force_n=6.0 * math.exp(0.2 * rng.standard_normal()),
        firm_power=0.7,
        force_sd=0.3,
        force_sd_power=0.45,
        force_at_12=1.1,
        behind_part=0.4,
        give_mm=0.001,
        drift_cents=0.1,
    )
    positions = survey_positions([s.number for s in spec.strings], thoroughness=Thoroughness.FULL)
    takes = tuple(
        Take(row, None, note.position, note.hz * 2 ** (error / CENTS_PER_OCTAVE), READING_CENTS, float(row))
        for row, (note, error) in enumerate(
            zip(
                play(rng, truth=truth, hand=hand, positions=positions),
                READING_CENTS * rng.standard_normal(len(positions)),
                strict=True,
            ),
            start=1,
        )
    )
    known = {s.number: s.slot_height_mm for s in truth.strings}
    return Known(f"{kind} {seed}", SessionSettings(spec), takes, known, truth.fret_height_mm, nut_mm)


def string(
    rng: np.random.Generator,
    spec: Instrument,
    one: StringSpec,
    *,
    slot_mm: float,
    nut_mm: float,
    tail_mm: float,
    action_mm: float,
) -> StringTruth:
    """One string as it really is."""
    usual = string_constants(one, scale_mm=spec.scale_mm)
    other = STRETCH_SD[usual.make] * rng.standard_normal()
    slides = 0.03 * rng.standard_normal()
    saddle_mm, saddle_sd = SADDLE_MM[make_of(one)]
    return StringTruth(
        number=one.number,
        note=one.note,
        slot_height_mm=slot_mm,
        nut_offset_mm=nut_mm + 0.08 * rng.standard_normal(),
        saddle_mm=saddle_mm + saddle_sd * rng.standard_normal(),
        action_12_mm=max(0.6, action_mm + 0.15 * rng.standard_normal()),
        stretch_factor=usual.stretch_factor * math.exp(other + slides) / (1 + tail_mm / spec.scale_mm),
        bend_mm=usual.bend_mm * math.exp(usual.bend_follows * other + 0.03 * rng.standard_normal()),
        tension_n=usual.tension_n,
    )


@cache
def scores(kind: str, each: int) -> tuple[Score, ...]:
    return tuple(s for seed in range(each) for s in score(draw(kind, seed)))


def family(kind: str) -> str:
    plain = kind.removeprefix("lowered ")
    return {"bass": "bass", "classical": "nylon", "ukulele": "nylon"}.get(plain, "guitar")


# Aims for instruments beyond the usual: half as much again as 0.038, 0.048 and 0.065 mm.
MEDIAN_MM = {"guitar": 0.057, "bass": 0.072, "nylon": 0.098}
FAR = 4.0


@pytest.mark.slow
@pytest.mark.parametrize("group", ["guitar", "bass", "nylon"])
def test_heights_are_near_the_truth_beyond_the_usual(group: str) -> None:
    found = [s for kind in KINDS if family(kind) == group for s in scores(kind, EACH)]
    assert median_error_mm(found) <= MEDIAN_MM[group]
    assert far_error_mm(found) <= FAR * MEDIAN_MM[group]


@pytest.mark.slow
def test_intervals_hold_the_truth_beyond_the_usual() -> None:
    """Aim 85 to 95 %; the 88 instruments, whose strings err together, tell it to 2 % (standard error)."""
    found = [s for kind in KINDS for s in scores(kind, EACH)]
    assert 0.85 - 0.04 <= coverage(found) <= 0.95 + 0.04


@pytest.mark.slow
def test_decisions_are_safe_beyond_the_usual() -> None:
    made = decisions([s for kind in KINDS for s in scores(kind, EACH)])
    assert made.high_without_cause <= 0.01
    assert made.left_under <= 0.025
    assert made.high_found >= 0.9


MOST_SECONDS = (
    2.0  # asked of a six-string full survey on one core; processor time, so other work does not count
)


@pytest.mark.parametrize("kind", ["baritone", "mandolin", "lowered classical"])
def test_an_unusual_instrument_is_fitted_in_time(kind: str) -> None:
    known = draw(kind, 0)
    start = time.process_time()
    fit = fit_instrument(known.settings, build_survey(known.takes))
    assert time.process_time() - start < MOST_SECONDS
    error = [s.height_mm.median - known.heights_mm[s.number] for s in fit.strings]
    wide = [s.height_mm.high - s.height_mm.low for s in fit.strings]
    assert np.all(np.abs(error) < wide)  # twice the half width: 3.3 sd
