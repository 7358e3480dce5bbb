"""From a played note to its sound: how strings of each make ring, and how far a strong pluck glides.

Conventions: one ``Voice`` is an instrument in its room; the chance of every take comes from the generator.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.clip import Clip
from pitchcheck.instrument import Instrument
from pitchcheck.physics.materials import Make, make_of
from pitchcheck.simulate.body import Body
from pitchcheck.simulate.instrument import InstrumentTruth
from pitchcheck.simulate.player import Played
from pitchcheck.simulate.pluck import PluckSound, Tone, pluck
from pitchcheck.simulate.room import Room
from pitchcheck.tuning import fret_place
from pitchcheck.units import CENTS_PER_LOG

PLUCK_MM = 1.0  # usual height of a pluck, chosen here

# How the four makes ring, chosen here: nylon dies sooner and duller, wound strings carry more overtones.
SOUNDS = {
    Make.PLAIN_STEEL: PluckSound(decay_s=1.4, decay_corner_hz=1500.0, tilt=1.1),
    Make.WOUND_STEEL: PluckSound(decay_s=1.6, decay_corner_hz=1200.0, tilt=0.9),
    Make.POLYMER: PluckSound(decay_s=0.7, decay_corner_hz=900.0, tilt=1.4),
    Make.WOUND_POLYMER: PluckSound(decay_s=0.9, decay_corner_hz=900.0, tilt=1.2),
}


@dataclass(frozen=True)
class Voice:
    """An instrument as it is heard: its body, the room, the recording."""

    body: Body
    room: Room
    rate_hz: float
    duration_s: float


def glide_cents(
    *, stretch_factor: float, pluck_mm: float, open_length_mm: float, length_mm: float, place: float
) -> float:
    """How far above its settled pitch a plucked string starts. [cent]

    Tension grows by the extra path of a string drawn aside by ``pluck_mm`` at the fraction ``place``, shared
    by the whole string: d f / f = stretch h^2 / (4 L L0 p (1 - p)), of which half is left once the triangle
    has become a vibration (mean over a period).

    References
    ----------
    K. A. Legge, N. H. Fletcher (1984), J. Acoust. Soc. Am. 76, 5-12; the mean is derived here.
    """
    share = stretch_factor * pluck_mm**2 / (8 * length_mm * open_length_mm * place * (1 - place))
    return CENTS_PER_LOG * share


def sound_of(
    rng: np.random.Generator,
    *,
    played: Played,
    instrument: Instrument,
    truth: InstrumentTruth,
    voice: Voice,
) -> Clip:
    """Sound of one played note.

    Parameters
    ----------
    rng : numpy Generator
    played : Played
    instrument : Instrument
        Tells what the strings are made of.
    truth : InstrumentTruth
    voice : Voice

    Returns
    -------
    Clip
    """
    position = played.position
    spec, string = instrument.string(position.string), truth.string(position.string)
    length_mm = truth.scale_mm - fret_place(truth.scale_mm, position.fret or 0)
    usual = SOUNDS[make_of(spec)]
    sound = replace(
        usual,
        level_db=usual.level_db + 20 * float(np.log10(played.strength)),
        glide_cents=glide_cents(
            stretch_factor=string.stretch_factor,
            pluck_mm=PLUCK_MM * played.strength,
            open_length_mm=truth.scale_mm,
            length_mm=length_mm,
            place=usual.place,
        ),
    )
    return pluck(
        rng,
        tone=Tone(played.hz, played.inharmonicity),
        sound=sound,
        rate_hz=voice.rate_hz,
        duration_s=voice.duration_s,
        body=voice.body,
        room=voice.room,
    )
