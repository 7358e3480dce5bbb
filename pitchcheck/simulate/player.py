"""The hand that plays an imaginary instrument: touch, rod, friction and slow drift, all by chance.

Conventions: the chance comes from the generator passed in; takes come in playing order.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pitchcheck.simulate.instrument import Grip, InstrumentTruth, Press, inharmonicity, true_cents
from pitchcheck.takes import Position, Stop
from pitchcheck.tuning import CENTS_PER_SEMITONE, fret_place, note_hz
from pitchcheck.units import CENTS_PER_OCTAVE


@dataclass(frozen=True)
class Hand:
    """How steady a hand is. The defaults are a careful tech, chosen here (docs/method.md).

    ``sd`` of what is relative is of the natural logarithm.
    """

    force_n: float = 8.0  # of the fretting finger
    firm_from_n: float = 75.0  # string tension from which the finger presses harder
    firm_power: float = 0.0  # with which power of the tension
    force_sd: float = 0.35  # relative, from note to note, at a tension of 80 N
    force_sd_power: float = 0.0  # with which power of the tension it grows
    force_at_12: float = 1.35  # the tip lies nearer the fret where spaces are narrow: as if it pushed harder
    behind_mm: float = 9.0  # middle of the fingertip behind the fret
    behind_part: float = 1.0  # of the space between the frets, at most
    pad_mm: float = 8.0  # its width
    rod_half_mm: float = 0.6  # half the width on which the rod holds the string flat
    rod_sd_mm: float = 0.7  # how far from the middle of the space the rod is set
    side_sd_mm: float = 0.12  # push sideways at the rod: its size is what counts, so it always sharpens
    side_mm: float = 0.0  # the same, of every press alike
    give_mm: float = 0.0  # how far the board gives for each newton left [mm/N]
    rod_force_n: float = 16.0  # push on the rod
    slide_sd: float = 0.012  # friction at the nut: how the stretch changes from note to note, relative
    space_slide: tuple[float, ...] = ()  # answer of presses in spaces 1, 2, ... against the model; else 1
    press_offset_cents: tuple[float, float] = (0.0, 0.0)  # mean and sd of anything else a press adds
    drift_cents: float = 0.15  # sd of the open string's walk from take to take


@dataclass(frozen=True)
class Played:
    """One note as it really was.

    Attributes
    ----------
    position : Position
    cents : float
        Error against the open string at that moment. [cent]
    hz : float
        Settled pitch, drift included. [Hz]
    inharmonicity : float
        B. [-]
    strength : float
        How far the string was plucked, as a multiple of the usual. [-]
    """

    position: Position
    cents: float
    hz: float
    inharmonicity: float
    strength: float


@dataclass(frozen=True)
class SessionTruth:
    """A played survey and everything that is true of it."""

    instrument: InstrumentTruth
    hand: Hand
    takes: tuple[Played, ...]


FORCE_SD_AT_N = 80.0  # [N] tension at which ``force_sd`` holds
STRENGTH_SD = 0.15  # relative, pluck to pluck of someone who tries to pluck alike; chosen here


def play(
    rng: np.random.Generator, *, truth: InstrumentTruth, hand: Hand, positions: Sequence[Position]
) -> tuple[Played, ...]:
    """Play a survey.

    Parameters
    ----------
    rng : numpy Generator
    truth : InstrumentTruth
    hand : Hand
    positions : sequence of Position
        In playing order, without capo.

    Returns
    -------
    tuple of Played
        In the same order. With every ``sd`` at 0 it is the forward model itself.
    """
    grips = [
        _grip(
            rng,
            hand,
            position,
            tension_n=truth.string(position.string).tension_n,
            space_mm=_space_mm(truth.scale_mm, position.fret),
        )
        for position in positions
    ]
    cents = _all_cents(truth, positions, grips)
    walks = {s.number: s.tuned_cents for s in truth.strings}
    played = []
    for position, error in zip(positions, cents, strict=True):
        walks[position.string] += hand.drift_cents * rng.standard_normal()
        note = note_hz(truth.string(position.string).note)
        above = walks[position.string] + CENTS_PER_SEMITONE * position.semitones + error
        played.append(
            Played(
                position=position,
                cents=error,
                hz=float(note * 2 ** (above / CENTS_PER_OCTAVE)),
                inharmonicity=inharmonicity(truth, position.string, fret=position.fret, cents=error),
                strength=float(np.exp(STRENGTH_SD * rng.standard_normal())),
            )
        )
    return tuple(played)


def _grip(
    rng: np.random.Generator, hand: Hand, position: Position, *, tension_n: float, space_mm: float
) -> Grip:
    """How this note is stopped."""
    z = rng.standard_normal(5)
    mean, sd = hand.press_offset_cents
    firmer = max(1.0, tension_n / hand.firm_from_n) ** hand.firm_power
    force_sd = hand.force_sd * (tension_n / FORCE_SD_AT_N) ** hand.force_sd_power
    behind_mm = min(hand.behind_mm, hand.behind_part * space_mm)
    grip = Grip(
        force_n=float(hand.force_n * firmer * np.exp(force_sd * z[0])),
        behind_mm=behind_mm,
        pad_mm=min(hand.pad_mm, 2 * behind_mm),
        rod_half_mm=hand.rod_half_mm,
        rod_mm=hand.rod_sd_mm * z[1],
        press=Press(
            slide=float(np.exp(hand.slide_sd * z[2])),
            side_mm=float(np.hypot(hand.side_mm, hand.side_sd_mm * z[3])),
            give_mm=hand.give_mm,
            rod_force_n=hand.rod_force_n,
        ),
    )
    if position.stop is Stop.PRESS and position.fret is not None:
        space = position.fret - 1
        slide = grip.press.slide * (hand.space_slide[space] if space < len(hand.space_slide) else 1.0)
        return replace(grip, press=replace(grip.press, slide=slide, more_cents=mean + sd * z[4]))
    return replace(grip, force_n=grip.force_n * hand.force_at_12 ** (position.semitones / 12))


def _space_mm(scale_mm: float, fret: int | None) -> float:
    """Length of the space behind a fret; that behind fret 1 for an open string, which nobody presses."""
    stopped = fret or 1
    return fret_place(scale_mm, stopped) - fret_place(scale_mm, stopped - 1)


def _all_cents(
    truth: InstrumentTruth, positions: Sequence[Position], grips: Sequence[Grip]
) -> tuple[float, ...]:
    """Errors of all notes; those stopped alike are solved together."""
    alike: dict[tuple[Stop, int | None], list[int]] = defaultdict(list)
    for index, position in enumerate(positions):
        alike[position.stop, position.fret].append(index)
    cents = [0.0] * len(positions)
    for (stop, fret), indices in alike.items():
        strings = [positions[i].string for i in indices]
        solved = true_cents(truth, strings, [grips[i] for i in indices], stop=stop, fret=fret)
        for index, value in zip(indices, solved, strict=True):
            cents[index] = float(value)
    return tuple(cents)
