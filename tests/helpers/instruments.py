"""Random imaginary instruments as readings, without sound: for the calibration of the fit.

Drawn from the beliefs of ``fit/priors.py`` themselves and played through the forward model that the fit uses,
so a fit that is right in itself must hold the truth as often as it says. (Whether beliefs and model are right
about real strings is another question, asked of the independent instruments in the fixtures.)
"""

from __future__ import annotations

import math

import numpy as np

from pitchcheck.course import Thoroughness, survey_positions
from pitchcheck.fit import priors
from pitchcheck.instrument import Fretwork, Instrument, Length, SessionSettings
from pitchcheck.physics.materials import Make, string_constants
from pitchcheck.session.presets import get_preset
from pitchcheck.simulate.instrument import InstrumentTruth, StringTruth
from pitchcheck.simulate.player import Hand, Played, SessionTruth, play
from pitchcheck.takes import Stop, Take
from pitchcheck.units import CENTS_PER_OCTAVE

KINDS = ("electric", "acoustic", "classical", "bass", "ukulele")
READING_CENTS = 0.15  # a good reading of one pluck; the figure the fit is judged at
DRIFT_CENTS = 0.10  # walk of an open string from take to take
ACTION_GAUGE_MM = 0.15  # a rule read to a quarter of a millimetre or so
SCALE_SPREAD = 0.01  # relative, about the preset's
LOWEST_PER_ACTION = 0.126  # below -0.126 x action the open string lies on fret 1: not an open string any more
SLOTS_FROM_MM = 0.0  # the mean slot of a nut that was meant to be played
SIDE_SD_MM = math.sqrt(priors.SIDE_MM2[0])  # the mean square of a push that falls to either side alike
STIFFNESS_ERROR = 0.03  # relative, of a B read from one pluck


def random_instrument(
    kind: str, rng: np.random.Generator, protocol: Thoroughness
) -> tuple[SessionSettings, tuple[Take, ...], SessionTruth]:
    """Draw an instrument, play it and read it.

    Parameters
    ----------
    kind : one of KINDS
    rng : numpy Generator
    protocol : Thoroughness

    Returns
    -------
    Job
        What the owner knows: strings, scale, a gauged action.
    tuple of Take
        In playing order, with reading noise and its stated uncertainty.
    SessionTruth
    """
    preset = get_preset("tenor ukulele" if kind == "ukulele" else kind)
    scale_mm = float(preset.scale_mm * (1 + SCALE_SPREAD * rng.uniform(-1, 1)))
    polymer = "nylon" in preset.strings[0].material
    action_mm = _normal(rng, priors.ACTION_MM["polymer" if polymer else "steel"], low=0.5)
    gauged = Length(action_mm + ACTION_GAUGE_MM * float(rng.standard_normal()), ACTION_GAUGE_MM)
    instrument = Instrument(kind, scale_mm, preset.strings, action_12=gauged, fretwork=Fretwork.LEVEL)
    truth = _instrument_truth(rng, instrument, action_mm=action_mm)
    hand = _hand(rng)
    positions = survey_positions([s.number for s in preset.strings], thoroughness=protocol)
    played = play(rng, truth=truth, hand=hand, positions=positions)
    takes = tuple(_read(rng, row, note) for row, note in enumerate(played, start=1))
    return SessionSettings(instrument), takes, SessionTruth(truth, hand, played)


def _normal(rng: np.random.Generator, belief: tuple[float, float], *, low: float = -math.inf) -> float:
    """Draw from a normal belief, again if it falls below ``low``."""
    while True:
        value = float(belief[0] + belief[1] * rng.standard_normal())
        if value >= low:
            return value


def _instrument_truth(
    rng: np.random.Generator, instrument: Instrument, *, action_mm: float
) -> InstrumentTruth:
    nut_mm = _normal(rng, (0.0, priors.NUT_OFFSET_MM))
    tail_mm = _normal(rng, priors.LEVEL.tail_mm, low=0.0)
    slots_mm = _normal(rng, priors.SLOT_HEIGHT_MM, low=SLOTS_FROM_MM)
    sets = {make: float(rng.standard_normal()) for make in Make}  # what the strings of one set share
    return InstrumentTruth(
        scale_mm=instrument.scale_mm,
        strings=tuple(
            _string_truth(
                rng,
                instrument,
                s.number,
                sets=sets,
                action_mm=action_mm,
                nut_mm=nut_mm,
                tail_mm=tail_mm,
                slots_mm=slots_mm,
            )
            for s in instrument.strings
        ),
        fret_height_mm=math.exp(_normal(rng, priors.LOG_FRET_HEIGHT)),
        fret_error_mm=tuple(_normal(rng, (0.0, priors.LEVEL.fret_error_mm)) for _ in range(4)),
        nut_offset_mm=nut_mm,
        relief_mm=_normal(rng, priors.LEVEL.relief_mm, low=0.0),
        break_rad=_normal(rng, priors.BREAK_RAD, low=0.0),
        fret_place_mm=tuple(_normal(rng, (0.0, priors.LEVEL.fret_place_mm)) for _ in range(12)),
    )


