"""Instruments with planted measures and no noise, for tests that know what the fit must find.

Conventions: everything that is not planted lies at the centre of its prior, presses are all alike, and a
fretted note is the mean over a hand's touches; so what the fit finds may differ from what was planted only by
the pull of its priors.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.fit import Fit, fit_instrument, priors
from pitchcheck.instrument import Fretwork, Instrument, Length, SessionSettings
from pitchcheck.physics.materials import Make, string_constants
from pitchcheck.session.presets import get_preset
from pitchcheck.simulate.instrument import InstrumentTruth, string_truth
from pitchcheck.simulate.player import Hand, play
from pitchcheck.survey import build_survey
from pitchcheck.takes import Position, Take
from pitchcheck.units import CENTS_PER_OCTAVE

READING_CENTS = 0.15  # [cent] stated with every reading, though no noise was added
ACTION_GAUGE_MM = 0.15
TOUCHES = 5  # nodes of the mean over touches
STILL = Hand(
    force_sd=0.0,
    force_at_12=priors.FORCE_AT_12,
    behind_mm=priors.FINGER_BEHIND_MM,
    behind_part=priors.FINGER_BEHIND_PART,
    pad_mm=priors.FINGER_PAD_MM,
    rod_half_mm=priors.ROD_HALF_MM[0],
    rod_sd_mm=0.0,
    side_sd_mm=0.0,
    slide_sd=0.0,
    side_mm=math.sqrt(priors.SIDE_MM2[0]),
    give_mm=priors.GIVE_MM[0],
    rod_force_n=priors.ROD_FORCE_N,
    drift_cents=0.0,
)
SIX = (0.10, 0.55, 0.30, 0.80, 0.45, 0.65)  # [mm] slots of a six-string, string 1 first


def job_of(kind: str = "electric") -> SessionSettings:
    """The preset's strings, with the action gauged."""
    preset = get_preset(kind)
    action, _ = priors.ACTION_MM["polymer" if "nylon" in preset.strings[0].material else "steel"]
    gauge = Length(action, ACTION_GAUGE_MM)
    return SessionSettings(
        Instrument(kind, preset.scale_mm, preset.strings, action_12=gauge, fretwork=Fretwork.LEVEL)
    )


def truth_of(
    settings: SessionSettings, heights_mm: Sequence[float], *, stretch_factor: dict[int, float] | None = None
) -> InstrumentTruth:
    """An instrument at the centre of all priors but for its slots, and its stretch multiplied where asked."""
    instrument = settings.instrument
    strings = []
    for spec, height in zip(instrument.strings, heights_mm, strict=True):
        one = string_truth(instrument, spec.number, slot_height_mm=height, tail_mm=priors.LEVEL.tail_mm[0])
        make: Make = string_constants(spec, scale_mm=instrument.scale_mm).make
        more = (stretch_factor or {}).get(spec.number, 1.0)
        strings.append(
            replace(one, saddle_mm=priors.SADDLE_MM[make][0], stretch_factor=one.stretch_factor * more)
        )
    return InstrumentTruth(
        scale_mm=instrument.scale_mm,
        strings=tuple(strings),
        fret_height_mm=math.exp(priors.LOG_FRET_HEIGHT[0]),
        fret_error_mm=(0.0, 0.0, 0.0, 0.0),
        nut_offset_mm=0.0,
        relief_mm=priors.LEVEL.relief_mm[0],
        break_rad=priors.BREAK_RAD[0],
    )


def heard(
    truth: InstrumentTruth,
    *,
    protocol: Thoroughness = Thoroughness.FULL,
    positions: Sequence[Position] | None = None,
) -> tuple[Take, ...]:
    """The takes of a protocol (or of any places), played and read without noise."""
    if positions is None:
        positions = survey_positions([s.number for s in truth.strings], thoroughness=protocol)
    return _heard(truth, tuple(positions))


@cache
def usual_takes() -> tuple[Take, ...]:
    """The usual six-string, played with the full protocol."""
    return heard(truth_of(job_of(), SIX))


@cache
def usual_fit() -> Fit:
    """What is found of it."""
    return fit_instrument(job_of(), build_survey(usual_takes()))


@cache
def _heard(truth: InstrumentTruth, places: tuple[Position, ...]) -> tuple[Take, ...]:
    """The takes; the same instrument is played for many tests."""
    logs = np.zeros(len(places))
    for string in dict.fromkeys(place.string for place in places):
        own = [i for i, place in enumerate(places) if place.string == string]
        logs[own] = _mean_log_hz(truth, [places[i] for i in own])
    return tuple(
        Take(row, None, place, math.exp(log), READING_CENTS, float(row))
        for row, (place, log) in enumerate(zip(places, logs, strict=True), start=1)
    )


def _mean_log_hz(truth: InstrumentTruth, places: list[Position]) -> np.ndarray:
    """Logarithm of the pitch of one string's notes, the mean over the touches of a usual hand."""
    touches, weights = np.polynomial.hermite_e.hermegauss(TOUCHES)
    usual = priors.log_force(truth.string(places[0].string).tension_n)
    tension_n = np.array(truth.string(places[0].string).tension_n)
    scatter = float(priors.log_force_scatter(tension_n))
    logs = np.zeros(len(places))
    for touch, weight in zip(touches, weights / weights.sum(), strict=True):
        own = replace(STILL, force_n=math.exp(usual + scatter * touch))
        played = play(np.random.default_rng(0), truth=truth, hand=own, positions=places)
        logs += weight * np.log([note.hz for note in played])
    return logs


def shifted(takes: Sequence[Take], row: int, cents: float) -> tuple[Take, ...]:
    """The same takes, one of them off by some cents."""
    return tuple(_moved(take, cents) if take.row == row else take for take in takes)


def transposed(takes: Sequence[Take], cents: float) -> tuple[Take, ...]:
    """The same takes, all off by as much."""
    return tuple(_moved(take, cents) for take in takes)


def _moved(take: Take, cents: float) -> Take:
    assert take.hz is not None
    return replace(take, hz=take.hz * 2 ** (cents / CENTS_PER_OCTAVE))