def _string_truth(
    rng: np.random.Generator,
    instrument: Instrument,
    number: int,
    *,
    sets: dict[Make, float],
    action_mm: float,
    nut_mm: float,
    tail_mm: float,
    slots_mm: float,
) -> StringTruth:
    spec = instrument.string(number)
    known = string_constants(spec, scale_mm=instrument.scale_mm)
    own_action_mm = _normal(rng, (action_mm, priors.ACTION_STRING_MM), low=0.3)
    own = math.sqrt(1 - priors.SET_SHARE**2) * float(rng.standard_normal())
    material = known.stretch_factor_error * (priors.SET_SHARE * sets[known.make] + own)
    share = priors.LEVEL.tail_string * float(rng.standard_normal())
    bend = known.bend_follows * material + known.bend_error * float(rng.standard_normal())
    return StringTruth(
        number=number,
        note=spec.note,
        slot_height_mm=_normal(rng, (slots_mm, priors.SLOT_OWN_MM), low=-LOWEST_PER_ACTION * own_action_mm),
        nut_offset_mm=_normal(rng, (nut_mm, priors.NUT_OFFSET_STRING_MM)),
        saddle_mm=_normal(rng, priors.SADDLE_MM[known.make]),
        action_12_mm=own_action_mm,
        stretch_factor=known.stretch_factor
        * math.exp(material + share)
        / (1 + tail_mm / instrument.scale_mm),
        bend_mm=known.bend_mm * math.exp(bend),
        tension_n=known.tension_n,
        tuned_cents=float(3 * rng.standard_normal()),
    )


def _hand(rng: np.random.Generator) -> Hand:
    """One player: the scatter from note to note as the fit believes it."""
    return Hand(
        force_n=math.exp(_normal(rng, priors.LOG_FORCE_N)),
        firm_from_n=priors.FORCE_RISES_FROM_N,
        firm_power=priors.FORCE_POWER,
        force_sd=priors.LOG_FORCE_SCATTER,
        force_sd_power=priors.SCATTER_POWER,
        force_at_12=priors.FORCE_AT_12,
        behind_mm=priors.FINGER_BEHIND_MM,
        behind_part=priors.FINGER_BEHIND_PART,
        pad_mm=priors.FINGER_PAD_MM,
        rod_half_mm=_normal(rng, priors.ROD_HALF_MM, low=0.05),
        rod_sd_mm=priors.ROD_PLACE_MM,
        side_sd_mm=SIDE_SD_MM,
        slide_sd=priors.PRESS_SCATTER,
        give_mm=_normal(rng, priors.GIVE_MM, low=0.0),
        rod_force_n=priors.ROD_FORCE_N,
        drift_cents=DRIFT_CENTS,
    )


def _read(rng: np.random.Generator, row: int, note: Played) -> Take:
    """One reading: noise of the reading, and of what the model leaves out of stopped notes."""
    noise = READING_CENTS * rng.standard_normal()
    if note.position.stop is not Stop.OPEN:
        noise += priors.MODEL_CENTS * rng.standard_normal()
    inharmonicity = note.inharmonicity * math.exp(STIFFNESS_ERROR * rng.standard_normal())
    return Take(
        row=row,
        file=None,
        position=note.position,
        hz=float(note.hz * 2 ** (noise / CENTS_PER_OCTAVE)),
        sd_cents=READING_CENTS,
        when=float(row),
        inharmonicity=inharmonicity,
        inharmonicity_sd=STIFFNESS_ERROR * inharmonicity,
    )


def same_takes_without_presses(takes: tuple[Take, ...]) -> tuple[Take, ...]:
    """The survey of someone who never made the press test."""
    kept = [take for take in takes if take.position.stop is not Stop.PRESS]
    return tuple(kept)
